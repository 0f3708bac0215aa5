"""Zone offsets as rows. Checked against Python's zoneinfo (IANA time zone database), at both sides of every change."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sigaudit.store.calendar import spans, table

FIRST, LAST = datetime(2025, 1, 1), datetime(2028, 1, 1)


@pytest.mark.parametrize("name", ["America/New_York", "Europe/Berlin", "Australia/Lord_Howe", "UTC", "Asia/Kathmandu"])
def test_rows_are_gapless_and_agree_at_both_sides_of_every_change(name: str) -> None:
    zone = ZoneInfo(name)
    rows = spans(zone, FIRST, LAST)
    assert rows[0][0] == FIRST and rows[-1][1] == LAST
    for (_, end, _), (start, _, _) in pairwise(rows):
        assert end == start
    for start, end, offset in rows:
        for at in (start, end - timedelta(seconds=1)):
            found = at.replace(tzinfo=UTC).astimezone(zone).utcoffset()
            assert found is not None and found.total_seconds() == offset


@given(st.datetimes(FIRST, LAST - timedelta(seconds=1)))
def test_any_instant_has_the_offset_of_its_row(at: datetime) -> None:
    zone = ZoneInfo("America/New_York")
    row = next(r for r in spans(zone, FIRST, LAST) if r[0] <= at < r[1])
    found = at.replace(tzinfo=UTC).astimezone(zone).utcoffset()
    assert found is not None and found.total_seconds() == row[2]


def test_the_table_names_its_zone() -> None:
    assert set(table(ZoneInfo("Europe/Berlin"), FIRST, LAST)["zone"].to_pylist()) == {"Europe/Berlin"}
