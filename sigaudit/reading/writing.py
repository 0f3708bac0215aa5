"""Writes what a run adds and changes as new Parquet files: signals by month, rejects, lineage."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial

import pyarrow as pa

from sigaudit.model import Progress, ReceiverMap
from sigaudit.reading.parse import EMPTY
from sigaudit.reading.union import LineId, State
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.catalog import LiveFile
from sigaudit.store.opening import Store
from sigaudit.store.relations import REJECTS, SIGNALS

__all__ = [
    "MOST_FILES",
    "Change",
    "FreshRows",
    "Written",
    "put_states",
    "write_lineage",
    "write_rejects",
    "write_signals",
]

# Sources of one statement: each brings joins of its own, and a thousand nightly files must not want memory at once.
MOST_SOURCES = 16
MOST_FILES = 8  # house: so many files of one month are read as fast as one
_TWO_DAYS = timedelta(days=2)
_FIELDS = {
    "time_missing": "received_at",
    "time_unreadable": "received_at",
    "account_shape": "account",
    "event_missing": "event",
}


@dataclass(frozen=True)
class FreshRows:
    """Timed lines of one source: ``sql`` (staging.timed_sql), the months they lie in, its receiver lines.

    plain: every line becomes a row as it is: nothing of it in ``not_taken`` or ``states``.
    constants: columns that are empty on every line; local: no line states its offset from UTC.
    """

    source_id: int
    sql: str
    months: frozenset[str]
    lines: tuple[tuple[str, str], ...]
    plain: bool
    constants: tuple[str, ...]
    local: bool


@dataclass
class Change:
    """Rows of the store that get another state or line, or go; ``months`` in which they lie or will lie."""

    rows: Mapping[LineId, tuple[LineId, State]] = field(default_factory=dict)
    gone: frozenset[LineId] = frozenset()

    def __bool__(self) -> bool:
        return bool(self.rows) or bool(self.gone)


@dataclass
class Written:
    add: list[LiveFile] = field(default_factory=list)
    drop: list[LiveFile] = field(default_factory=list)


def write_signals(
    con: engine.Connection, store: Store, fresh: Sequence[FreshRows], receivers: ReceiverMap, change: Change,
    progress: Progress,
) -> Written:  # fmt: skip
    """New month files for fresh lines that are taken; months that change or have too many files anew.

    Reads the tables ``not_taken`` (source_id, line_no) and ``states`` (put_states).
    """
    _put_groups(con, receivers, {pair for one in fresh for pair in one.lines})
    touched = _changed_months(con, store, change)
    written = Written()
    months = sorted({month for one in fresh for month in one.months} | set(touched))
    progress.start("writing signals", len(months))
    for month in months:
        old = store.files("signals", month)
        here = [one for one in fresh if month in one.months]
        batches = [here[at : at + MOST_SOURCES] for at in range(0, len(here), MOST_SOURCES)] or [[]]
        for number, batch in enumerate(batches, start=1):
            selects = [_fresh_sql(one, receivers, month) for one in batch]
            more = []
            if number == len(batches):
                more += [_moved_in_sql(touched, month)] if touched else []
                if month in touched or len(old) >= MOST_FILES:
                    more += [_old_sql(store, old, month, change=bool(change))] if old else []
                    written.drop += old
            sql = _sorted(" union all ".join(selects + more), {} if more else _made_afterwards(batch, receivers, month))
            made = store.place("signals", partial(engine.copy_to_parquet, con, sql), month=month)
            if made is not None:
                written.add.append(made)
        progress.step()
    progress.done()
    return written


def _made_afterwards(fresh: Sequence[FreshRows], receivers: ReceiverMap, month: str) -> dict[str, str]:
    """Columns (name -> SQL) of a month's fresh lines that need not be carried through the sort."""
    several = [one for one in fresh if month in one.months]
    empty = set.intersection(*(set(one.constants) for one in several)) - {"origin", "more"}
    made = {name: EMPTY.get(name, "''") for name in sorted(empty)}
    if len({receivers.group_of(*pair) for one in several for pair in one.lines}) == 1:
        made["account_key"] = f"receiver_group || '/' || {_owner(receivers, 'account')}"
    return made


def _sorted(body: str, made: Mapping[str, str]) -> str:
    """The rows in the store's order. Within one group, accounts sort like account keys."""
    columns = ", ".join(f"{made[name]} as {name}" if name in made else engine.identifier(name) for name in SIGNALS)
    carried = ", ".join(engine.identifier(name) for name in SIGNALS if name not in made)
    order = f"{made.get('account_key', 'account_key')}, received_utc, source_id, line_no"
    order += "" if "part" in made else ", part"
    return f"select {columns} from (select {carried} from ({body}) order by {order})"


def _owner(receivers: ReceiverMap, account: str) -> str:
    """SQL of the account a line belongs to: '' where the receiver speaks of itself."""
    own = ", ".join(engine.literal(one) for one in ("", *receivers.own_accounts) if "\0" not in one)
    return f"case when {account} in ({own}) then '' else {account} end"


def put_states(con: engine.Connection, states: Mapping[LineId, State]) -> None:
    """Table ``states``: source_id, line_no and what a fresh line says of its time after the union."""
    ids = sorted(states)
    engine.create(
        con,
        "states",
        pa.table(
            {
                "source_id": pa.array([one[0] for one in ids], pa.int32()),
                "line_no": pa.array([one[1] for one in ids], pa.int64()),
                "new_utc": pa.array([states[one].received_utc for one in ids], pa.timestamp("us")),
                "new_doubt": pa.array([states[one].time_doubt for one in ids], pa.string()),
                "new_edge": pa.array([states[one].edge_doubt for one in ids], pa.bool_()),
            }
        ),
    )


def write_lineage(
    con: engine.Connection, store: Store, source_id: int, old: str | None, fresh: str, flips: Mapping[LineId, bool]
) -> Written:
    """The source's lineage anew: rows of ``old`` (a select, or None) with flipped marks, and of ``fresh``."""
    tag = f"s{source_id}"
    mine = {line: held for (source, line), held in flips.items() if source == source_id}
    sql = fresh
    if old is not None:
        engine.create(
            con,
            "flips",
            pa.table(
                {"line_no": pa.array(list(mine), pa.int64()), "turned": pa.array(list(mine.values()), pa.bool_())}
            ),
        )
        sql = (
            f"select o.* replace (coalesce(f.turned, o.held) as held) from ({old}) o left join flips f using (line_no) "
            + (f"union all {fresh}" if fresh else "")
        )
        sql = f"select * from ({sql}) order by line_no"
    made = store.place("lineage", lambda path: engine.copy_to_parquet(con, sql, path), tag=tag)
    return Written([made] if made else [], store.files("lineage", tag=tag))


def write_rejects(con: engine.Connection, store: Store, source_id: int, stage: str, skips: str, stays: str) -> Written:
    """The source's rejects anew: those held for which the condition ``stays`` is true, and the staged ones."""
    tag = f"s{source_id}"
    old = store.files("rejects", tag=tag)
    field_of = " ".join(f"when {engine.literal(k)} then {engine.literal(v)}" for k, v in _FIELDS.items())
    sql = (
        f"select {source_id}::integer as source_id, line_no, byte_off, reason, "
        f"case reason {field_of} else '' end as field, raw, raw_bytes from {stage} "
        f"where reason <> '' and reason not in ({skips})"
    )
    if old:
        columns = ", ".join(engine.identifier(name) for name in REJECTS)
        held = engine.read_parquet(store.root / file.path for file in old)
        sql = f"select {columns} from {held} where {stays} union all {sql}"
    sql = f"select * from ({sql}) order by line_no"
    made = store.place("rejects", lambda path: engine.copy_to_parquet(con, sql, path), tag=tag)
    return Written([made] if made else [], old)


def _put_groups(con: engine.Connection, receivers: ReceiverMap, pairs: Iterable[tuple[str, str]]) -> None:
    known = sorted(pairs)
    engine.create(
        con,
        "receiver_groups",
        pa.table(
            {
                "receiver": pa.array([pair[0] for pair in known], pa.string()),
                "line": pa.array([pair[1] for pair in known], pa.string()),
                "receiver_group": pa.array([receivers.group_of(*pair) for pair in known], pa.string()),
            }
        ),
    )


def _fresh_sql(one: FreshRows, receivers: ReceiverMap, month: str) -> str:
    """Contract columns of the lines of one source that become rows in one month."""
    owner = _owner(receivers, "t.account")
    begin = datetime.strptime(month, "%Y-%m")
    utc, doubt, edge, joins, taken = "t.received_utc", "t.time_doubt", "false", "", "true"
    if not one.plain:
        utc, doubt, edge = "coalesce(s.new_utc, t.received_utc)", "coalesce(s.new_doubt, t.time_doubt)", "s.new_edge"
        joins = f"left join (from states where source_id = {one.source_id}) s on s.line_no = t.line_no"
        taken = f"t.line_no not in (select line_no from not_taken where source_id = {one.source_id})"
    near = ""
    if one.local:  # says nothing new, but lets whole row groups of the stage file be skipped
        near = f"and t.wall >= {_month(begin - _TWO_DAYS)} and t.wall < {_month(_next(begin) + _TWO_DAYS)}"
    groups = {receivers.group_of(*pair) for pair in one.lines}
    group = engine.literal(groups.pop()) if len(groups) == 1 else "g.receiver_group"
    if groups:
        joins += " join receiver_groups g on g.receiver = t.receiver and g.line = t.line"
    return f"""
select {group} || '/' || {owner} as account_key,
    {group} as receiver_group, t.account, {utc} as received_utc, t.received_wall, {doubt} as time_doubt,
    coalesce({edge}, false) as edge_doubt, t.receiver, t.line, t.event_raw, t.qualifier, t.code, t.format,
    t.partition, t.zone, t.panel_time, t.path,
    case when {owner} = '' then 'receiver' else t.origin end as origin, t.called, t.caller, t.text, t.sequence, t.raw,
    {one.source_id}::integer as source_id, t.line_no, t.part
from ({one.sql}) t {joins}
where {taken} and {utc} >= {_month(begin)} and {utc} < {_month(_next(begin))} {near}"""


def _month(begin: datetime) -> str:
    return f"timestamp '{begin:%Y-%m-%d}'"


def _next(begin: datetime) -> datetime:
    return datetime(begin.year + begin.month // 12, begin.month % 12 + 1, 1)


def _old_sql(store: Store, files: Sequence[LiveFile], month: str, *, change: bool) -> str:
    """Rows that stay as they are in a month written anew."""
    rows = engine.read_parquet(store.root / file.path for file in files)
    columns = ", ".join(engine.identifier(name) for name in SIGNALS)
    if not change:
        return f"select {columns} from {rows}"
    return f"select {columns} from {rows} anti join changed using (source_id, line_no)"


def _changed_months(con: engine.Connection, store: Store, change: Change) -> list[str]:
    """Tables ``changed`` (ids of rows that leave their files) and ``moved`` (as they come back); the months."""
    if not change:
        return []
    ids = [*change.rows, *sorted(change.gone)]
    targets = [change.rows.get(one) for one in ids]
    engine.create(
        con,
        "changed",
        pa.table(
            {
                "source_id": pa.array([one[0] for one in ids], pa.int32()),
                "line_no": pa.array([one[1] for one in ids], pa.int64()),
                "new_source": pa.array([t and t[0][0] for t in targets], pa.int32()),
                "new_line": pa.array([t and t[0][1] for t in targets], pa.int64()),
                "new_utc": pa.array([t and t[1].received_utc for t in targets], pa.timestamp("us")),
                "new_doubt": pa.array([t and t[1].time_doubt for t in targets], pa.string()),
                "new_edge": pa.array([t and t[1].edge_doubt for t in targets], pa.bool_()),
            }
        ),
    )
    columns = ", ".join(f"r.{engine.identifier(name)}" for name in SIGNALS)
    rows = engine.read_parquet(store.live("signals"))
    engine.run(
        con,
        f"create or replace temp table found as select {columns}, c.new_source, c.new_line, c.new_utc, c.new_doubt, "
        f"c.new_edge from {rows} r join changed c using (source_id, line_no)",
    )
    months = {row[0] for row in engine.rows(con, "select distinct strftime(received_utc, '%Y-%m') from found")}
    replaced = ", ".join(
        {
            "received_utc": "new_utc as received_utc", "time_doubt": "new_doubt as time_doubt",
            "edge_doubt": "new_edge as edge_doubt", "source_id": "new_source as source_id",
            "line_no": "new_line as line_no",
        }.get(name, engine.identifier(name))
        for name in SIGNALS
    )  # fmt: skip
    engine.run(con, f"create or replace temp table moved as select {replaced} from found where new_source is not null")
    months |= {row[0] for row in engine.rows(con, "select distinct strftime(received_utc, '%Y-%m') from moved")}
    return sorted(months)


def _moved_in_sql(touched: Sequence[str], month: str) -> str:
    columns = ", ".join(engine.identifier(name) for name in SIGNALS)
    if month not in touched:
        return f"select {columns} from moved where false"
    return f"select {columns} from moved where strftime(received_utc, '%Y-%m') = '{month}'"
