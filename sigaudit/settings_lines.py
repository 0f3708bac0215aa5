"""Line number of every key of a TOML text that has already been parsed without error.

The parser of the standard library gives values only, and a setting without its line cannot be
found again by the person who wrote it. The scanner below walks the same grammar (TOML 1.0.0,
https://toml.io/en/v1.0.0) and ignores values; it relies on the text being valid.
"""

from __future__ import annotations

import re

Path = tuple[str, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]*")
_ESCAPE = re.compile(r"\\(u[0-9A-Fa-f]{4}|U[0-9A-Fa-f]{8}|.)", re.DOTALL)
_ESCAPED = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


def key_lines(text: str) -> dict[Path, int]:
    """1-based line of each table header and key, by its full path of names.

    ``text``: valid TOML. Elements of an array are found under their index, written as text; tables
    of an array of tables share the array's path and keep the first line. Raises IndexError or
    RecursionError only on a text that the parser refuses too.
    """
    scanner = _Scanner(text.replace("\r\n", "\n"))
    scanner.document()
    return scanner.lines


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.lines: dict[Path, int] = {}

    def peek(self) -> str:
        return self.text[self.at : self.at + 1]

    def move(self, to: int) -> None:
        self.line += self.text.count("\n", self.at, to)
        self.at = to

    def note(self, path: Path, shortest: int, line: int) -> None:
        """Keep the first line on which a path, and the longer of its beginnings, was named."""
        for depth in range(shortest, len(path) + 1):
            self.lines.setdefault(path[:depth], line)

    def blanks(self, *, over_lines: bool) -> None:
        """Skip blanks, and line ends and comments where the grammar lets them stand."""
        while self.at < len(self.text):
            char = self.text[self.at]
            if char in " \t" or (over_lines and char == "\n"):
                self.move(self.at + 1)
            elif char == "#" and over_lines:
                end = self.text.find("\n", self.at)
                self.move(len(self.text) if end < 0 else end)
            else:
                return

    def document(self) -> None:
        table: Path = ()
        self.blanks(over_lines=True)
        while self.at < len(self.text):
            if self.peek() == "[":
                brackets = 2 if self.text.startswith("[[", self.at) else 1
                line = self.line
                self.move(self.at + brackets)
                table = self.keys()
                self.note(table, 1, line)
                self.move(self.at + brackets)
            else:
                self.pair(table)
            self.blanks(over_lines=True)

    def keys(self) -> Path:
        """A dotted key; stops at the sign that follows it."""
        names: list[str] = []
        while True:
            self.blanks(over_lines=False)
            if self.peek() in ('"', "'"):
                names.append(self.string())
            else:
                bare = _BARE.match(self.text, self.at)
                if bare is None:
                    raise IndexError(f"no key at character {self.at}")
                names.append(bare.group())
                self.move(bare.end())
            self.blanks(over_lines=False)
            if self.peek() != ".":
                return tuple(names)
            self.move(self.at + 1)

    def pair(self, table: Path) -> None:
        line = self.line
        names = self.keys()
        self.note(table + names, len(table) + 1, line)
        self.move(self.at + 1)
        self.value(table + names)

    def value(self, path: Path) -> None:
        self.blanks(over_lines=False)
        sign = self.peek()
        if sign in ('"', "'"):
            self.string()
        elif sign == "[":
            self.array(path)
        elif sign == "{":
            self.inline_table(path)
        else:
            self.move(self.at + len(_SCALAR.match(self.text, self.at).group()))  # type: ignore[union-attr]

    def array(self, path: Path) -> None:
        self.move(self.at + 1)
        index = 0
        self.blanks(over_lines=True)
        while self.text[self.at] != "]":
            self.lines.setdefault((*path, str(index)), self.line)
            self.value((*path, str(index)))
            index += 1
            self.blanks(over_lines=True)
            if self.peek() == ",":
                self.move(self.at + 1)
                self.blanks(over_lines=True)
        self.move(self.at + 1)

    def inline_table(self, path: Path) -> None:
        self.move(self.at + 1)
        self.blanks(over_lines=True)
        while self.text[self.at] != "}":
            self.pair(path)
            self.blanks(over_lines=True)
            if self.peek() == ",":
                self.move(self.at + 1)
                self.blanks(over_lines=True)
        self.move(self.at + 1)

    def string(self) -> str:
        """Skip one string of any of the four kinds; gives its text, exact for one-line strings (keys are)."""
        quote = self.text[self.at]
        long = quote * 3
        mark = long if self.text.startswith(long, self.at) else quote
        start = at = self.at + len(mark)
        while not self.text.startswith(mark, at):
            if at >= len(self.text):
                raise IndexError("string without an end")
            at += 2 if quote == '"' and self.text[at] == "\\" else 1
        end = at + len(mark)
        while mark == long and end < len(self.text) and self.text[end] == quote and end - at < 5:
            end += 1  # up to two quotes may stand before the closing three
        self.move(end)
        inside = self.text[start:at]
        return _ESCAPE.sub(_unescaped, inside) if quote == '"' else inside


def _unescaped(found: re.Match[str]) -> str:
    sign = found.group(1)
    return chr(int(sign[1:], 16)) if sign[0] in "uU" and len(sign) > 1 else _ESCAPED.get(sign, sign)
