"""One line of the spoken log: what became of a call, and when."""

from __future__ import annotations

from typing import NamedTuple


class Spoken(NamedTuple):
    """ "queued", "started", "cut", "dropped" or "finished", when, and why.

    at_ns: monotonic, like a packet's arrival; of "started" the moment the device took the first sample. reason: empty
    when there is none. depth_s: of "started", how long the first sample then waits in the device's buffer, as far as
    the device tells.
    """

    what: str
    text: str
    id: str
    at_ns: int
    reason: str
    depth_s: float = 0.0
