"""Runs the checks and says of each row how bad it is and how sure.

A check's SQL measures and compares; nothing else happens to its verdicts than what stands here,
alike for all checks: doubtful times (marked, or beside a step of the receiver's clock), an inferred
interval and partial log coverage each lower the grade by one, and a requirement known only from
memory never makes more than a note. What needs finer times than an account's log has is not judged.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.errors import CheckFaulty
from sigaudit.judging import clocks
from sigaudit.judging.cards import Card
from sigaudit.judging.desk import Desk
from sigaudit.judging.measures import KEPT, ROSTER
from sigaudit.store.engine_duckdb import SqlProblem, asked, literal, locked_tables, one_select

_FIRST, _END = datetime(1900, 1, 1), datetime(2200, 1, 1)
_FILL = "see the row contract: '' is an empty text"
_WORD = re.compile(r"\w+")
_MEND = "mend the query; `sigaudit checks ID` shows its card"

VERDICTS = ("finding", "sound", "not_judged")
CONFIDENCE = {3: "strong", 2: "likely", 1: "possible"}

_TEXT, _TIME, _INT, _REAL = pa.string(), pa.timestamp("us"), pa.int64(), pa.float64()
REQUIRED = pa.schema(
    [
        ("account_key", _TEXT), ("subject", _TEXT), ("verdict", _TEXT), ("reason", _TEXT), ("measured", _REAL),
        ("limit_value", _REAL), ("unit", _TEXT), ("since_utc", _TIME), ("until_utc", _TIME),
        ("evidence_from_utc", _TIME), ("evidence_until_utc", _TIME), ("last_good_utc", _TIME),
        ("evidence_count", _INT), ("excused_count", _INT), ("grade", _INT), ("k", _INT), ("n", _INT),
    ]
)  # fmt: skip
OPTIONAL = pa.schema(
    [("aggravated", _INT), ("inferred", _INT), ("doubtful", _INT), ("standing", _TEXT), ("finest_s", _REAL)]
)
ROWS = pa.schema([("check_id", _TEXT), *zip(REQUIRED.names, REQUIRED.types, strict=True),
                  *zip(OPTIONAL.names, OPTIONAL.types, strict=True)])  # fmt: skip

# What a check may read beside its own limits; documented in DEVELOPERS.md, pinned by a test.
STATION_TABLES = (
    "station", "calendar", "line_facts", "family_facts", "clock_offsets", "test_odds", "default_accounts",
)  # fmt: skip


def run_all(desk: Desk, cards: Iterable[Card], account_ranges: Iterable[tuple[str, str]]) -> pa.Table:
    """Verdict rows of every check over every range: one row per check, account key and subject.

    Raises CheckFaulty when a check's SQL fails, leaves a column out, or gives a key twice.
    """
    found: list[pa.Table] = []
    station_cards = []
    cards = list(cards)
    for low, high in account_ranges:
        _views(desk, f"account_key >= {literal(low)} and account_key < {literal(high)}")
        for card in cards:
            if card.scope == "account":
                found.append(run_one(desk, card))
    station_cards = [card for card in cards if card.scope == "station"]
    if station_cards:
        _views(desk, "true")
        found.extend(run_one(desk, card) for card in station_cards)
    rows = pa.concat_tables(found) if found else ROWS.empty_table()
    rows = rows.sort_by([(name, "ascending") for name in ("check_id", "account_key", "subject")])
    _no_doubles(rows, {card.id: card for card in cards})
    return clocks.doubt(desk, clocks.too_coarse(desk, rows, {card.id: card.finest_s for card in cards}))


def run_one(desk: Desk, card: Card) -> pa.Table:
    """Verdict rows of one check over the accounts now in view."""
    desk.view("limits", f"select * exclude (check_id) from ranged_limits where check_id = {literal(card.id)}")
    try:
        raw = _confined(desk, card) if card.own else desk.run(card.sql)
    except SqlProblem as error:
        where = f", line {error.line}" if error.line else ""
        raise CheckFaulty(f"{card.sql_file}{where}: {error.said or error.message}", next_step=_MEND) from error
    except Exception as error:  # the engine's own family, which only its door may import
        if type(error).__module__.partition(".")[0] not in ("duckdb", "_duckdb"):
            raise
        said = str(error).strip().splitlines()[0]
        raise CheckFaulty(f"{card.sql_file}: {said}", next_step=_MEND) from error
    shaped = _shaped(raw, card)
    if card.own:
        _sensible(shaped, card)
    return shaped


def _confined(desk: Desk, card: Card) -> pa.Table:
    """A station's own check sees copies of the documented tables and nothing else: no file, no other table."""
    sql = one_select(card.sql)  # the whole text is run: its lines are those of the file
    words = {word.lower() for word in _WORD.findall(sql)}
    named = [name for name in (*ROSTER, *KEPT, *STATION_TABLES) if name in words]
    with locked_tables({name: desk.run(f"select * from {name}") for name in named}) as con:
        return asked(con, card.sql, desk.window.bound(card.sql))


def confidence(rows: pa.Table) -> list[str]:
    """strong, likely or possible for each row, after the lowering that holds for all checks."""
    words = []
    for grade, inferred, doubtful, excused in zip(
        *(rows[name].to_pylist() for name in ("grade", "inferred", "doubtful", "excused_count")), strict=True
    ):
        lowered = grade - bool(inferred) - bool(doubtful) - bool(excused)
        words.append(CONFIDENCE[min(3, max(1, lowered))])
    return words


def severity(row: Mapping[str, Any], card: Card, system_type: str, station_says: str) -> str:
    """Severity of one finding: the station's own word, else the card's; memory alone makes a note."""
    if station_says:
        return station_says
    if row["standing"] == "memory":
        return "note"
    return card.severity_for(system_type, aggravated=bool(row["aggravated"]))


def _views(desk: Desk, inside: str) -> None:
    for name in ROSTER:
        desk.view(name, f"select * from all_{name} where {inside}")
    for name in KEPT:
        desk.view("ranged_limits" if name == "limits" else name, f"select * from kept_{name} where {inside}")
    desk.view("test_odds", f"select * from all_test_odds where {inside}")


def _shaped(raw: pa.Table, card: Card) -> pa.Table:
    """The row contract's columns in order; optional ones that a check leaves out are empty."""
    missing = [name for name in REQUIRED.names if name not in raw.column_names]
    if missing:
        raise CheckFaulty(f"{card.sql_file}: columns missing: {', '.join(missing)}", next_step="see the row contract")
    surplus = [name for name in raw.column_names if name not in REQUIRED.names and name not in OPTIONAL.names]
    if surplus:
        raise CheckFaulty(f"{card.sql_file}: unknown columns: {', '.join(surplus)}", next_step="see the row contract")
    columns = [pa.array([card.id] * len(raw), _TEXT)]
    for field in (*REQUIRED, *OPTIONAL):
        if field.name in raw.column_names:
            columns.append(_cast(raw[field.name].combine_chunks(), field, card))
        else:
            blank: Any = "" if field.type == _TEXT else 0.0 if field.type == _REAL else 0
            columns.append(pa.array([blank] * len(raw), field.type))
    shaped = pa.Table.from_arrays(columns, schema=ROWS)
    odd = set(shaped["verdict"].to_pylist()) - set(VERDICTS)
    if odd:
        raise CheckFaulty(f"{card.sql_file}: verdict {odd.pop()!r}", next_step=f"one of: {', '.join(VERDICTS)}")
    return shaped


def _cast(column: pa.Array, field: pa.Field, card: Card) -> pa.Array:
    try:
        return column.cast(field.type, safe=False) if column.type != field.type else column
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError) as error:
        said = f"column {field.name} holds {column.type} that is no {field.type}"
        raise CheckFaulty(f"{card.sql_file}: {said}", next_step="see the row contract") from error


def _sensible(rows: pa.Table, card: Card) -> None:
    """Refuses from a station's own check what no page could show: nothing for a text or a grade, no number, no time."""
    for name in ("account_key", "subject", "verdict", "reason", "unit", "grade"):
        if rows[name].null_count:
            raise CheckFaulty(f"{card.sql_file}: column {name} is null in some rows", next_step=_FILL)
    for name in ("measured", "limit_value"):
        if pc.any(pc.invert(pc.is_finite(rows[name].drop_null()))).as_py():
            raise CheckFaulty(f"{card.sql_file}: column {name} is infinite or no number in some rows", next_step=_FILL)
    for field in rows.schema:
        if field.type == _TIME and pc.any(_beyond(rows[field.name].drop_null())).as_py():
            said = f"column {field.name} is a time before 1900 or after 2199 in some rows"
            raise CheckFaulty(f"{card.sql_file}: {said}", next_step="null where there is none")


def _beyond(times: pa.ChunkedArray) -> pa.ChunkedArray:
    return pc.or_(pc.less(times, pa.scalar(_FIRST, _TIME)), pc.greater_equal(times, pa.scalar(_END, _TIME)))


def _no_doubles(rows: pa.Table, cards: Mapping[str, Card]) -> None:
    keys = rows.select(["check_id", "account_key", "subject"])
    counts = keys.group_by(["check_id", "account_key", "subject"]).aggregate([([], "count_all")])
    doubled = counts.filter(pc.greater(counts["count_all"], 1))
    if len(doubled):
        one = doubled.slice(0, 1).to_pylist()[0]
        raise CheckFaulty(
            f"{cards[one['check_id']].sql_file}: two rows for account {one['account_key']}, subject {one['subject']!r}",
            next_step="give one row per account and subject",
        )
