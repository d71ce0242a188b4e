"""Gives each channel at most one field and each field at most one channel, so that the evidence adds up to the most."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

Scores = Mapping[str, Mapping[int, float]]
"""Channel -> column number -> points of its best reading."""


def assign(scores: Scores, least: float) -> dict[str, int]:
    """The best set of pairs: channels to columns, none used twice; a channel with nothing above `least` stays out.

    The assignment problem, solved by the Hungarian method with potentials (shortest augmenting paths, Kuhn 1955,
    Munkres 1957). Small: channels by candidate columns.
    """
    channels = [name for name, row in scores.items() if row]
    columns = sorted({column for name in channels for column in scores[name]})
    dummy = len(columns)
    width = dummy + len(channels)  # one empty place each, so that nobody must take what does not fit
    place = {column: i for i, column in enumerate(columns)}
    costs = []
    for i, name in enumerate(channels):
        row = [1e6] * width
        for column, points in scores[name].items():
            row[place[column]] = -points
        row[dummy + i] = -least
        costs.append(row)
    chosen = _solve(costs, width)
    return {name: columns[at] for name, at in zip(channels, chosen, strict=True) if at < dummy}


def _solve(costs: Sequence[Sequence[float]], width: int) -> list[int]:
    """For each row the column of the cheapest assignment; there are no more rows than columns."""
    row_potential, column_potential = [0.0] * (len(costs) + 1), [0.0] * (width + 1)
    owner = [0] * (width + 1)
    for row in range(1, len(costs) + 1):
        _augment(costs, row, owner, row_potential, column_potential)
    found = [0] * len(costs)
    for column in range(1, width + 1):
        if owner[column]:
            found[owner[column] - 1] = column - 1
    return found


def _augment(costs: Sequence[Sequence[float]], row: int, owner: list[int], u: list[float], v: list[float]) -> None:
    """Brings one more row in by the cheapest chain of swaps. `u`, `v`: the potentials of rows and columns."""
    width = len(owner) - 1
    owner[0], column = row, 0
    least, came_from, used = [math.inf] * (width + 1), [0] * (width + 1), [False] * (width + 1)
    while True:
        used[column] = True
        here, step, following = owner[column], math.inf, 0
        for j in range(1, width + 1):
            if used[j]:
                continue
            reduced = costs[here - 1][j - 1] - u[here] - v[j]
            if reduced < least[j]:
                least[j], came_from[j] = reduced, column
            if least[j] < step:
                step, following = least[j], j
        for j in range(width + 1):
            if used[j]:
                u[owner[j]] += step
                v[j] -= step
            else:
                least[j] -= step
        column = following
        if owner[column] == 0:
            break
    while column:
        owner[column] = owner[came_from[column]]
        column = came_from[column]
