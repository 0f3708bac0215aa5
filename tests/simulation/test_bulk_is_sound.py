"""The benchmark export: as many lines as asked for, in receive order, an hour that really repeats."""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise
from pathlib import Path

import pytest

from tests.simulation import bulk


@pytest.fixture(scope="module")
def rows(tmp_path_factory: pytest.TempPathFactory) -> list[list[str]]:
    path: Path = tmp_path_factory.mktemp("bulk") / "bulk.csv"
    count = bulk.write_log(path, accounts=300, weeks=4)
    lines = path.read_text(encoding="ascii").splitlines()
    assert lines[0] == ",".join(bulk.COLUMNS)
    assert len(lines) == count + 1
    return [line.split(",") for line in lines[1:]]


def test_about_eleven_signals_per_account_and_day(rows: list[list[str]]) -> None:
    assert 10.0 < len(rows) / (300 * 28) < 12.0


def test_every_account_speaks_and_every_line_has_eight_fields(rows: list[list[str]]) -> None:
    assert {len(row) for row in rows} == {8}
    assert len({row[3] for row in rows}) == 300


def test_wall_time_steps_back_once_at_the_clock_change(rows: list[list[str]]) -> None:
    # America/New_York, 1 November 2026: 02:00 becomes 01:00 (tz database)
    stamps = [datetime.fromisoformat(row[0]) for row in rows]
    back = [(a, b) for a, b in pairwise(stamps) if b < a]
    assert len(back) == 1
    before, after = back[0]
    assert (before.hour, after.hour, after.date().isoformat()) == (1, 1, "2026-11-01")


def test_no_hour_is_silent(rows: list[list[str]]) -> None:
    stamps = [datetime.fromisoformat(row[0]) for row in rows]
    gaps = [(b - a).total_seconds() for a, b in pairwise(stamps)]
    assert max(gaps) < 3600
