"""From staged files to what one commit adds, drops and notes down."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from sigaudit.reading import order_breaks
from sigaudit.reading.intake import Intake, Taken, kept_head
from sigaudit.reading.merging import Fresh, merge, overlaps
from sigaudit.reading.parse import SKIPS
from sigaudit.reading.staging import make_passes, timed_sql
from sigaudit.reading.union import Outcome, Range
from sigaudit.reading.writing import (
    Change,
    FreshRows,
    Written,
    put_states,
    write_lineage,
    write_rejects,
    write_signals,
)
from sigaudit.store import clock_breaks
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.catalog import LiveFile, Source, SourceLine, put_source, put_source_lines
from sigaudit.store.clock_breaks import ClockBreak
from sigaudit.store.heads import put_heads
from sigaudit.store.opening import Store
from sigaudit.store.relations import LINEAGE, relation

__all__ = ["Settled", "settle"]

_SKIPS = ", ".join(f"'{name}'" for name in SKIPS)
_COLUMNS = ", ".join(engine.identifier(name) for name in LINEAGE)
_FRESH_COLUMNS = ", ".join(engine.identifier(name) for name in LINEAGE if name not in ("source_id", "held"))
_FULL_MINUTE_LINES, _FULL_MINUTES = 20, 10  # house: so many lines and minutes tell a log without seconds


@dataclass
class Settled:
    """Files to list and to unlist, sources as they become, and how many lines read became signals."""

    add: list[LiveFile] = field(default_factory=list)
    drop: list[LiveFile] = field(default_factory=list)
    changed: dict[int, Source] = field(default_factory=dict)
    heads: dict[int, bytes] = field(default_factory=dict)
    lines: dict[int, list[SourceLine]] = field(default_factory=dict)
    kept: dict[int, int] = field(default_factory=dict)
    prefixes: list[tuple[int, int, str]] = field(default_factory=list)
    breaks: dict[int, list[ClockBreak]] = field(default_factory=dict)

    def take(self, written: Written) -> None:
        self.add += written.add
        self.drop += written.drop

    def apply(self, con: sqlite3.Connection) -> None:
        """Inside the commit."""
        for source in self.changed.values():
            put_source(con, source)
        for source_id, lines in self.lines.items():
            put_source_lines(con, source_id, lines)
        for source_id, breaks in self.breaks.items():
            clock_breaks.put(con, source_id, breaks)
        con.executemany("insert or replace into source_prefixes values (?, ?, ?)", self.prefixes)
        put_heads(con, self.heads)


@dataclass(frozen=True)
class _Part:
    """One taken file: its fresh lines as SQL, what its whole source then holds."""

    taken: Taken
    fresh_sql: str
    range: Range | None
    months: frozenset[str]
    lines: tuple[SourceLine, ...]
    resolution_s: int


def settle(intake: Intake) -> Settled:
    """Settles which staged lines are signals and writes the files that say so; nothing is committed."""
    con, store = intake.con, intake.store
    settled = Settled(prefixes=list(intake.outgrown), heads=dict(intake.heads))
    settled.heads |= {
        one.source_id: kept_head(one.arrival.head, one.bound.layout) for one in intake.taken if not one.again
    }
    ids = [one.source_id for one in intake.taken]
    _make_lost(con, store, intake.taken)
    parts = [_part(con, store, one) for one in intake.taken]
    outcome = _merge(con, store, intake, parts)
    put_states(con, outcome.take)
    met = {row[0] for row in engine.rows(con, "select distinct source_id from not_taken")}
    met |= {source for source, _ in outcome.take}
    fresh_rows = [_rows(part, outcome, plain=part.taken.source_id not in met) for part in parts]
    change = Change(outcome.change, frozenset(outcome.delete))
    settled.take(write_signals(con, store, fresh_rows, intake.receivers, change, intake.progress))
    for part in parts:
        _settle_source(con, store, part, outcome, settled)
    for number in {source.source_id for source in intake.held} - clock_breaks.known(store.catalog) - set(ids):
        settled.breaks[number] = order_breaks.find(con, _held(store, number), number)  # held since before they counted
    others = {source for source, _ in outcome.flips} - set(ids)
    for source in intake.held:
        if source.source_id in others:
            flips = [held for (number, _), held in outcome.flips.items() if number == source.source_id]
            more = sum(1 if held else -1 for held in flips)
            old = f"select {_COLUMNS} from {_held(store, source.source_id)}"
            written = write_lineage(con, store, source.source_id, old, "", outcome.flips)
            settled.take(written)
            settled.changed[source.source_id] = replace(
                source, n_signals=source.n_signals + more, n_repeats=source.n_repeats - more,
                n_more=_counts(con, store, written)[2],
            )  # fmt: skip
    return settled


def _held(store: Store, source_id: int) -> str:
    """Table expression of a source's lineage as committed."""
    return f"({relation(store, 'lineage', tag=f's{source_id}')})"


def _make_lost(con: engine.Connection, store: Store, taken: Sequence[Taken]) -> None:
    """Table ``lost``: lineage rows of grown sources that do not stand any more, by line or by their pass."""
    columns = ", ".join(f"{engine.identifier(name)} {type_}" for name, type_ in LINEAGE.items())
    engine.run(con, f"create or replace temp table lost ({columns})")
    for one in taken:
        if one.staged.repeated:
            make_passes(con, one.staged, f"passes_{one.source_id}")
        if one.before is None or one.again:
            continue
        held = _held(store, one.source_id)
        if one.whole:
            condition = f"anti join ({_timed(one)}) using (line_no, key, second, pass)"
        else:
            condition = f"where line_no >= {one.resume}"
        engine.run(con, f"insert into lost select {_COLUMNS} from {held} {condition}")


def _timed(one: Taken) -> str:
    return timed_sql(one.staged, f"passes_{one.source_id}" if one.staged.repeated else None)


def _part(con: engine.Connection, store: Store, one: Taken) -> _Part:
    fresh = _timed(one)
    if one.whole:
        fresh = f"select * from ({fresh}) anti join {_held(store, one.source_id)} using (line_no, key, second, pass)"
    view = f"fresh_{one.source_id}"
    engine.run(
        con,
        f"create or replace temp view {view} as select {one.source_id}::integer as source_id, {_FRESH_COLUMNS} "
        f"from ({fresh}) where part = 0",
    )
    counted = (
        "select receiver, line, strftime(received_utc, '%Y-%m') as month, {fresh} as is_fresh, count(*) as n, "
        "min(received_utc) as first_utc, max(received_utc) as last_utc, min(second) as first_second, "
        "max(second) as last_second, count(*) filter (where date_trunc('minute', received_utc) <> received_utc) "
        "as odd from {table} group by all"
    )
    selects = [counted.format(fresh="true", table=view)]
    if one.before is not None:
        selects.append(counted.format(fresh="false", table=f"({_standing(store, one)})"))
    rows = engine.rows(con, " union all ".join(selects))
    lines: dict[tuple[str, str], SourceLine] = {}
    for receiver, line, _, _, n, first, last, *_ in rows:
        seen = lines.get((receiver, line))
        if seen is not None:
            n, first, last = n + seen.n, _least(first, seen.first_utc), _most(last, seen.last_utc)
        lines[receiver, line] = SourceLine(one.source_id, receiver, line, n, first, last)
    return _Part(
        one,
        fresh,
        Range(min(row[7] for row in rows), max(row[8] for row in rows)) if rows else None,
        frozenset(row[2] for row in rows if row[3]),
        tuple(lines[key] for key in sorted(lines)),
        _resolution(con, store, one, sum(row[4] for row in rows), sum(row[9] for row in rows)),
    )


def _standing(store: Store, one: Taken) -> str:
    """Lineage rows of a grown source that stand."""
    return f"select {_COLUMNS} from {_held(store, one.source_id)} anti join lost using (source_id, line_no)"


def _resolution(con: engine.Connection, store: Store, one: Taken, n: int, odd: int) -> int:
    """60 where the source writes whole minutes only, as far as it can be told; else 1 [s]."""
    if odd or n < _FULL_MINUTE_LINES:
        return 1
    parts = f"select received_utc from fresh_{one.source_id}"
    if one.before is not None:
        parts += f" union all select received_utc from ({_standing(store, one)})"
    minutes = engine.rows(con, f"select count(distinct received_utc) from ({parts})")[0][0]
    return 60 if minutes >= _FULL_MINUTES else 1


def _merge(con: engine.Connection, store: Store, intake: Intake, parts: Sequence[_Part]) -> Outcome:
    taken = {part.taken.source_id for part in parts}
    held = {
        source.source_id: Range(source.first_second, source.last_second)
        for source in intake.held
        if source.source_id not in taken and source.first_second is not None and source.last_second is not None
    }
    fresh = [
        Fresh(part.taken.source_id, f"fresh_{part.taken.source_id}", part.range, _before(part.taken.before))
        for part in parts
    ]
    lost = engine.rows(con, "select count(*), min(second), max(second) from lost")[0]
    if not overlaps(fresh, held) and not lost[0]:
        engine.run(con, "create or replace temp table not_taken (source_id integer, line_no bigint)")
        return Outcome()
    spans = [part.range for part in parts if part.range is not None]
    spans += [Range(lost[1], lost[2])] if lost[0] else []
    near = [n for n, r in held.items() if any(r.first <= s.last and r.last >= s.first for s in spans)]
    near += [part.taken.source_id for part in parts if part.taken.before is not None]
    paths = [store.root / file.path for n in near for file in store.files("lineage", tag=f"s{n}")]
    source = engine.read_parquet(paths) if paths else _held(store, 0)
    engine.run(
        con,
        f"create or replace temp view old_lineage as select {_COLUMNS} from {source} "
        "anti join lost using (source_id, line_no)",
    )
    return merge(con, store, fresh, held, "lost")


def _before(source: Source | None) -> Range | None:
    if source is None or source.first_second is None or source.last_second is None:
        return None
    return Range(source.first_second, source.last_second)


def _rows(part: _Part, outcome: Outcome, *, plain: bool) -> FreshRows:
    number = part.taken.source_id
    months = {f"{state.received_utc:%Y-%m}" for (source, _), state in outcome.take.items() if source == number}
    pairs = tuple((line.receiver, line.line) for line in part.lines)
    return FreshRows(
        number, part.fresh_sql, part.months | months, pairs, plain, part.taken.staged.constants, part.taken.staged.local
    )


def _settle_source(con: engine.Connection, store: Store, part: _Part, outcome: Outcome, settled: Settled) -> None:
    """Lineage, rejects and the catalog row of one taken source."""
    one, staged, number = part.taken, part.taken.staged, part.taken.source_id
    refused = f"(select line_no from not_taken where source_id = {number})"
    refusals = engine.rows(con, f"select count(*) from {refused}")[0][0]
    held = f"line_no not in {refused}" if refusals else "true"
    fresh = f"select source_id, {_FRESH_COLUMNS}, {held} as held from fresh_{number}"
    lineage = write_lineage(con, store, number, _standing(store, one) if one.before else None, fresh, outcome.flips)
    stays = "false" if one.again else f"line_no < {one.resume}"  # of the rejects held, those not read in this run
    rejects = write_rejects(con, store, number, staged.lines_sql, _SKIPS, stays)
    settled.take(lineage)
    settled.take(rejects)
    count, signals, more = _counts(con, store, lineage)
    written = [engine.read_parquet([store.root / file.path]) for file in lineage.add]
    settled.breaks[number] = [found for one_file in written for found in order_breaks.find(con, one_file, number)]
    n_rejects = sum(file.rows for file in rejects.add)
    lines, skipped = staged.lines, staged.skipped
    before = one.before
    if before is not None and one.again:
        lines += before.lines - one.again
        skipped += before.n_skipped
    elif before is not None and not one.whole:
        standing = engine.rows(con, f"select count(*) from lost where source_id = {number}")[0][0]
        undone = standing + before.n_rejects - (n_rejects - staged.rejects) + before.provisional_skipped
        lines += before.lines - undone
        skipped += before.n_skipped - before.provisional_skipped
    if before is not None:
        settled.prefixes.append((number, before.bytes, before.sha256))
    fresh_count = engine.rows(con, f"select count(*) from fresh_{number}")[0][0]
    settled.kept[number] = fresh_count - refusals
    settled.lines[number] = list(part.lines)
    settled.changed[number] = Source(
        number, before.name if before else one.arrival.name, staged.sha256, staged.size, staged.head_sha256, lines,
        staged.next_line, one.layout_id,
        min((row.first_utc for row in part.lines if row.first_utc), default=None),
        max((row.last_utc for row in part.lines if row.last_utc), default=None),
        part.range.first if part.range else None, part.range.last if part.range else None, part.resolution_s, signals,
        more, count - signals, n_rejects, skipped, staged.open_line, staged.open_byte, staged.open_skipped,
        staged.repeated or bool(before and before.repeated_hour),
    )  # fmt: skip


def _counts(con: engine.Connection, store: Store, lineage: Written) -> tuple[int, int, int]:
    """Lines of a source that say something, those of them that are held, and the events these have beyond the first."""
    if not lineage.add:
        return 0, 0, 0
    written = engine.read_parquet([store.root / lineage.add[0].path])
    held = "count(*), count(*) filter (where held), coalesce(sum(more) filter (where held), 0)"
    count, signals, more = engine.rows(con, f"select {held} from {written}")[0]
    return int(count), int(signals), int(more)


def _least(a: datetime | None, b: datetime | None) -> datetime | None:
    return min((one for one in (a, b) if one is not None), default=None)


def _most(a: datetime | None, b: datetime | None) -> datetime | None:
    return max((one for one in (a, b) if one is not None), default=None)
