"""Wall time to UTC. Source: the IANA time zone database as Python's zoneinfo reads it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pyarrow as pa
import pytest

from sigaudit.reading.clock import Clock, instants, is_named_zone, passes_sql
from sigaudit.store import engine_duckdb as engine

ZONES = ["America/New_York", "Europe/Berlin", "Australia/Lord_Howe", "America/St_Johns", "Asia/Kolkata", "UTC"]


@pytest.mark.parametrize("zone", ZONES)
def test_every_quarter_hour_of_two_years_agrees_with_zoneinfo(zone):
    start, info = datetime(2025, 1, 1), ZoneInfo(zone)
    walls = [start + timedelta(minutes=15 * i) for i in range(4 * 24 * 730)]
    clock = Clock(zone, walls[0], walls[-1])
    con = engine.connect(threads=1)
    engine.create(con, "walls", pa.table({"wall": pa.array(walls, pa.timestamp("us"))}))
    rows = engine.rows(
        con,
        f"select {clock.utc_sql('wall')}, {clock.later_sql('wall')}, {clock.gap_sql('wall')}, "
        f"{clock.change_sql('wall')} > 0 from walls order by wall",
    )
    for wall, (utc, later, gap, repeated) in zip(walls, rows, strict=True):
        first, second = (wall.replace(tzinfo=info, fold=fold).astimezone(UTC).replace(tzinfo=None) for fold in (0, 1))
        assert utc == first
        shown = instants(zone, wall)
        assert repeated == (len(shown) == 2) and gap == (len(shown) == 0)
        assert later == (second if repeated else None)


def passes(walls: list[str], receivers: str = "") -> list[int]:
    """Pass of each line; the clock of New York goes back on 2026-11-01 at 02:00."""
    con = engine.connect(threads=1)
    stamps = [datetime.fromisoformat(f"2026-11-01 {wall}") for wall in walls]
    clock = Clock("America/New_York", min(stamps), max(stamps))
    engine.create(
        con,
        "lines",
        pa.table(
            {
                "line_no": pa.array(range(1, len(walls) + 1), pa.int64()),
                "receiver": pa.array(list(receivers) or ["1"] * len(walls)),
                "wall": pa.array(stamps, pa.timestamp("us")),
            }
        ),
    )
    stage = f"(select *, {clock.change_sql('wall')} as change_no from lines)"
    found = dict(engine.rows(con, passes_sql(stage)))
    return [found.get(i, 0) for i in range(1, len(walls) + 1)]


@pytest.mark.parametrize(
    ("walls", "expected"),
    [
        (["00:50", "01:10", "01:50", "01:05", "02:10"], [0, 1, 1, 2, 0]),
        (["00:50", "01:10", "01:50", "02:10"], [0, 3, 3, 0]),  # nothing steps back: either pass
        (["00:50", "01:50", "01:46", "02:10"], [0, 3, 3, 0]),  # 4 minutes is a late line, not a pass
        (["00:50", "01:50", "01:10", "01:40", "01:20", "02:10"], [0, 3, 3, 3, 3, 0]),  # two steps: no telling
        (["02:10", "01:50", "01:10", "00:50"], [0, 3, 3, 0]),  # newest first: the step back means nothing
    ],
)
def test_pass_is_told_by_one_step_back_in_file_order(walls, expected):
    assert passes(walls) == expected


def test_each_receiver_has_its_own_clock():
    walls = ["01:50", "01:10", "01:10", "01:55", "02:10", "02:10"]
    assert passes(walls, "121212") == [1, 3, 2, 3, 0, 0]


@pytest.mark.parametrize(
    ("name", "good"), [("Europe/Berlin", True), ("UTC", True), ("EST", False), ("CET", False), ("Mars/Base", False)]
)
def test_only_zones_that_know_their_clock_changes(name, good):
    assert is_named_zone(name) is good
