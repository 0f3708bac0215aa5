"""Numbered records of an export, ready to be taken apart in the engine.

A record is one line, or several where a quoted field holds line breaks. Lines without the quote character
stay as they are, cut at the delimiter later by the engine; a line with one goes through Python's csv, alone.
A quoted field left open is closed by one of the next 50 lines, with the right number of fields and no line
among them that is a whole record by itself, or the line that opens it is refused alone and reading goes on with
the next: one damaged line never swallows others. The text of a line is decoded strictly by the layout's list of
encodings, in order.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from sigaudit.reading import gathering
from sigaudit.reading.lines import Block

__all__ = ["BATCH", "Dialect", "Records", "decoded"]

BATCH = pa.schema(
    [
        ("line_no", pa.int64()),
        ("byte_off", pa.int64()),
        ("raw", pa.string()),
        ("raw_bytes", pa.binary()),
        ("cells", pa.list_(pa.string())),
        ("fault", pa.string()),
        ("padded", pa.bool_()),
    ]
)
_BLANK = np.zeros(256, dtype=bool)
_BLANK[[9, 11, 12, 13, 32]] = True
MOST_LINES = 50  # house: free text in an export that runs over more lines is not a field
csv.field_size_limit(1 << 28)


@dataclass(frozen=True)
class Dialect:
    """How a layout's text is cut. quote, comment: '' = none; fields: how many a record has (least, most).

    begins: '' or how a record of several lines begins, which has most_lines at most and matches one of patterns.
    """

    encodings: tuple[str, ...] = ("utf-8",)
    delimiter: str = ","
    quote: str = '"'
    comment: str = ""
    fields: tuple[int, int] = (1, 1 << 30)
    begins: str = ""
    most_lines: int = 1
    patterns: tuple[str, ...] = ()
    groups: tuple[str, ...] = ()
    ignore: str = ""


@dataclass
class _Part:
    raw: pa.Array
    byte_off: NDArray[np.int64]
    numbers: NDArray[np.int64]
    terminated: bool


class Records:
    """Iterates over record batches of schema ``BATCH``; ``count`` records were given.

    open_line, open_byte: from there on the content may still change when the file grows (0: nowhere).
    """

    def __init__(self, lines: Iterable[Block], dialect: Dialect) -> None:
        self.lines, self.dialect = lines, dialect
        self.count = self.open_line = self.open_byte = 0

    def __iter__(self) -> Iterator[pa.RecordBatch]:
        waiting: _Part | None = None
        for block in self.lines:
            part = _joined(waiting, _Part(block.raw, block.byte_off, block.numbers, block.terminated))
            batch, waiting = self._batch(part, final=False)
            if batch.num_rows:
                yield batch
        if waiting is not None:
            batch, _ = self._batch(waiting, final=True)
            yield batch

    def _batch(self, part: _Part, *, final: bool) -> tuple[pa.RecordBatch, _Part | None]:
        n = len(part.byte_off)
        text, fault, undecoded = self._text(part.raw)
        if not part.terminated:
            final = True  # nothing can follow it in this content
            self._open(part, n - 1)
        cells: list[list[str] | None] | None = None
        dropped: list[int] = []
        if self.dialect.begins:
            cells, texts = [None] * n, text.to_pylist()
            n = self._several(part, text, fault, cells, texts, dropped, final)
            text = pa.array(texts, pa.string())
        elif self.dialect.quote:
            marked = np.flatnonzero(pc.fill_null(pc.match_substring(text, self.dialect.quote), False))
            if len(marked):
                cells, texts = [None] * n, text.to_pylist()
                n = self._quoted(part, marked.tolist(), texts, cells, fault, dropped, final)
                text = pa.array(texts, pa.string())
        kept = np.ones(n, dtype=bool)
        kept[dropped] = False
        fields = pa.array(cells, BATCH.field("cells").type) if cells else pa.nulls(len(text), BATCH.field("cells").type)
        whole = len(text) == n and not dropped
        columns = [
            pa.array(part.numbers[:n]),
            pa.array(part.byte_off[:n]),
            text.slice(0, n),
            undecoded.slice(0, n),
            fields.slice(0, n),
            pa.array(fault[:n], pa.string()) if fault else _repeated("", n),
            pa.array(_padded(part.raw)[:n]),
        ]
        batch = pa.record_batch(columns, schema=BATCH)
        if not whole and dropped:
            batch = batch.filter(pa.array(kept))
        self.count += batch.num_rows
        rest = None
        if n < len(part.byte_off):
            rest = _Part(part.raw.slice(n), part.byte_off[n:], part.numbers[n:], part.terminated)
        return batch, rest

    def _text(self, raw: pa.Array) -> tuple[pa.Array, list[str], pa.Array]:
        """Text of the lines, their faults ([] = none), and the bytes of those that no encoding reads."""
        seen = raw.view(pa.string()) if raw.offset == 0 else pa.concat_arrays([raw]).view(pa.string())
        try:
            seen.validate(full=True)
            return seen, [], pa.nulls(len(raw), pa.binary())
        except pa.ArrowInvalid:
            pass
        texts, faults, kept = [], [], []
        for line in raw.to_pylist():
            found = decoded(line, self.dialect.encodings)
            texts.append(line.decode("utf-8", errors="backslashreplace") if found is None else found)
            faults.append("undecodable" if found is None else "")
            kept.append(line if found is None else None)
        return pa.array(texts, pa.string()), faults, pa.array(kept, pa.binary())

    def _quoted(
        self, part: _Part, marked: Sequence[int], texts: list[str], cells: list[list[str] | None],
        fault: list[str], dropped: list[int], final: bool,
    ) -> int:  # fmt: skip
        """Takes the marked lines apart; answers how many lines of the part are settled."""
        n, free = len(texts), 0
        if not fault:
            fault.extend([""] * n)
        for i in marked:
            if i < free or fault[i] or (self.dialect.comment and texts[i].startswith(self.dialect.comment)):
                continue
            found, used = self._record(part, texts, fault, i)
            if found is None and used < 0 and not final and n - i < MOST_LINES:
                return i
            if found is None:
                fault[i] = "quote_unclosed"
                if used < 0 and n - i < MOST_LINES:
                    self._open(part, i)
                continue
            cells[i] = found
            if used > 1:
                texts[i] = "".join(_with_end(part, texts, j) for j in range(i, i + used - 1)) + texts[i + used - 1]
                dropped.extend(range(i + 1, i + used))
                free = i + used
                if free == n and not part.terminated:
                    self._open(part, i)
        return n

    def _record(self, part: _Part, texts: list[str], fault: list[str], i: int) -> tuple[list[str] | None, int]:
        """Fields of the record that begins at line i and how many lines it has; -1: ran out of lines."""
        used = 0

        def feed() -> Iterator[str]:
            nonlocal used
            for j in range(i, min(i + MOST_LINES, len(texts))):
                if part.numbers[j] - part.numbers[i] != j - i:
                    return  # the line that followed is not among these
                used += 1
                last = j + 1 == len(texts) and not part.terminated
                yield texts[j] if last else _with_end(part, texts, j)

        try:
            found = next(
                csv.reader(feed(), delimiter=self.dialect.delimiter, quotechar=self.dialect.quote, strict=True)
            )
        except csv.Error as error:
            return None, -1 if "unexpected end of data" in str(error) and i + used == len(texts) else 0
        more = slice(i + 1, i + used)
        if used > 1 and not (self._fits(found) and all(map(self._may_continue, texts[more], fault[more]))):
            # Of a line that is cut off the rest may still make it another.
            return None, -1 if i + used == len(texts) and not part.terminated else 0
        return found, used

    def _fits(self, cells: list[str]) -> bool:
        least, most = self.dialect.fields
        return least <= len(cells) and not any(cells[most:])

    def _may_continue(self, text: str, fault: str) -> bool:
        """Whether a line may belong to the one before: it can be read, and is no whole record by itself."""
        cells = _whole(self.dialect.delimiter, self.dialect.quote).fullmatch(text) and next(
            csv.reader([text], delimiter=self.dialect.delimiter, quotechar=self.dialect.quote), []
        )
        return not fault and not (cells and self._fits(cells))

    def _several(
        self, part: _Part, text: pa.Array, fault: list[str], cells: list[list[str] | None], texts: list[str],
        dropped: list[int], final: bool,
    ) -> int:  # fmt: skip
        """Gathers records of several lines; answers how many lines of the part are settled."""
        if not fault:
            fault.extend([""] * len(texts))
        found, settled = gathering.gather(self.dialect, text, fault, part.numbers, final=final)
        for record in found:
            i, used = record.first, record.lines
            cells[i] = record.cells
            if used > 1:
                texts[i] = "".join(_with_end(part, texts, j) for j in range(i, i + used - 1)) + texts[i + used - 1]
                dropped.extend(range(i + 1, i + used))
        # Lines that are still to come may belong to the last record; and its own last line may be cut.
        last = found[-1] if final and found else None
        if last is not None and (
            last.first + gathering.reach(self.dialect) > len(texts)
            or (not part.terminated and last.first + last.lines == len(texts))
        ):
            self._open(part, last.first)
        return settled

    def _open(self, part: _Part, i: int) -> None:
        line = int(part.numbers[i])
        if not self.open_line or line < self.open_line:
            self.open_line, self.open_byte = line, int(part.byte_off[i])


@lru_cache
def _whole(delimiter: str, quote: str) -> re.Pattern[str]:
    """What a record of one line is, with no quote but around a field and doubled within."""
    mark, between = re.escape(quote), re.escape(delimiter)
    cell = f"(?:{mark}[^{mark}]*(?:{mark}{mark}[^{mark}]*)*{mark}|[^{mark}{between}]*)"
    return re.compile(f"{cell}(?:{between}{cell})*")


def _repeated(text: str, n: int) -> pa.Array:
    return pa.DictionaryArray.from_arrays(pa.array(np.zeros(n, np.int8)), pa.array([text])).cast(pa.string())


def _padded(raw: pa.Array) -> NDArray[np.bool_]:
    """Which lines begin or end with a blank, so that only those need trimming; their terminators are gone."""
    offsets, data = raw.buffers()[1:3]
    bounds = np.frombuffer(offsets, np.int32)[raw.offset : raw.offset + len(raw) + 1]
    if data is None or not len(data):
        return np.zeros(len(raw), dtype=bool)
    letters, filled = np.frombuffer(data, np.uint8), bounds[1:] > bounds[:-1]
    first, last = (letters[np.minimum(at, len(letters) - 1)] for at in (bounds[:-1], np.maximum(bounds[1:], 1) - 1))
    found: NDArray[np.bool_] = filled & (_BLANK[first] | _BLANK[last])
    return found


def _with_end(part: _Part, texts: list[str], j: int) -> str:
    """Line j with its terminator as it stands in the file."""
    if j + 1 >= len(part.byte_off):
        return texts[j] + "\n"
    end = int(part.byte_off[j + 1] - part.byte_off[j]) - len(part.raw[j].as_py())
    return texts[j] + ("\r\n" if end == 2 else "\n")


def decoded(line: bytes, encodings: Sequence[str]) -> str | None:
    """The line as text by the first encoding that reads it; None if none does."""
    for encoding in encodings:
        try:
            return line.decode(encoding)
        except UnicodeDecodeError:
            continue
    return None


def _joined(first: _Part | None, second: _Part) -> _Part:
    if first is None:
        return second
    return _Part(
        pa.concat_arrays([first.raw, second.raw]),
        np.concatenate((first.byte_off, second.byte_off)),
        np.concatenate((first.numbers, second.numbers)),
        second.terminated,
    )
