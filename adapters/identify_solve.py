"""From recorded packets and the pilot's answers to a mapping: which sender, which format, then which field is what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

from adapters.identify import identify
from adapters.identify_capture import by_sender
from adapters.identify_format import FormatGuess, guess_formats
from adapters.identify_result import Identification
from adapters.identify_steps import Answers
from adapters.identify_table import Table, make_table
from adapters.identify_toml import feed_toml, label, needs_merge
from adapters.ports import Packet

CLOSE = 0.15
"""Formats whose score is within this of the best are tried as well; what finds more wins."""
MOST_TRIED = 3
MOST_SENDERS = 8
"""Senders looked at, the busiest first."""


class Solution(msgspec.Struct, frozen=True):
    """The whole answer. guess is None when no format fits the packets; others: further ones that do."""

    sender: str
    guess: FormatGuess | None
    others: tuple[FormatGuess, ...]
    table: Table
    result: Identification

    def toml(self, name: str, transport: Sequence[str]) -> str:
        """The feed description. Raises ValueError when there is no format."""
        if self.guess is None:
            raise ValueError("no format fits these packets")
        return feed_toml(name, transport, self.guess, self.result, needs_merge(self.table, self.result))


def solve(packets: Sequence[Packet], answers: Answers) -> Solution:
    """The mapping that packets and answers speak for. Never raises on any bytes.

    Of several senders the one that sends most is taken, of those whose packets can be decoded.
    """
    sender, mine, every = _decodable(by_sender(packets))
    guesses = [one for one in every if one.usable]
    tried = [_try(one, mine, answers) for one in guesses[:MOST_TRIED] if one.score > guesses[0].score - CLOSE]
    if not tried:
        lines = [f"They look like {one.words}." for one in every]
        nothing = Identification((), (), ("The packets fit no format known here.", *lines), ())
        return Solution(sender, None, (), make_table([]), nothing)
    best = max(tried, key=lambda one: _worth(one[2]))
    others = tuple(other for other in guesses if other is not best[0])
    return Solution(sender, best[0], others, best[1], best[2])


def _decodable(senders: Mapping[str, list[Packet]]) -> tuple[str, list[Packet], list[FormatGuess]]:
    """The first of the busiest senders that can be decoded, its packets and guesses; else the busiest."""
    first: tuple[str, list[Packet], list[FormatGuess]] | None = None
    for sender, packets in list(senders.items())[:MOST_SENDERS]:
        found = (sender, packets, guess_formats([packet.payload for packet in packets]))
        if any(guess.usable for guess in found[2]):
            return found
        first = first or found
    return first or ("", [], [])


def _worth(result: Identification) -> float:
    return sum(found.confidence for found in result.found)


def _try(guess: FormatGuess, packets: Sequence[Packet], answers: Answers) -> tuple[FormatGuess, Table, Identification]:
    stream = ((packet.arrival_ns / 1e9, packet.payload) for packet in packets)
    table = make_table(guess.records(stream))
    if guess.labels:
        columns = {label(field, guess): column for field, column in table.columns.items()}
        table = msgspec.structs.replace(table, columns=columns)
    return guess, table, identify(table, answers)
