"""One export, read once and laid out as a Parquet file of staged lines with their instants.

Two passes: the text is taken apart while the file is read, then the instants are worked out, because the
repeated hour of a clock change needs the order of a receiver's lines.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa

from sigaudit.errors import InputProblem, SigauditError, SumMismatch
from sigaudit.model import Progress
from sigaudit.reading.binding import Bound
from sigaudit.reading.clock import Clock, passes_sql
from sigaudit.reading.codes import dc09, sia
from sigaudit.reading.decoding import PARTED, Decoder
from sigaudit.reading.lines import HEAD, Digests, Lines
from sigaudit.reading.parse import EMPTY, SKIPS, STAGE_COLUMNS, constants, stage_sql
from sigaudit.reading.records import BATCH, Records
from sigaudit.store import engine_duckdb as engine

__all__ = ["SKIPPED", "Staged", "Tally", "make_passes", "oddities", "stage", "tally", "timed_sql"]

_NOTHING = "''"
SKIPPED = ", ".join(f"'{name}'" for name in SKIPS)


@dataclass(frozen=True)
class Staged:
    """What the lines read say, in ``path`` (STAGE_COLUMNS but the ``constants``, which are '').

    Counts are of the lines read in this run.

    clock: of the zone, over the wall times of these lines; repeated: some lie in a repeated hour; local: no line
    states its offset; parted: a line may say several events; apart: the lines between them were not read, so that
    their order tells no pass.
    """

    path: Path
    lines: int
    signals: int
    rejects: int
    skipped: int
    size: int
    sha256: str
    head_sha256: str
    next_line: int
    open_line: int
    open_byte: int
    open_skipped: int
    notes: tuple[str, ...]
    clock: Clock
    repeated: bool
    constants: tuple[str, ...]
    local: bool
    parted: bool
    apart: bool = False

    @property
    def lines_sql(self) -> str:
        """Table expression of the stage file with one row per line: of several events, the first."""
        return _lines_sql(self.path, self.parted)


def stage(
    con: engine.Connection, bound: Bound, path: Path, name: str, into: Path, *, zone: str, progress: Progress,
    start: int = 0, first_line: int = 1, begins: tuple[int, str] = (0, ""), keys: Mapping[str, bytes] | None = None,
) -> Staged:  # fmt: skip
    """Reads a file from byte ``start`` (which begins line ``first_line``) and writes the stage file ``into``.

    zone: the station's zone, for layouts that say so; begins: (n, sha256) the first n bytes must have;
    keys: of encrypted frames, by account.
    Raises InputProblem and kin; nothing else is changed.
    """
    digests = Digests(wanted=(HEAD, begins[0]))
    lines = Lines(path, name, start=start, first_line=first_line, digests=digests)
    records = Records(lines, bound.dialect)
    decoder = Decoder(bound, keys or {}) if bound.layout.decodes else None
    feed = _Feed(records, lines, decoder, progress)
    reader = pa.RecordBatchReader.from_batches(BATCH if decoder is None else PARTED, feed.batches())
    try:
        engine.stream(
            con, "arriving", reader,
            f"copy ({stage_sql(bound, 'arriving')}) to {engine.literal(into.as_posix())} "
            "(format parquet, compression lz4)",
        )  # fmt: skip
    finally:
        if feed.problem is not None:
            raise feed.problem
    if begins[0] and digests.found.get(begins[0]) != begins[1]:
        raise InputProblem(f"{name}: changed while it was read", next_step="take it in again")
    told = tally(con, bound, into, zone, records.open_line)
    if told.lines != records.count:
        raise SumMismatch(f"{name}: {records.count} records were read, {told.lines} arrived", next_step="report this")
    return Staged(
        into, told.lines, told.signals, told.lines - told.signals - told.skipped, told.skipped, digests.size,
        digests.hexdigest(), digests.found.get(HEAD, digests.hexdigest()), lines.count + 1, records.open_line,
        records.open_byte, told.open_skipped, (*_notes(lines), *oddities(decoder)), told.clock, told.repeated,
        constants(bound), told.local, _is_parted(bound),
    )  # fmt: skip


@dataclass(frozen=True)
class Tally:
    """What a stage file comes to, in lines; clock, repeated and local as in ``Staged``."""

    lines: int
    signals: int
    skipped: int
    open_skipped: int
    clock: Clock
    repeated: bool
    local: bool


def tally(con: engine.Connection, bound: Bound, into: Path, zone: str, open_line: int) -> Tally:
    """Counts and clock of a stage file. zone: the station's; open_line: as in ``Staged``, 0 = nothing is open."""
    staged = _lines_sql(into, _is_parted(bound))
    lines, signals, skipped, open_skipped, first_wall, last_wall, stated = engine.rows(
        con,
        f"select count(*), count(*) filter (where reason = ''), count(*) filter (where reason in ({SKIPPED})), "
        f"count(*) filter (where reason in ({SKIPPED}) and {open_line} > 0 and line_no >= {open_line}), "
        f"min(wall) filter (where reason = ''), max(wall) filter (where reason = ''), count(stated_utc) from {staged}",
    )[0]
    zone = zone if bound.layout.timezone == "station" else bound.layout.timezone
    epoch = Clock.epoch()
    clock = Clock(zone, first_wall or epoch, last_wall or epoch)
    change = clock.change_sql("wall")
    repeated = change != "0" and bool(
        engine.rows(con, f"select count(*) from {staged} where reason = '' and {change} > 0")[0][0]
    )
    return Tally(lines, signals, skipped, open_skipped, clock, repeated, stated == 0)


def _is_parted(bound: Bound) -> bool:
    return "part" not in constants(bound)


def _lines_sql(path: Path, parted: bool) -> str:
    staged = engine.read_parquet([path])
    return f"(select * from {staged} where part = 0)" if parted else staged


class _Feed:
    """Hands batches to the engine and keeps our own error, which the engine would wrap in its words."""

    def __init__(self, records: Records, lines: Lines, decoder: Decoder | None, progress: Progress) -> None:
        self.records, self.lines, self.decoder, self.progress = records, lines, decoder, progress
        self.problem: SigauditError | None = None

    def batches(self) -> Iterator[pa.RecordBatch]:
        seen = 0
        try:
            for batch in self.records:
                yield batch if self.decoder is None else self.decoder(batch)
                self.progress.step(self.lines.digests.size - seen)
                seen = self.lines.digests.size
        except SigauditError as problem:
            self.problem = problem
            raise


def timed_sql(staged: Staged, passes: str | None) -> str:
    """Select over the stage file's signals with received_utc, time_doubt, pass and second added.

    second: the earlier instant the wall time can mean, whole seconds. passes: name of a table made by
    ``clock.passes_sql``, or None where no line lies in a repeated hour.
    """
    clock = staged.clock
    columns = ", ".join(
        f"{EMPTY.get(name, _NOTHING)} as {name}" if name in staged.constants else f"s.{name}"
        for name in STAGE_COLUMNS
        if name != "reason"
    )
    earlier = f"coalesce(s.stated_utc, {clock.utc_sql('s.wall')})"
    source = f"{engine.read_parquet([staged.path])} s"
    gap = f"case when s.wall is not null and {clock.gap_sql('s.wall')} then 'gap' else 'exact' end"
    if clock.gap_sql("s.wall") == "false":
        gap = "'exact'"
    if passes is None:
        return (
            f"select {columns}, {earlier} as received_utc, {gap} as time_doubt, 0::tinyint as pass, "
            f"date_trunc('second', {earlier}) as second from {source} where s.reason = ''"
        )
    return (
        f"select {columns}, case when p.pass = 2 then {clock.later_sql('s.wall')} else {earlier} end as received_utc, "
        f"case when p.pass = 3 then 'fold' else {gap} end as time_doubt, coalesce(p.pass, 0)::tinyint as pass, "
        f"date_trunc('second', {earlier}) as second "
        f"from {source} left join {passes} p using (line_no) where s.reason = ''"
    )


def make_passes(con: engine.Connection, staged: Staged, table: str) -> None:
    """Makes the table ``timed_sql`` joins for lines in repeated hours."""
    change = staged.clock.change_sql("wall")
    relation = f"(select line_no, receiver, wall, {change} as change_no from {staged.lines_sql} where reason = '')"
    passes = passes_sql(relation)
    if staged.apart:
        passes = f"select line_no, 3::tinyint as pass from {relation} where wall is not null and change_no > 0"
    engine.run(con, f"create or replace temp table {engine.identifier(table)} as {passes}")


def _notes(lines: Lines) -> tuple[str, ...]:
    found = []
    if lines.workbook:
        found.append("workbook, read as CSV")
    if lines.wide:
        found.append("UTF-16, read as UTF-8")
    elif lines.bom:
        found.append("byte-order mark skipped")
    if lines.returns:
        found.append("lines end in CR alone")
    if lines.torn:
        found.append("half a UTF-16 character at the end, left out until the file grows")
    if lines.crlf and lines.lf:
        found.append(f"mixed line ends ({lines.crlf} CRLF, {lines.lf} LF)")
    if lines.nul_lines:
        found.append(f"{lines.nul_lines} lines with NUL characters, kept")
    if lines.unterminated:
        found.append("last line is cut off: provisional until the file grows")
    return tuple(found)


def oddities(decoder: Decoder | None) -> list[str]:
    """What the standards do not allow and nobody can mistake, counted."""
    if decoder is None:
        return []
    said = {**dc09.TOLERATED, **sia.TOLERATED}
    return [f"{n} lines accepted although {said[name]}" for name, n in sorted(decoder.tolerated.items())]
