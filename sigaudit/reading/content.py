"""The content of an export: its file unpacked, UTF-16 written as UTF-8, and line ends of CR alone as line feeds;
of a workbook, the CSV text that its rows come to (``workbook_rows``).

Whatever a file is packed in or written as, its lines, offsets and hashes are those of this content, so the same
log saved twice is known again. Nothing is repaired: half a UTF-16 pair becomes bytes that no encoding reads, and
the line that holds them is rejected by itself.
"""

from __future__ import annotations

import codecs
import gzip
import zlib
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

import pyarrow as pa

from sigaudit.errors import InputProblem, NothingToRead

__all__ = ["UTF8_MARK", "Content", "is_as_stored"]

UTF8_MARK = b"\xef\xbb\xbf"
_WIDE = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}
_WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")  # an archive, perhaps a workbook; an old workbook
_PEEKED = 1 << 16  # bytes that decide whether lines end in CR alone
_CHUNK = 1 << 20
_MOST_FEEDS = 9  # house: as many CR alone as this for every line feed, and they are what ends lines


def is_as_stored(path: Path) -> bool:
    """Whether the content has as many bytes as the file."""
    if path.suffix.lower() in (".gz", ".zst", ".zstd"):
        return False
    with path.open("rb") as stream:
        mark = stream.read(4)
    return mark[:2] not in _WIDE and mark not in _WORKBOOKS


class Content:
    """Gives a content from its first byte, as a context manager.

    wide: it is UTF-16 by its mark, which then stands there as the UTF-8 mark; returns: its line ends are CR alone,
    or nearly all, told by the first 64 KiB; torn: after the end, whether half a UTF-16 character was left over;
    workbook: it is the text of a workbook's rows.
    Raises NothingToRead (not there, an empty workbook), InputProblem (a folder, not readable, a damaged archive or
    workbook).
    """

    def __init__(self, path: Path, name: str) -> None:
        if path.is_dir():
            raise InputProblem(f"{name}: is a folder", next_step="name the files in it")
        if not path.exists():
            raise NothingToRead(f"{name}: no such file", next_step="see whether the name is right")
        self._name = name
        try:
            self._stream, self.workbook = _opened(path, name)
        except OSError as error:
            raise InputProblem(f"{name}: cannot be read: {error.strerror or error}", next_step="") from error
        try:
            mark = self._stored(2)
            self.wide, self.torn, self.returns = mark in _WIDE, False, False
            self._decoder = codecs.getincrementaldecoder(_WIDE[mark])("surrogatepass") if self.wide else None
            self._waiting = self._narrow(mark)
            peeked = self._take(_PEEKED)
            self._waiting = peeked + self._waiting
            # A CR at the very end may have its feed still to come.
            alone = peeked[:-1].count(b"\r") - peeked.count(b"\r\n")
            self.returns = not self.workbook and alone > _MOST_FEEDS * peeked.count(b"\n")
        except InputProblem:
            self._stream.close()
            raise

    def __enter__(self) -> Content:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._stream.close()

    def read(self, size: int) -> bytes:
        """The next ``size`` bytes, fewer only at the end."""
        found = self._take(size)
        return found.replace(b"\r", b"\n") if self.returns else found

    def _take(self, size: int) -> bytes:
        parts, missing = [self._waiting[:size]], size - len(self._waiting)
        self._waiting = self._waiting[size:]
        while missing > 0 and (stored := self._stored(max(missing, _CHUNK) if self.wide else missing)):
            part = self._narrow(stored)
            parts.append(part[:missing])
            self._waiting = part[missing:]
            missing -= len(part)
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def _narrow(self, stored: bytes) -> bytes:
        if self._decoder is None:
            return stored
        text = self._decoder.decode(stored)
        self.torn = bool(self._decoder.getstate()[0])
        return text.encode("utf-8", "surrogatepass")

    def _stored(self, size: int) -> bytes:
        """Up to ``size`` bytes of the unpacked file; one sentence for what a damaged archive raises."""
        parts: list[bytes] = []
        missing = size
        while missing > 0:
            try:
                part = self._stream.read(missing)
            except (EOFError, zlib.error, OSError, pa.ArrowException) as error:
                raise InputProblem(
                    f"{self._name}: the compressed file is damaged or cut off: {_short(error)}",
                    next_step="copy or export it again; nothing of it was taken in",
                ) from error
            if not part:
                break
            parts.append(part)
            missing -= len(part)
        return parts[0] if len(parts) == 1 else b"".join(parts)


def _opened(path: Path, name: str) -> tuple[BinaryIO, bool]:
    """The stream of the unpacked file, and whether that is the text of a workbook."""
    if path.suffix.lower() == ".gz":
        return gzip.open(path, "rb"), False  # type: ignore[return-value]
    if path.suffix.lower() in (".zst", ".zstd"):
        return pa.CompressedInputStream(pa.OSFile(str(path)), "zstd"), False
    stream = path.open("rb")
    if stream.peek(4)[:4] not in _WORKBOOKS:
        return stream, False
    stream.close()
    # Few exports are workbooks, and the library that knows their dates takes a while to load.
    from sigaudit.reading.workbook_rows import opened

    return opened(path, name), True


def _short(error: Exception) -> str:
    return (str(error).splitlines() or ["unreadable"])[0]
