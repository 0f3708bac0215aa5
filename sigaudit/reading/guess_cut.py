"""How an unknown export is cut: encoding, delimiter, quote, comment lines. Answers rows of fields.

What is not delimited (a printer's log, frames of a protocol) is refused, not guessed.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from sigaudit.errors import LayoutUnknown

__all__ = ["MOST_BYTES", "Cut", "cuts", "read_head", "text_of"]

MOST_BYTES = 2 << 20
MOST_ROWS = 4000  # house: more rows do not change what a column looks like
_DELIMITERS = ",;\t|"
_COMMENTS = ("#", "//", "--", ";", "*", "!", "%", ">")
_LEAST_FIELDS = 3  # time, account, event
_LEAST_SHARE = 0.6  # of the lines that have the usual number of fields


@dataclass(frozen=True)
class Cut:
    """One way to cut the lines. first: the first line that is no comment; rows: fields of the usual lines after it."""

    delimiter: str
    quote: str
    comment: str
    first: str
    first_cells: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    share: float
    ragged: bool
    quoted: bool

    @property
    def width(self) -> int:
        """The usual number of fields."""
        return len(self.rows[0])


def read_head(path: str, content: bytes) -> bytes:
    """``content`` up to its last whole line, when it is the beginning of something longer."""
    if len(content) < MOST_BYTES:
        return content
    end = content.rfind(b"\n")
    if end < 0:
        raise LayoutUnknown(f"{path}: there is no line end in the first 2 MiB", next_step="see whether it is a log")
    return content[: end + 1]


def text_of(content: bytes) -> tuple[str, tuple[str, ...], list[str]]:
    """Text, encodings for the layout, and what is doubtful about them."""
    content = content.removeprefix(b"\xef\xbb\xbf")
    try:
        return content.decode("utf-8"), ("utf-8",), []
    except UnicodeDecodeError:
        pass
    high = Counter(byte for byte in content if byte >= 0x80)
    # In cp437 the accented letters lie from 80 to A5; in cp1252 these are marks, and letters begin at C0.
    low = sum(n for byte, n in high.items() if byte <= 0xA5)
    second = "cp437" if low > 0.8 * sum(high.values()) else "cp1252"
    doubts = []
    if second == "cp437":
        doubts.append("Some lines are no UTF-8; cp437 is assumed, cp1252 would read the accented letters otherwise.")
    elif any(byte in high for byte in (0x81, 0x8D, 0x8F, 0x90, 0x9D)):
        doubts.append("Some lines are neither UTF-8 nor cp1252; those lines will be refused.")
    lines = []
    for line in content.split(b"\n"):
        try:
            lines.append(line.decode("utf-8"))
        except UnicodeDecodeError:
            lines.append(line.decode(second, errors="replace"))
    return "\n".join(lines), ("utf-8", second), doubts


def cuts(text: str) -> list[Cut]:
    """The ways in which most lines have the same three or more fields, the most regular one first."""
    lines = [line.removesuffix("\r") for line in text.split("\n")]
    lines = [line for line in lines if line.strip()]
    found = [cut for delimiter in _DELIMITERS if (cut := _cut(lines, delimiter)) is not None]
    return sorted(found, key=lambda cut: (-round(cut.share, 1), -cut.width))


def _cut(lines: Sequence[str], delimiter: str) -> Cut | None:
    lines = lines[: MOST_ROWS * 2]
    quote = _quote(lines, delimiter)
    parsed = [_cells(line, delimiter, quote) for line in lines]
    widths = Counter(len(cells) for cells in parsed if cells is not None)
    widths.pop(1, None)
    if not widths:
        return None
    width = max(widths, key=lambda n: (widths[n], n))
    if width < _LEAST_FIELDS:
        return None
    comment = _comment(lines, parsed, width)
    pairs = zip(lines, parsed, strict=True)
    kept = [(line, cells) for line, cells in pairs if not comment or not line.startswith(comment)]
    if len(kept) < 2:
        return None
    first, cells = kept[0]
    same = [tuple(one) for _, one in kept[1:] if one is not None and len(one) == width]
    share = (len(same) + (cells is not None and len(cells) == width)) / len(kept)
    if share < _LEAST_SHARE or not same:
        return None
    step = max(1, -(-len(same) // MOST_ROWS))
    quoted = bool(quote) and any(quote in line for line in lines)
    rows = tuple(tuple(cell.strip() for cell in row) for row in same[::step])
    return Cut(delimiter, quote, comment, first, tuple(cells or ()), rows, share, share < 0.98, quoted)


def _quote(lines: Sequence[str], delimiter: str) -> str:
    """The mark that opens and closes fields; none where double quotes stand about as inch marks."""
    single = double = torn = 0
    for line in lines[:500]:
        for cell in line.split(delimiter):
            cell = cell.strip()
            single += len(cell) > 1 and cell[0] == cell[-1] == "'"
            double += len(cell) > 1 and cell[0] == cell[-1] == '"'
        if '"' in line and _cells(line, delimiter, '"') is None:
            torn += 1
    if single > double:
        return "'"
    return "" if torn > max(double, 0.02 * min(len(lines), 500)) else '"'


def _cells(line: str, delimiter: str, quote: str) -> list[str] | None:
    if not quote or quote not in line:
        return line.split(delimiter)
    try:
        return next(csv.reader([line], delimiter=delimiter, quotechar=quote, strict=True), None)
    except csv.Error:
        return None


def _comment(lines: Sequence[str], parsed: Sequence[list[str] | None], width: int) -> str:
    """How lines begin that are no data: a mark, or the words of one title line at the top."""
    for mark in _COMMENTS:
        marked = [cells for line, cells in zip(lines, parsed, strict=True) if line.startswith(mark)]
        like_data = sum(cells is not None and len(cells) == width for cells in marked)
        if marked and len(marked) < 0.5 * len(lines) and like_data <= 0.3 * len(marked):
            return mark
    first = parsed[0]
    titled = first is None or len(first) < min(width, _LEAST_FIELDS)
    if len(lines) > 2 and titled and parsed[1] is not None and len(parsed[1]) == width:
        word = lines[0][:24].rstrip()
        if sum(line.startswith(word) for line in lines) <= 0.05 * len(lines) + 1:
            return word
    return ""
