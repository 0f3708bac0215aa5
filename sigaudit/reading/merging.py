"""Finds where the sources of a run meet other sources, and what that means for each line.

Lines of a second in which no other source speaks are kept as they are: the ordinary case costs nothing.
Where sources overlap, plain groups (no edge of a source in that second, no repeated hour) are settled by
counting in the engine; the few others one by one (``union``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import pyarrow as pa

from sigaudit.reading.union import Group, Line, LineId, Outcome, Range, State, decide
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.opening import Store
from sigaudit.store.relations import relation

__all__ = ["Fresh", "merge", "overlaps"]

_DAY = timedelta(days=1)
_COLUMNS = "source_id, line_no, key, second, received_utc, pass, time_doubt"


@dataclass(frozen=True)
class Fresh:
    """A source with new lines: ``table`` holds their lineage columns and time_doubt.

    range: of the whole source, None without signals; before: its range so far, None for a new one.
    """

    source_id: int
    table: str
    range: Range | None
    before: Range | None = None


def overlaps(fresh: Sequence[Fresh], held: Mapping[int, Range]) -> bool:
    """Whether any source of the run shares a second with another source."""
    ranges = _ranges(fresh, held)
    return any(one.range is not None and _others(one, ranges) for one in fresh)


def merge(
    con: engine.Connection, store: Store, fresh: Sequence[Fresh], held: Mapping[int, Range], lost: str
) -> Outcome:
    """Leaves the table ``not_taken`` (source_id, line_no: fresh lines that are repeats) and the outcome.

    lost: table of lineage rows (with ``held``) that left their source in this run; they are not in
    ``old_lineage`` here. held: ranges of all sources of the store that are not in this run.
    """
    ranges = _ranges(fresh, held)
    engine.run(con, "create or replace temp table not_taken (source_id integer, line_no bigint)")
    _make_groups(con, fresh, ranges, lost)
    _leave_single(con, fresh, ranges)
    if not engine.rows(con, "select 1 from met limit 1"):
        return Outcome()
    _make_lines(con, fresh)
    engine.run(
        con,
        """insert into not_taken
        with plain as (select key, second, want - have as extra from sized where not special),
        counted as (
            select l.source_id, l.line_no, l.key, l.second, l.n, p.extra,
                max(l.n) over (partition by l.key, l.second, l.source_id) as most
            from met_lines l join plain p using (key, second) where l.held is null
        ),
        ranked as (
            select source_id, line_no, extra, row_number() over (
                partition by key, second order by most desc, source_id, n desc) as place
            from counted
        )
        select source_id, line_no from ranked where place > extra""",
    )
    groups = _special(con, store, lost)
    outcome = decide(groups, ranges)
    refused = [line.id for group in groups for line in group.lines if line.fresh and line.id not in outcome.take]
    engine.create(con, "refused", _ids(refused))
    engine.run(con, "insert into not_taken select * from refused")
    return outcome


def _ranges(fresh: Sequence[Fresh], held: Mapping[int, Range]) -> dict[int, Range]:
    return {**held, **{one.source_id: one.range for one in fresh if one.range is not None}}


def _others(one: Fresh, ranges: Mapping[int, Range]) -> list[Range]:
    """Spans in which another source speaks too, merged, in order."""
    if one.range is None:
        return []
    cut = sorted(
        (max(other.first, one.range.first), min(other.last, one.range.last))
        for number, other in ranges.items()
        if number != one.source_id and other.first <= one.range.last and other.last >= one.range.first
    )
    merged: list[Range] = []
    for first, last in cut:
        if merged and first <= merged[-1].last:
            merged[-1] = Range(merged[-1].first, max(last, merged[-1].last))
        else:
            merged.append(Range(first, last))
    return merged


def _make_groups(con: engine.Connection, fresh: Sequence[Fresh], ranges: Mapping[int, Range], lost: str) -> None:
    """``met``: key, second and whether a line was lost there, of every group that must be looked at."""
    selects = [f"select key, second, true as loses from {engine.identifier(lost)}"]
    for one in fresh:
        spans = _others(one, ranges)
        if spans:
            inside = " or ".join(f"second between {_stamp(s.first)} and {_stamp(s.last)}" for s in spans)
            selects.append(f"select key, second, false from {engine.identifier(one.table)} where {inside}")
        for moved in _moved(one):
            if any(span.first <= moved <= span.last for span in spans):
                selects.append(f"select key, second, true from old_lineage where second = {_stamp(moved)}")
    engine.run(
        con,
        "create or replace temp table met as select key, second, bool_or(loses) as loses "
        f"from ({' union all '.join(selects)}) group by key, second",
    )


def _leave_single(con: engine.Connection, fresh: Sequence[Fresh], ranges: Mapping[int, Range]) -> None:
    """Takes out of ``met`` what only one source tells, where neither an edge nor a repeated hour asks for more.

    Leaves ``edges``: the seconds of that span in which a source begins or ends.

    Receivers that export by themselves overlap all the time and share no line: their groups need no look.
    """
    span = engine.rows(con, "select min(second), max(second) from met")[0]
    if span[0] is None:
        return
    parts = ["select source_id, key, second, pass from old_lineage"]
    parts += [f"select source_id, key, second, pass from {engine.identifier(one.table)}" for one in fresh]
    low, high = span
    edges = sorted({edge for one in ranges.values() for edge in (one.first, one.last) if low <= edge <= high})
    engine.create(con, "edges", pa.table({"second": pa.array(edges, pa.timestamp("us"))}))
    engine.run(
        con,
        f"""create or replace temp table met as
        with told as (
            select key, second, min(source_id) <> max(source_id) or bool_or(pass <> 0) as several
            from ({" union all ".join(parts)})
            where second between {_stamp(low)} and {_stamp(high)}
            group by key, second
        )
        select m.key, m.second, m.loses from met m left join told t using (key, second)
        where m.loses or coalesce(t.several, false) or m.second in (select second from edges)""",
    )


def _moved(one: Fresh) -> Iterable[datetime]:
    """Seconds at which the source began or ended and no longer does."""
    if one.before is not None and one.range is not None:
        if one.before.first != one.range.first:
            yield one.before.first
        if one.before.last != one.range.last:
            yield one.before.last


def _make_lines(con: engine.Connection, fresh: Sequence[Fresh]) -> None:
    """``met_lines``: every line of those groups, old and fresh; ``sized``: their counts. Reads ``edges``."""
    parts = [f"select {_COLUMNS}, held from old_lineage"]
    parts += [f"select {_COLUMNS}, null::boolean from {engine.identifier(one.table)}" for one in fresh]
    low, high = engine.rows(con, "select min(second), max(second) from met")[0]
    engine.run(
        con,
        f"""create or replace temp table met_lines as
        select l.*, row_number() over (
            partition by l.key, l.second, l.source_id order by l.line_no) as n
        from ({" union all ".join(parts)}) l semi join met using (key, second)
        where l.second between {_stamp(low)} and {_stamp(high)}""",
    )
    engine.run(
        con,
        """create or replace temp table sized as
        select m.key, m.second, coalesce(max(l.n), 0) as want, count(*) filter (where l.held) as have,
            bool_or(m.loses) or coalesce(bool_or(l.pass <> 0), false)
                or m.second in (select second from edges) as special
        from met m left join met_lines l using (key, second) group by m.key, m.second""",
    )


def _special(con: engine.Connection, store: Store, lost: str) -> list[Group]:
    """The groups that counting alone does not settle, with the store's rows for them."""
    groups: dict[tuple[object, datetime], Group] = {}
    for key, second in engine.rows(con, "select key, second from sized where special order by second, key"):
        groups[key, second] = Group(second, False)
    if not groups:
        return []
    kept: dict[LineId, Group] = {}
    found = engine.rows(
        con,
        "select key, second, source_id, line_no, pass, received_utc, time_doubt, held from met_lines "
        "semi join (select * from sized where special) using (key, second) order by source_id, line_no",
    )
    for key, second, source_id, line_no, turn, received, doubt, is_held in found:
        group = groups[key, second]
        group.gap = group.gap or doubt == "gap"
        group.lines.append(Line(source_id, line_no, turn, received, bool(is_held), is_held is None))
        if is_held:
            kept[source_id, line_no] = group
    gone: dict[LineId, Group] = {}
    for key, second, source_id, line_no in engine.rows(
        con, f"select key, second, source_id, line_no from {engine.identifier(lost)} where held"
    ):
        gone[source_id, line_no] = groups[key, second]
    states = _states(con, store, [*kept, *gone])
    for row, group in kept.items():
        group.rows[row] = states[row]
    for row, group in gone.items():
        group.lost[row] = states[row]
    return list(groups.values())


def _states(con: engine.Connection, store: Store, ids: list[LineId]) -> dict[LineId, State]:
    """What the store's rows say now."""
    if not ids:
        return {}
    engine.create(con, "asked", _ids(ids))
    low, high = engine.rows(con, "select min(second), max(second) from sized where special")[0]
    months = _months(low - _DAY, high + _DAY)
    found = engine.rows(
        con,
        "select source_id, line_no, received_utc, time_doubt, edge_doubt from "
        f"({relation(store, 'signals', months)}) semi join asked using (source_id, line_no)",
    )
    return {(row[0], row[1]): State(row[2], row[3], row[4]) for row in found}


def _ids(ids: Sequence[LineId]) -> pa.Table:
    return pa.table(
        {
            "source_id": pa.array([one[0] for one in ids], pa.int32()),
            "line_no": pa.array([one[1] for one in ids], pa.int64()),
        }
    )


def _months(first: datetime, last: datetime) -> list[str]:
    """UTC months from one instant to another, as the store names them."""
    count = (last.year - first.year) * 12 + last.month - first.month
    start = first.year * 12 + first.month - 1
    return [f"{m // 12:04d}-{m % 12 + 1:02d}" for m in range(start, start + count + 1)]


def _stamp(moment: datetime) -> str:
    return f"timestamp '{moment:%Y-%m-%d %H:%M:%S}'"
