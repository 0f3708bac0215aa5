"""Missed tests that no finding tells of: counted, listed, and never a finding. The rule is the tool's own."""

from __future__ import annotations

from collections.abc import Iterator

import pyarrow as pa
import pytest

from sigaudit.judging import tables
from sigaudit.judging.cards import read_all
from sigaudit.judging.desk import Desk
from sigaudit.judging.judge import Judged
from sigaudit.store.shipped import queries
from tests.judging.small_desk import WEEK, healthy, judged
from tests.simulation.site import Signal

CHECKS = ("tests_missed_often", "test_overdue", "gone_silent")
DAY = 86400


@pytest.fixture(scope="module")
def station() -> Iterator[tuple[Judged, Desk, str, list[Signal]]]:
    """A sound station in which one account lost one test of the window, as its log shows."""
    sites, signals = healthy(3, step=8)
    inside = [s for s in signals if WEEK[0] + DAY < s.at < WEEK[1] - 2 * DAY and s.event == "E602"]
    by_account: dict[str, list[Signal]] = {}
    for signal in inside:
        by_account.setdefault(signal.account, []).append(signal)
    account, tests = next((a, t) for a, t in sorted(by_account.items()) if len(t) == 4)
    kept = [s for s in signals if s is not tests[1]]
    found, desk = judged(sites, kept, CHECKS)
    yield found, desk, account, tests
    desk.con.close()


def test_one_lost_test_is_listed_with_when_it_was_due(station: tuple[Judged, Desk, str, list[Signal]]) -> None:
    found, desk, account, tests = station
    listed = [row for row in tables.first_misses(desk, found.rows).to_pylist() if row["account"] == account]
    assert [(row["k"], row["n"], row["what"]) for row in listed] == [(1, 7, "test")]
    due_s = (listed[0]["last_missed_utc"] - desk.window.from_utc).total_seconds() + WEEK[0]
    assert due_s == pytest.approx(tests[1].at, abs=1800)  # a day after the test before it


def test_every_miss_is_either_listed_or_told_by_a_finding(station: tuple[Judged, Desk, str, list[Signal]]) -> None:
    found, desk, *_ = station
    listed = {row["account_key"] for row in tables.first_misses(desk, found.rows).to_pylist()}
    tells = found.rows.to_pylist()
    told = {r["account_key"] for r in tells if r["verdict"] == "finding" and r["check_id"] in tables.TELL_OF_MISSES}
    missed = {row[0] for row in desk.rows("select distinct account_key from kept_test_measures where k_window > 0")}
    assert missed == listed | (told & missed)
    assert listed


def test_a_finding_takes_the_miss_off_the_list(station: tuple[Judged, Desk, str, list[Signal]]) -> None:
    found, desk, account, _ = station
    row = next(r for r in found.rows.to_pylist() if r["account_key"] == f"main/{account}")
    said = pa.Table.from_pylist(
        [{**row, "check_id": "test_overdue", "verdict": "finding", "subject": ""}], schema=found.rows.schema
    )
    rows = pa.concat_tables([found.rows, said])
    assert account not in tables.first_misses(desk, rows)["account"].to_pylist()


def test_the_checks_named_are_checks() -> None:
    assert set(tables.TELL_OF_MISSES) <= set(read_all(queries() / "checks"))
