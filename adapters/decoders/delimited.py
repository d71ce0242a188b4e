"""Delimited text: one record a line, columns known by a header line, by configuration, or by number.

Real senders send their header once, add a tag in angle brackets before it, pad numbers with spaces, repeat labels and
print "inf". A header whose number of columns differs from the data's cannot be trusted; configured columns win then.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence

from adapters import units
from adapters.decoders.lines import Lines
from adapters.description import FeedDescription
from adapters.ports import Fields, Value
from adapters.tally import Tally, shown

_TAG = re.compile(r"(<[^<>]*>|#+)\s*")
_NEW_WIDTH_AFTER = 3
MOST_COLUMNS = 2000


class DelimitedDecoder:
    """Decodes the lines of one sender; remembers its header."""

    def __init__(self, feed: FeedDescription, tally: Tally) -> None:
        """No header seen yet; `[decode] columns` hold until one is."""
        settings = feed.decode
        self._tally = tally
        self._delimiter = settings.delimiter
        self._quote = settings.quote
        self._decimal = settings.decimal
        self._mode = settings.header
        self._columns = settings.columns
        self._fields = [channel.field for channel in feed.channels]
        self._names_wanted = [field for field in self._fields if isinstance(field, str)]
        self._least = max((field + 1 for field in self._fields if isinstance(field, int)), default=1)
        self.lines = Lines(settings.encoding, tally)
        self.header: tuple[str, ...] | None = None
        self.keys: tuple[str | int, ...] = ()
        self.width = 0
        self._names: tuple[str, ...] = ()
        self._spare: tuple[str, ...] = ()
        self._configured: tuple[str | int, ...] = ()
        self._other_width = (0, 0, 0)
        if self._columns and self._mode != "required":
            self._use(self._columns)
            self._configured = self.keys

    def decode(self, payload: bytes) -> Sequence[Fields]:
        """The records in the datagram; a header or a bad line gives none."""
        self._tally.packets += 1
        records = []
        for line in self.lines.split(payload):
            record = self._line(line)
            if record is not None:
                records.append(record)
        return records

    @property
    def settled(self) -> bool:
        """Whether the columns are known and a line of the right width is a record."""
        if self._mode == "required" and self.header is None:
            return False
        return self.width > 0 and bool(self.keys or not self._names_wanted)

    def take_notices(self) -> list[str]:
        """What was wrong since the last call."""
        return self._tally.take()

    def cells(self, line: str) -> list[str]:
        """The cells of a line, stripped; quotes are honoured."""
        if self._quote and self._quote in line:
            separator = " " if self._delimiter == "whitespace" else self._delimiter
            try:
                row = next(csv.reader([line], delimiter=separator, quotechar=self._quote, skipinitialspace=True))
            except (csv.Error, StopIteration):
                return []
            return [cell.strip() for cell in row]
        parts = line.split(None if self._delimiter == "whitespace" else self._delimiter)
        return [part.strip() for part in parts]

    def _line(self, line: str) -> Fields | None:
        cells = self.cells(line)
        if not 0 < len(cells) <= MOST_COLUMNS:
            self._tally.note(
                "line", f"got {shown(line)}, wanted fields apart by {shown(self._delimiter)}", "line skipped"
            )
            return None
        if not any(self._is_number(cell) for cell in cells):
            self._label_line(cells)
            return None
        if self._mode == "required" and self.header is None:
            self._tally.note("no header", "no line of column names has come yet", "line skipped")
            return None
        if self._names_wanted and not self.keys:
            self._tally.note("no columns", _NO_COLUMNS, "line skipped")
            return None
        return self._record(cells)

    def _is_number(self, cell: str) -> bool:
        try:
            float(cell.replace(self._decimal, "."))
        except ValueError:
            return False
        return True

    def _label_line(self, cells: list[str]) -> None:
        """A line without a number: the header, or junk when it has none of the names that are wanted."""
        if not cells[-1]:
            cells = cells[:-1] or cells
        printed = len(cells)
        if cells[0] not in self._fields and (tag := _TAG.match(cells[0])):
            rest = cells[0][tag.end() :]  # "# time,speed" is a header of two, "<NAMES> ,time,speed" too
            cells = [rest, *cells[1:]] if rest else cells[1:]
        known = any(units.find_label(name, cells) for name in self._names_wanted)
        if self._mode == "none" or not (known or (not self._names_wanted and len(cells) >= self._least)):
            what = "a number in some column" if self._mode == "none" else "numbers, or a header with the fields mapped"
            self._tally.note("no numbers", f"got {shown(' '.join(cells))}, wanted {what}", "line skipped")
            return
        self.header = tuple(cells)
        if self._names_wanted:
            self._tell_repeats(cells)
            if self._worse_than_columns(cells, printed) if self._columns else self._worse_than_before(cells):
                spare = self.header
            else:
                spare = self._names
                self._use(self.header)
            self._spare = () if self._columns else spare

    def _worse_than_before(self, cells: list[str]) -> bool:
        """Whether the names in use hold against these: they have wanted ones that these lack (a damaged header)."""
        for name in self._names_wanted:
            if units.find_label(name, self._names) and not units.find_label(name, cells):
                text = f'got a header without "{name}", which the one before had'
                self._tally.note("header worse", text, "the one before holds while the data fits it")
                return True
        return False

    def _worse_than_columns(self, cells: list[str], printed: int) -> bool:
        """Whether the configured columns hold against this header: it lacks a wanted name that they have, or fits the
        data, as they do, only without a field that the sender prints before its names."""
        if printed != len(cells) == len(self._columns):
            text = f"the header has {printed} fields for {len(cells)} columns; the configured columns are used"
            self._tally.once("header width", text)
            return True
        for name in self._names_wanted:
            if units.find_label(name, self._columns) and not units.find_label(name, cells):
                text = f'the header has no column "{name}"; the configured columns are used'
                self._tally.once("header lacks", text)
                return True
        return False

    def _tell_repeats(self, cells: list[str]) -> None:
        for name in self._names_wanted:
            places = [index for index, cell in enumerate(cells) if cell == name]
            if len(places) > 1:
                text = (
                    f'the label "{name}" comes {len(places)} times (columns {", ".join(map(str, places))}); '
                    f'the first is used; name another by "{name}#2" or by its number'
                )
                self._tally.once(f"repeat {name}", text)

    def _use(self, names: Sequence[str]) -> None:
        """Take these column names from now on; a repeated name gets "#2", "#3" after it."""
        seen: dict[str, int] = {}
        keys: list[str | int] = []
        for name in names:
            seen[name] = seen.get(name, 0) + 1
            keys.append(name if seen[name] == 1 else f"{name}#{seen[name]}")
        self._names = tuple(names)
        self.keys = (*keys, *range(len(keys)))
        self.width = len(keys)

    def _record(self, cells: list[str]) -> Fields | None:
        if len(cells) == self.width + 1 and not cells[-1]:
            cells = cells[:-1]
        if len(cells) != self.width and not self._settle(cells):
            return None
        values: list[Value] = [cell or None for cell in cells]
        if self._names_wanted:
            return dict(zip(self.keys, values + values, strict=True))
        return dict(enumerate(values))

    def _settle(self, cells: list[str]) -> bool:
        """Whether a line of another width than expected can be used after all."""
        count = len(cells)
        if self._spare and count == len(self._spare):
            self._tally.note("header fits", f"the data has {count} fields, as another header had", "that one is used")
            self._spare, names = (), self._spare
            self._use(names)
            return True
        if self.header is not None and self._columns and self.keys and count == len(self._columns) != self.width:
            text = f"the header has {len(self.header)} columns and the data {count}; the configured columns are used"
            self._tally.once("header width", text)
            self._use(self._columns)
            return True
        if not self._names_wanted and count >= self._least and self._new_width(count):
            self.width = count
            return True
        known = (
            "columns has" if self.keys == self._configured else "the header has" if self.keys else "those before had"
        )
        wanted = f"{self.width}, which {known}" if self.width else f"{self._least} or more"
        self._tally.note("width", f"got a line of {count} fields, wanted {wanted}", "line skipped")
        return False

    def _new_width(self, count: int) -> bool:
        """With columns known by number alone: the first line sets the width, and three alike in a row change it."""
        if not self.width:
            return True
        width, times, packet = self._other_width
        in_a_row = width == count and self._tally.packets <= packet + 1
        self._other_width = (count, times + 1 if in_a_row else 1, self._tally.packets)
        return self._other_width[1] >= _NEW_WIDTH_AFTER


_NO_COLUMNS = "no line of column names has come, and [decode] columns does not give their order"
