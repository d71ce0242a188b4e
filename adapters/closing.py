"""What a person is told about the data when a flight or a replay ends."""

from __future__ import annotations

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
    return lines
