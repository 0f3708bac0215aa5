"""Bytes of an export as numbered raw lines, nothing lost.

The content is read in blocks of 4 MiB, cut at line feeds with numpy and handed on as Arrow arrays without
per-line Python. A carriage return before a line feed belongs to the terminator; any other stays in the line.
A byte-order mark is skipped and counted as bytes, not as text. Nothing else is repaired; ``content`` says what
was done to the file before that.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from sigaudit.errors import InputProblem, NothingToRead, TextUndecodable
from sigaudit.reading.content import UTF8_MARK, Content

__all__ = ["BLOCK", "HEAD", "Block", "Digests", "Lines", "head_of"]

BLOCK = 4 << 20
HEAD = 4096
# Bytes no line of text has: control characters except those of line and page, of framed protocols, and escape.
_ALLOWED_CONTROLS = {0x00, 0x02, 0x03, 0x06, 0x09, 0x0A, 0x0B, 0x0C, 0x0D, 0x14, 0x15, 0x1A, 0x1B}
_MOST_CONTROLS = 0.05
_STRANGE = bytes({0, *range(32)} - (_ALLOWED_CONTROLS - {0}))
_HIGH, _MOST_HIGH = bytes(range(128, 256)), 0.3
_TELLING = 16  # house: bytes of a line without a strange one that are hardly chance
_MOST_NULS, _FEW_NULS = 0.6, 0.05  # house: of every second byte, and of the others, in UTF-16 of Latin letters


def head_of(path: Path, name: str, size: int = 1 << 16) -> bytes:
    """The first bytes of the content. Raises NothingToRead when empty, InputProblem when it is no text."""
    with Content(path, name) as stream:
        head = stream.read(size)
    if not head:
        raise NothingToRead(f"{name}: the file is empty", next_step="export it again")
    if _holds_lines(head):
        return head
    codes = np.bincount(np.frombuffer(head, dtype=np.uint8), minlength=256)
    if _is_wide_without_mark(head):
        raise TextUndecodable(
            f"{name}: byte 0: every other byte is NUL, as in UTF-16 without its mark; that is not guessed",
            next_step="save or export it as UTF-8, or with its byte-order mark",
        )
    strange = sum(int(codes[c]) for c in range(32) if c not in _ALLOWED_CONTROLS) + int(codes[0])
    if strange > _MOST_CONTROLS * len(head) or (not head.isascii() and _mostly_undecodable(head, codes)):
        raise InputProblem(f"{name}: this is no text, so no receiver log", next_step="name the exported log as text")
    return head


def _holds_lines(head: bytes) -> bool:
    """Whether most of its lines that are long enough to tell are text, however much lies between them."""
    lines = [line for line in re.split(rb"[\r\n]+", head) if len(line) >= _TELLING]
    return bool(lines) and 2 * sum(map(_is_text, lines)) >= len(lines)


def _is_text(line: bytes) -> bool:
    plain = line.translate(None, _STRANGE)
    return len(plain) == len(line) and len(plain) - len(plain.translate(None, _HIGH)) <= _MOST_HIGH * len(line)


def _is_wide_without_mark(head: bytes) -> bool:
    nul = np.frombuffer(head, dtype=np.uint8) == 0
    if len(nul) < 2:
        return False
    few, many = sorted((float(nul[::2].mean()), float(nul[1::2].mean())))
    return many > _MOST_NULS and few < _FEW_NULS


def _mostly_undecodable(head: bytes, codes: NDArray[np.int64]) -> bool:
    high = int(codes[128:].sum())
    replaced = head.decode("utf-8", errors="replace").count("\ufffd")
    return replaced > _MOST_HIGH * len(head) and high > _MOST_HIGH * len(head)


@dataclass
class Digests:
    """SHA-256 of the content so far, and of its first n bytes for every n asked for."""

    wanted: Sequence[int] = ()
    found: dict[int, str] = field(default_factory=dict)
    size: int = 0

    def __post_init__(self) -> None:
        self._running = hashlib.sha256()
        self._left = sorted({size for size in self.wanted if size > 0})

    def add(self, block: bytes) -> None:
        at = 0
        while self._left and self._left[0] <= self.size + len(block) - at:
            until = at + self._left[0] - self.size
            self._running.update(memoryview(block)[at:until])
            self.size += until - at
            at = until
            self.found[self._left.pop(0)] = self._running.hexdigest()
        self._running.update(memoryview(block)[at:])
        self.size += len(block) - at

    def hexdigest(self) -> str:
        return self._running.hexdigest()


@dataclass(frozen=True)
class Block:
    """Some whole lines: ``raw`` (binary, without terminator), where each begins, and its number, from 1.

    given: the numbers of lines that do not all follow one another, None where they count on from ``first_line``.
    terminated: the last line of the block ends in a line feed (always, except at the end of the content).
    """

    raw: pa.Array
    byte_off: NDArray[np.int64]
    first_line: int
    terminated: bool
    given: NDArray[np.int64] | None = None

    @property
    def numbers(self) -> NDArray[np.int64]:
        """The number of every line."""
        if self.given is not None:
            return self.given
        return np.arange(self.first_line, self.first_line + len(self), dtype=np.int64)

    def __len__(self) -> int:
        return len(self.byte_off)

    def text(self) -> pa.Array | None:
        """The lines as text if every one is UTF-8, without copying; else None."""
        seen = self.raw.view(pa.string())
        try:
            seen.validate(full=True)
        except pa.ArrowInvalid:
            return None
        return seen


class Lines:
    """Iterates over the blocks of a content and afterwards knows what it saw.

    start: byte at which the first wanted line begins, the lines before it are hashed but not given;
    first_line: that line's number. Attributes after the last block: ``digests``, ``count`` (lines in all),
    ``nul_lines``, ``bom``, ``crlf`` and ``lf`` (terminators seen), ``unterminated`` (the last line is cut),
    ``wide``, ``returns``, ``torn`` and ``workbook`` as in ``Content``.
    """

    def __init__(
        self, path: Path, name: str, *, start: int = 0, first_line: int = 1, digests: Digests | None = None,
        block: int = BLOCK,
    ) -> None:  # fmt: skip
        self.path, self.name, self.block = path, name, block
        self.start, self.first_line = start, first_line
        self.digests = digests or Digests()
        self.count = first_line - 1
        self.nul_lines = self.crlf = self.lf = 0
        self.bom = self.unterminated = self.wide = self.returns = self.torn = self.workbook = False

    def __iter__(self) -> Iterator[Block]:
        with Content(self.path, self.name) as stream:
            self.wide, self.returns, self.workbook = stream.wide, stream.returns, stream.workbook
            self._skip(stream)
            offset, rest = self.start, b""
            while data := stream.read(self.block):
                self.digests.add(data)
                data = rest + data
                if offset == 0 and data.startswith(UTF8_MARK):
                    self.bom = True
                    offset, data = len(UTF8_MARK), data[len(UTF8_MARK) :]
                end = data.rfind(b"\n") + 1
                rest = data[end:]
                if end:
                    yield self._cut(data[:end], offset)
                    offset += end
            if rest:
                self.unterminated = True
                yield self._cut(rest, offset)
            self.torn = stream.torn

    def _skip(self, stream: Content) -> None:
        left = self.start
        while left and (data := stream.read(min(left, self.block))):
            self.digests.add(data)
            left -= len(data)

    def _cut(self, data: bytes, offset: int) -> Block:
        buffer = np.frombuffer(data, dtype=np.uint8)
        feeds = np.flatnonzero(buffer == 10)
        terminated = data.endswith(b"\n")
        ends = feeds if terminated else np.append(feeds, len(data))
        starts = np.concatenate(([0], ends[:-1] + 1)) if len(ends) else ends
        # A return before the feed (or before the end, where the feed is still to come) is terminator.
        returned = (ends > starts) & (buffer[ends - 1] == 13)
        kept = buffer != 10
        kept[ends[returned] - 1] = False
        # The terminator bytes before each end tell where it lies in the shortened text.
        removed = np.cumsum(returned) + np.arange(len(ends))
        bounds = np.concatenate(([0], ends - removed)).astype(np.int32)
        raw = pa.Array.from_buffers(
            pa.binary(), len(ends), [None, pa.py_buffer(bounds.tobytes()), pa.py_buffer(buffer[kept].tobytes())]
        )
        whole = int(np.count_nonzero(returned[: len(feeds)]))
        self.crlf += whole
        self.lf += len(feeds) - whole
        if b"\0" in data:
            self.nul_lines += int(pc.sum(pc.match_substring(raw, b"\0")).as_py() or 0)
        first = self.count + 1
        self.count += len(ends)
        return Block(raw, starts.astype(np.int64) + offset, first, terminated)
