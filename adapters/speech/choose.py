"""Which player this machine gets: the open device, else a playing program, else the one that only keeps the time."""

from __future__ import annotations

from collections.abc import Callable

from adapters.speech.device import open_device
from adapters.speech.players import Player, ProcessPlayer, SilentPlayer, find_programs

NO_SOUND, NULL = "none", "null"  # settings of the device with a meaning of their own

Tell = Callable[[str, int, int], None]


def choose_player(tell: Tell, device: str = "") -> tuple[Player, str]:
    """The best player that works, and a few words on it or on why nothing can be heard. May block while devices open.

    device: part of a sound device's name, empty for the system's own; "none" for no sound; "null" for one that is
    paced like a device and heard by nobody. A named device that is not there is said, and the system's own is used.
    """
    if device == NO_SOUND:
        return SilentPlayer(), "sound is switched off"
    why: list[str] = []
    for wanted in [device, ""] if device and device != NULL else [device]:
        try:
            player: Player = open_device(tell, wanted, null=device == NULL)
            return player, "; ".join(
                [*why, f"played by {player.name}" + (", heard by nobody" if device == NULL else "")]
            )
        except OSError as error:
            why.append(str(error))
    for command in find_programs():
        try:
            player = ProcessPlayer(command)
            return player, "; ".join([*why, f"played by the program {player.name}"])
        except OSError as error:
            why.append(str(error))
    return SilentPlayer(), "; ".join(why) + ("" if find_programs() else "; no playing program either")
