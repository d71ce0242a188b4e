"""Plays one WAV file on Windows and ends: `python -P -m adapters.speech.winplay FILE`; status 1 when it cannot.

A process of its own, as on the other systems: ended, it is silent, and a sound driver that hangs holds up nobody.
"""

from __future__ import annotations

import sys


def main() -> int:
    """Play the file named on the command line."""
    if sys.platform != "win32":
        return 1
    import winsound

    try:
        winsound.PlaySound(sys.argv[1], winsound.SND_FILENAME | winsound.SND_NODEFAULT)
    except RuntimeError:
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
