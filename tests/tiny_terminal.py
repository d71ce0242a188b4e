"""A terminal in memory for tests: enough of ECMA-48 and the usual private modes to read what was painted."""

from __future__ import annotations

import re

_TOKEN = re.compile(r"\x1b\[(\?)?([0-9;]*)([A-Za-z])|([^\x1b])|\x1b(?:\[\??[0-9;]*)?(?=\x1b)", re.DOTALL)
"""Last: a sequence cut short by the next one, left by a program that was killed while writing; terminals drop it."""


class TinyTerminal:
    """Feed it text; `rows` is what a person would see. Anything it does not know raises."""

    def __init__(self, width: int, height: int) -> None:
        """A cleared screen of `width` by `height`."""
        self.width, self.height = width, height
        self.modes = {"?25": True, "?7": True, "?1049": False, "?2026": False}
        self.sgr: list[str] = []
        self._main = self._blank()
        self._cells = self._main
        self._row = self._column = 0
        self._saved = (0, 0)
        self._left = ""

    def _blank(self) -> list[list[str]]:
        return [[" "] * self.width for _ in range(self.height)]

    @property
    def rows(self) -> list[str]:
        """The screen's rows, without the blanks at their ends."""
        return ["".join(row).rstrip() for row in self._cells]

    def resize(self, width: int, height: int) -> None:
        """Another size; what was shown is garbage from then on, as in a real one."""
        self.width, self.height = width, height
        self._cells = [["%"] * width for _ in range(height)]

    def feed(self, text: str) -> None:
        """Take in output; a sequence cut in two waits for its rest."""
        text = self._left + text
        self._left = ""
        cut = text.rfind("\x1b")
        if cut >= 0 and not re.match(r"\x1b\[\??[0-9;]*[A-Za-z]", text[cut:]):
            text, self._left = text[:cut], text[cut:]
        at = 0
        for token in _TOKEN.finditer(text):
            assert token.start() == at, f"unknown sequence {text[at : token.start()]!r}"
            at = token.end()
            private, numbers, final, char = token.groups()
            if char is not None:
                self._put(char)
            elif final is not None:
                self._control(private or "", numbers, final)

    def _put(self, char: str) -> None:
        if char == "\n":
            if self._row == self.height - 1:
                self._cells.append(self._cells.pop(0))
                self._cells[-1][:] = [" "] * self.width
            self._row = min(self._row + 1, self.height - 1)
        elif char == "\r":
            self._column = 0
        else:
            assert self._column < self.width or self.modes["?7"], "painted beyond the right edge"
            if self._column == self.width:
                self._column = 0
                self._put("\n")
            self._cells[self._row][self._column] = char
            self._column += 1

    def _control(self, private: str, numbers: str, final: str) -> None:
        if private:
            self._mode(f"?{numbers}", final == "h")
        elif final == "H":
            row, _, column = (numbers or "1;1").partition(";")
            self._row, self._column = int(row) - 1, int(column) - 1
        elif final == "J" and numbers == "2":
            for line in self._cells:
                line[:] = [" "] * self.width
        elif final == "K" and not numbers:
            keep = min(self._column, self.width - 1)
            self._cells[self._row][keep:] = [" "] * (self.width - keep)
        elif final == "m":
            self.sgr.append(numbers)
        else:
            raise AssertionError(f"unknown sequence {numbers}{final}")

    def _mode(self, name: str, on: bool) -> None:
        assert name in self.modes, f"unknown mode {name}"
        if name == "?1049" and on != self.modes[name]:
            self._cells = self._blank() if on else self._main
            if on:
                self._saved = self._row, self._column
            else:
                self._row, self._column = self._saved
        self.modes[name] = on

    @property
    def as_found(self) -> bool:
        """True when every mode is as before the program: main screen, cursor shown, wrapping on."""
        return self.modes == {"?25": True, "?7": True, "?1049": False, "?2026": False}
