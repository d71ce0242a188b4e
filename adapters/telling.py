"""What a person is told when a flight or a replay begins and ends: which checks are off, what the data lacked."""

from __future__ import annotations

from adapters.checks_off import ChecksOff
from adapters.common import Setup
from adapters.ports import Source
from adapters.session import Session


def closing_lines(session: Session, source: Source | None = None) -> list[str]:
    """The notices not yet told, then what was dropped, refused and not heard, each counted; empty when all was well."""
    lines = session.take_notices()
    dropped = [f"{count:,} {text}" for text, count in session.counts().items()]
    if dropped:
        lines.append(f"of {session.samples:,} samples, not used: {', '.join(dropped)}")
    for origin, count in session.refused().items():
        lines.append(f"not heard: {count:,} packets from {origin}, while another sender had the feed")
    refused = getattr(source, "refused", 0)
    if refused:
        lines.append(f"refused: {refused:,} packets from senders that only_from does not name")
    return lines + _lost_lines(source)


def _lost_lines(source: Source | None) -> list[str]:
    """What never reached the coach because it came faster than it was taken."""
    lines = []
    lost = getattr(source, "lost", lambda: None)()
    if lost:
        lines.append(f"lost: {lost:,} packets, thrown away by the system with its receive buffer full (busy machine)")
    dropped = getattr(source, "dropped", 0)
    if dropped:
        lines.append(f"lost: {dropped:,} messages, the oldest of more than were taken in time (busy machine)")
    return lines


def off_lines(setup: Setup) -> list[str]:
    """The checks that cannot be made with this feed, profile and procedure, a line each with the reason."""
    return ChecksOff(setup.feed, setup.aircraft, setup.procedure, setup.options).lines()


def more_off_lines(setup: Setup, absent: frozenset[str]) -> list[str]:
    """Those that are off besides, where the data lacks the fields of these channels."""
    return ChecksOff(setup.feed, setup.aircraft, setup.procedure, setup.options).more_lines(absent)
