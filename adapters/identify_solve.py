"""From recorded packets and the pilot's answers to a mapping: which sender, which format, then which field is what."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from adapters.identify import identify
from adapters.identify_capture import busiest_sender
from adapters.identify_format import FormatGuess, guess_formats
from adapters.identify_result import Identification
from adapters.identify_steps import Answers
from adapters.identify_table import Table, make_table
from adapters.identify_toml import feed_toml, label, needs_merge
from adapters.ports import Packet

CLOSE = 0.15
"""Formats whose score is within this of the best are tried as well; what finds more wins."""
MOST_TRIED = 3


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


def solve(packets: Sequence[Packet], answers: Answers, guess: FormatGuess | None = None) -> Solution:
    """The mapping that packets and answers speak for, of the busiest sender. Never raises on any bytes."""
    sender = busiest_sender(packets)
    mine = [packet for packet in packets if packet.origin == sender]
    every = [guess] if guess else guess_formats([packet.payload for packet in mine])
    guesses = [one for one in every if one.usable]
    tried = [_try(one, mine, answers) for one in guesses[:MOST_TRIED] if one.score > guesses[0].score - CLOSE]
    if not tried:
        lines = [f"They look like {one.words}." for one in every]
        nothing = Identification((), (), ("The packets fit no format known here.", *lines), ())
        return Solution(sender, None, (), make_table([]), nothing)
    best = max(tried, key=lambda one: _worth(one[2]))
    others = tuple(other for other in guesses if other is not best[0])
    return Solution(sender, best[0], others, best[1], best[2])


def _worth(result: Identification) -> float:
    return sum(found.confidence for found in result.found)


def _try(guess: FormatGuess, packets: Sequence[Packet], answers: Answers) -> tuple[FormatGuess, Table, Identification]:
    stream = ((packet.arrival_ns / 1e9, packet.payload) for packet in packets)
    table = make_table(guess.records(stream))
    if guess.labels:
        columns = {label(field, guess): column for field, column in table.columns.items()}
        table = msgspec.structs.replace(table, columns=columns)
    return guess, table, identify(table, answers)
