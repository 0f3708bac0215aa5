"""Rejected lines read again by a layout as it is now: what a fresh reading of just these lines gives.

The export itself is not kept; each reject is, as the text of its line or lines, or as bytes where no encoding
read it. Text stays as it was decoded then; bytes are tried anew with the layout's encodings. A record of several
lines becomes lines again, and lines that follow one another may become a record: the layout's quote decides.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from sigaudit.errors import SumMismatch
from sigaudit.model import Progress
from sigaudit.reading.binding import Bound
from sigaudit.reading.decoding import PARTED, Decoder
from sigaudit.reading.lines import Block
from sigaudit.reading.parse import constants, stage_sql
from sigaudit.reading.records import BATCH, Records, decoded
from sigaudit.reading.staging import SKIPPED, Staged, oddities, tally
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.catalog import Source

__all__ = ["restage"]

_ROWS = 1 << 16


def restage(
    con: engine.Connection, bound: Bound, source: Source, rejects: Sequence[Path], into: Path, *, zone: str,
    progress: Progress, keys: Mapping[str, bytes],
) -> Staged:  # fmt: skip
    """Reads the rejects of a source (``rejects``: its files) and writes the stage file ``into``.

    zone: the station's; keys: of encrypted frames, by account. Of the content as a whole, the answer says what the
    source says; counts are of the lines read here. Lines that another layout than the source's cannot use either
    keep the reason they had.
    """
    kept = _Kept(rejects, bound.dialect.encodings, progress)
    records = Records(kept, bound.dialect)
    decoder = Decoder(bound, keys) if bound.layout.decodes else None
    batches = (batch if decoder is None else decoder(batch) for batch in _batches(kept, records))
    sql = stage_sql(bound, "arriving")
    if bound.layout.id != source.layout:
        sql = (
            f"select s.* replace (case when s.reason = '' or s.reason in ({SKIPPED}) then s.reason "
            f"else coalesce(o.reason, s.reason) end as reason) from ({sql}) s "
            f"left join {engine.read_parquet(rejects)} o using (line_no)"
        )
    engine.stream(
        con, "arriving", pa.RecordBatchReader.from_batches(BATCH if decoder is None else PARTED, batches),
        f"copy ({sql}) to {engine.literal(into.as_posix())} (format parquet, compression lz4)",
    )  # fmt: skip
    told = tally(con, bound, into, zone, source.provisional_line)
    if told.lines != records.count + kept.unread:
        raise SumMismatch(
            f"{source.name}: {records.count + kept.unread} rejects were read, {told.lines} arrived",
            next_step="report this",
        )
    return Staged(
        into, told.lines, told.signals, told.lines - told.signals - told.skipped, told.skipped, source.bytes,
        source.sha256, source.head_sha256, source.next_line, source.provisional_line, source.provisional_byte,
        source.provisional_skipped + told.open_skipped, tuple(oddities(decoder)), told.clock, told.repeated,
        constants(bound), told.local, "part" not in constants(bound), apart=True,
    )  # fmt: skip


def _batches(kept: _Kept, records: Records) -> Iterator[pa.RecordBatch]:
    for batch in records:
        yield batch
        yield from kept.waiting()
    yield from kept.waiting()


class _Kept:
    """Iterates over blocks of the rejects' physical lines, in their order; lines between them are missing.

    unread: how many no encoding of the layout reads; they wait, as batches, to be handed on as they are.
    """

    def __init__(self, files: Sequence[Path], encodings: Sequence[str], progress: Progress) -> None:
        self.files, self.encodings, self.progress = files, encodings, progress
        self.unread = 0
        self._waiting: list[pa.RecordBatch] = []

    def waiting(self) -> Iterator[pa.RecordBatch]:
        while self._waiting:
            yield self._waiting.pop(0)

    def __iter__(self) -> Iterator[Block]:
        for path in self.files:
            with pq.ParquetFile(path) as file:
                for batch in file.iter_batches(_ROWS, columns=["line_no", "byte_off", "raw", "raw_bytes"]):
                    block = self._block(batch)
                    if len(block):
                        yield block
                    self.progress.step(batch.num_rows)

    def _block(self, batch: pa.RecordBatch) -> Block:
        raw = batch.column("raw")
        several = pc.any(pc.match_substring(raw, "\n")).as_py()
        if not several and batch.column("raw_bytes").null_count == batch.num_rows:
            numbers, offsets = (batch.column(name).to_numpy() for name in ("line_no", "byte_off"))
            return Block(pa.concat_arrays([raw]).cast(pa.binary()), offsets, 0, True, numbers)
        texts: list[bytes] = []
        found: list[tuple[int, int]] = []
        unread = []
        for row in batch.to_pylist():
            text = row["raw"] if row["raw_bytes"] is None else decoded(row["raw_bytes"], self.encodings)
            if text is None:
                unread.append({**row, "fault": "undecodable", "padded": False})
                continue
            at = row["byte_off"]
            *earlier, last = text.split("\n")
            for number, line in enumerate([*(one + "\n" for one in earlier), last], start=row["line_no"]):
                texts.append((line[:-1].removesuffix("\r") if line.endswith("\n") else line).encode())
                found.append((number, at))
                at += _width(line, self.encodings)
        if unread:
            self.unread += len(unread)
            self._waiting.append(pa.RecordBatch.from_pylist(unread, schema=BATCH))
        places = np.array(found, dtype=np.int64).reshape(-1, 2)
        return Block(pa.array(texts, pa.binary()), places[:, 1].copy(), 0, True, places[:, 0].copy())


def _width(text: str, encodings: Sequence[str]) -> int:
    """Bytes that a text takes up in the file, by the first encoding of the layout that gives it back."""
    for encoding in encodings:
        try:
            written = text.encode(encoding)
        except UnicodeEncodeError:
            continue
        if decoded(written, encodings) == text:
            return len(written)
    return len(text.encode())
