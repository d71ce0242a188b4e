"""One key at a time from the terminal, without Enter, on POSIX and Windows; the terminal is put back whatever happens.

`open_keys()` gives a reader for the keyboard when there is one, else a reader that never hears anything. Use it in a
`with` block. Waiting for a key is also how a program with a keyboard sleeps: `read(timeout_s)` returns the moment a
key comes, stamped on the monotonic clock, so that a reaction can be measured with it.

POSIX: the terminal is in cbreak mode inside the block: no echo, no line editing, but Ctrl-C and Ctrl-Z are still the
terminal's own. It is put back on leaving, on an exception, at exit, and while the program is suspended. A job in the
background hears nothing, because reading there would stop it. Windows: the console is read as it is.
"""

from __future__ import annotations

import sys
from typing import IO

from adapters.keypress import Key, Keys, NoKeys

__all__ = ["Key", "Keys", "NoKeys", "open_keys"]


def open_keys(stream: IO[str] | None = None, pipes: bool = False) -> Keys:
    """A reader of the keys on `stream` (default: standard input).

    A stream that is no terminal gives `NoKeys`, unless `pipes`: then its characters are keys as they arrive.
    """
    stream = sys.stdin if stream is None else stream
    if stream is None or stream.closed or not (stream.isatty() or pipes):
        return NoKeys()
    if sys.platform == "win32":
        from adapters.keys_windows import PipeKeys, WindowsKeys

        return WindowsKeys() if stream.isatty() else PipeKeys(stream)
    else:  # not after the `if`: only so does the type checker skip the other system's branch
        from adapters.keys_posix import PosixKeys

        return PosixKeys(stream.fileno())
