"""Versions and accumulated loads, without files."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pyarrow as pa
from hypothesis import given
from hypothesis import strategies as st

from sigaudit.store.roster_tables import SCHEMAS, empty
from sigaudit.store.roster_versions import (
    RosterMeta,
    accumulated,
    as_known_at,
    digest,
    in_force_at,
    midnight_utc,
)

T = dt.datetime


def meta(version: int, begins: dt.datetime | None) -> RosterMeta:
    return RosterMeta(version, begins.date() if begins else None, begins, dt.date(2026, 1, 1), "", ())


def spans(*rows: tuple[str, dt.datetime, dt.datetime | None], **extra: str) -> pa.Table:
    records = [{"account_key": a, "from_utc": b, "until_utc": c, "reason": "", **extra} for a, b, c in rows]
    schema = SCHEMAS["on_test"]
    for name in extra:
        schema = schema.append(pa.field(name, pa.string()))
    return pa.Table.from_pylist(records, schema=schema)


def test_the_last_version_begun_is_in_force() -> None:
    versions = [meta(1, None), meta(2, T(2026, 11, 2)), meta(3, T(2026, 10, 5)), meta(4, T(2026, 11, 2))]
    found = [in_force_at(versions, at) for at in (T(1990, 1, 1), T(2026, 10, 5), T(2026, 11, 1, 23), T(2026, 11, 2))]
    assert [one.version for one in found if one] == [1, 3, 3, 4]
    assert in_force_at([], T(2026, 1, 1)) is None


def test_a_local_day_begins_at_its_midnight() -> None:
    assert midnight_utc(dt.date(2026, 11, 2), "America/New_York") == T(2026, 11, 2, 5)
    assert midnight_utc(dt.date(2026, 7, 2), "America/New_York") == T(2026, 7, 2, 4)
    # Beirut skips from 00:00 to 01:00 on 2026-03-29 (IANA database): the day begins at 22:00 UTC.
    begins = midnight_utc(dt.date(2026, 3, 29), "Asia/Beirut").replace(tzinfo=dt.UTC)
    just_before = begins - dt.timedelta(seconds=1)
    local = [instant.astimezone(ZoneInfo("Asia/Beirut")).day for instant in (just_before, begins)]
    assert local == [28, 29]


def test_a_later_end_closes_a_span_and_is_not_forgotten() -> None:
    start, end = T(2026, 7, 1, 6), T(2026, 7, 1, 9)
    open_span, closed = spans(("main/1", start, None)), spans(("main/1", start, end))
    other = spans(("main/1", start, T(2026, 7, 1, 8)), ("main/2", start, None))
    assert accumulated("on_test", [open_span, closed]).to_pylist() == closed.to_pylist()
    assert accumulated("on_test", [closed, open_span]).to_pylist() == closed.to_pylist()
    assert [row["until_utc"] for row in accumulated("on_test", [closed, other]).to_pylist()] == [
        T(2026, 7, 1, 8),
        None,
    ]


def test_columns_that_only_one_load_has() -> None:
    joined = accumulated("on_test", [spans(("a", T(2026, 1, 1), None)), spans(("b", T(2026, 1, 1), None), by="T. One")])
    assert joined.column("by").to_pylist() == ["", "T. One"]
    assert accumulated("on_test", []).equals(empty("on_test"))


def test_no_audit_sees_the_future() -> None:
    at = T(2026, 7, 5)
    told = spans(("a", T(2026, 7, 1), T(2026, 7, 9)), ("b", T(2026, 7, 5), None), ("c", T(2026, 7, 1), T(2026, 7, 2)))
    assert [(r["account_key"], r["until_utc"]) for r in as_known_at("on_test", told, at).to_pylist()] == [
        ("a", None),
        ("c", T(2026, 7, 2)),
    ]
    visits = pa.Table.from_pylist(
        [dict.fromkeys(SCHEMAS["visits"].names, "") | {"visited_on": dt.date(2026, 7, day)} for day in (4, 6)],
        schema=SCHEMAS["visits"],
    )
    assert as_known_at("visits", visits, at).num_rows == 1


def test_the_digest_sees_every_cell_and_only_what_a_version_replaces() -> None:
    tables = {name: empty(name) for name in SCHEMAS}
    dealer = dict.fromkeys(SCHEMAS["dealers"].names, "x")
    one = tables | {"dealers": pa.Table.from_pylist([dealer], schema=SCHEMAS["dealers"])}
    two = tables | {"dealers": pa.Table.from_pylist([dealer | {"name": "y"}], schema=SCHEMAS["dealers"])}
    assert len({digest(tables), digest(one), digest(two)}) == 3
    assert digest(one) == digest(one | {"on_test": spans(("a", T(2026, 1, 1), None))})


_ROWS = st.lists(
    st.tuples(st.sampled_from("abc"), st.integers(1, 3), st.one_of(st.none(), st.integers(4, 6))), max_size=5
)


@given(st.lists(_ROWS, max_size=3))
def test_loading_again_changes_nothing(loads: list[list[tuple[str, int, int | None]]]) -> None:
    tables = [spans(*((a, T(2026, 1, b), T(2026, 1, c) if c else None) for a, b, c in rows)) for rows in loads]
    once = accumulated("on_test", tables)
    assert accumulated("on_test", [once, once]).equals(once)
    assert accumulated("on_test", [*tables, *tables[-1:]]).equals(once)
