"""What remarks have in common: a hold, the wait while the pilot is at it, and not the same one again and again."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from math import inf

from monitor.agenda import Agenda, Hold
from monitor.settings import Settings
from monitor.state import State
from monitor.teller import ASK_AGAIN_S, ROTATE, Teller

OVER_S = 1.0  # looked back over so long, or two samples of slow data (common practice, no source)
SHOWN = "shown "


class Correctable:
    """An error that is remarked on once it has lasted, but not while the pilot takes it out."""

    __slots__ = ("_before", "_heard", "_hold", "_inside", "_least", "_over_s", "_rows", "_say")

    def __init__(
        self,
        agenda: Agenda,
        hold_s: float,
        least: float,
        say: Callable[[float], None],
        heard: Callable[[float], bool],
        over_s: float = OVER_S,
    ) -> None:
        """`least`: so much less, half of `over_s` ago, is no noise, in the error's unit. heard: whether what is said at
        a time can be heard; what cannot, and lasts, is said again."""
        self._heard = heard
        self._over_s = over_s
        self._hold = Hold(agenda, hold_s, self._due)
        self._least = least
        self._say = say
        self._inside = True  # the limit: with hysteresis it may not be over yet
        self._rows: deque[tuple[float, float]] = deque()
        self._before: tuple[float, float] | None = None

    def watch(self, t: float, size: float, limit: float, clear: float, now: float | None = None) -> None:
        """The error's size at `t`: beyond `limit` it waits to be said; below `clear` it is over. `now`: where size is a
        mean, the error of this moment."""
        hold, rows = self._hold, self._rows
        inside = self._inside = size <= limit
        row = (t, size if now is None else now)
        if hold.since is None:
            if inside:
                self._before = row
                return
            hold.begin(t)
            rows.clear()
            if self._before is not None:  # of slow data this tells whether it grew or shrank
                rows.append(self._before)
        elif size < clear:
            self.clear()
        rows.append(row)
        while len(rows) > 2 and t - rows[0][0] > self._over_s:
            rows.popleft()

    def ask_again(self, t: float) -> None:
        """It was not said: something else seemed to be on its way."""
        self._hold.again(t + ASK_AGAIN_S)

    def clear(self) -> None:
        """There is no error any more."""
        self._before = None
        if self._hold.since is not None:
            self._hold.clear()

    def _due(self, t: float) -> None:
        again = self._inside or self._shrinks()
        if not again:
            self._say(t)
        if again or not self._heard(t):
            self.ask_again(t)

    def _shrinks(self) -> bool:
        """The mean of the later half is less than that of the earlier one; of a single sample nobody knows yet."""
        rows = list(self._rows)
        if len(rows) < 2:
            return True
        half = len(rows) // 2
        earlier = sum(size for _, size in rows[:half]) / half
        later = sum(size for _, size in rows[half:]) / (len(rows) - half)
        return later < earlier - self._least


class Remarks:
    """The holds of a group of remarks, and when one was last made."""

    __slots__ = (
        "_agenda", "_holds", "_last", "_s", "_set", "_tell",
    )  # fmt: skip

    def __init__(self, state: State, settings: Settings, agenda: Agenda, teller: Teller) -> None:
        self._s = state
        self._set = settings
        self._agenda = agenda
        self._tell = teller
        self._holds: list[Hold | Correctable] = []
        self._last: dict[str, float] = {}

    def begin_remarks(self) -> None:
        """A takeoff begins."""
        self._last.clear()
        self.end_remarks()

    def end_remarks(self) -> None:
        """What waited to be said is over."""
        for hold in self._holds:
            hold.clear()

    def _heard(self, t: float) -> bool:
        return not self._tell.quiet(t)

    def _hold(self, hold_s: float, fire: Callable[[float], None], always_heard: bool = False) -> Hold:
        def due(t: float) -> None:
            fire(t)
            if not self._heard(t):  # what lasts is said when the silence around rotation is over
                hold.again(t + ASK_AGAIN_S)

        hold = Hold(self._agenda, hold_s, fire if always_heard else due)
        self._holds.append(hold)
        return hold

    def _correctable(
        self, hold_s: float, least: float, say: Callable[[float], None], over_s: float = OVER_S
    ) -> Correctable:
        hold = Correctable(self._agenda, hold_s, least, say, self._heard, over_s)
        self._holds.append(hold)
        return hold

    def _say(self, kind: str, id_: str, t: float, variant: str = "") -> None:
        """The same one not again within 10 s, but for a caution after an advisory, and what was shown only."""
        if any(t - self._last.get(said + id_, -inf) < self._set.again_s for said in ("caution", kind)):
            return
        if self._heard(t) or id_ in ROTATE:
            self._last[kind + id_] = t
        elif t - self._last.get(SHOWN + kind + id_, -inf) < self._set.again_s:
            return
        else:
            self._last[SHOWN + kind + id_] = t
        self._tell.remark(kind, id_, t, f"{id_}.{variant}" if variant else id_)
