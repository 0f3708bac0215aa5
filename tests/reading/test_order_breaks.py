"""A receiver's clock that steps back inside a file is found, marked with its place, and nothing is sorted again.

The scenes are worked by hand; the five minutes, the 20 and the one per 200 are house rules (no source). The
clock-change nights are those of America/New_York in 2026: 1 November and 8 March, by the IANA time zone database.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from sigaudit.store import clock_breaks
from sigaudit.store.clock_breaks import ClockBreak, judged, step_words
from tests.reading.small_station import Station, csv

DAY = datetime(2026, 11, 17)


def row(wall: datetime | str, receiver: str = "1", account: str = "0001") -> str:
    at = wall if isinstance(wall, str) else wall.isoformat()
    return f"{at},{receiver},1,{account},E602,01,000"


def at(clock: str, day: str = "2026-11-17") -> str:
    return f"{day}T{clock}"


def breaks(station: Station) -> list[tuple[str, int, str, str]]:
    """(receiver, line, before, after) as held, UTC clock times."""
    found = clock_breaks.read(station.store.catalog)
    return [(b.receiver, b.line_no, f"{b.before_utc:%H:%M:%S}", f"{b.after_utc:%H:%M:%S}") for b in found]


def test_a_step_back_is_marked_with_its_line_and_stays_where_it_stands(tmp_path: Path) -> None:
    station = Station(tmp_path)
    lines = [row(at("10:00:00")), row(at("10:10:00")), row(at("10:03:00")), row(at("10:13:00"))]
    result = station.take(("a.csv", csv(*lines)))
    # 10:10 to 10:03 at the third line, the fourth of the file; New York in November is UTC-5.
    assert breaks(station) == [("1", 4, "15:10:00", "15:03:00")]
    (said,) = result.sources[0].notes
    assert said.startswith("line 4: the clock of receiver '1' steps back 7 min")
    held = station.rows("select line_no, received_wall from t order by line_no")
    assert [wall for _, wall in held] == [at("10:00:00"), at("10:10:00"), at("10:03:00"), at("10:13:00")]


@pytest.mark.parametrize(("clock", "found"), [("10:05:00", 0), ("10:04:59", 1)])
def test_five_minutes_are_no_step_one_second_more_is(tmp_path: Path, clock: str, found: int) -> None:
    station = Station(tmp_path)
    station.take(("a.csv", csv(row(at("10:00:00")), row(at("10:10:00")), row(at(clock)), row(at("10:20:00")))))
    assert len(breaks(station)) == found


def test_each_receiver_has_its_own_clock(tmp_path: Path) -> None:
    station = Station(tmp_path)
    # Receiver 2 runs an hour behind all the time: its lines between those of receiver 1 are no step.
    lines = [row(at(f"1{i}:00:00"), "1") + "\n" + row(at(f"1{i - 1}:00:00"), "2") for i in range(1, 6)]
    station.take(("a.csv", csv(*lines)))
    assert breaks(station) == []


def test_a_file_written_newest_first_is_judged_in_its_own_direction(tmp_path: Path) -> None:
    station = Station(tmp_path)
    clocks = ["10:00:00", "10:10:00", "10:20:00", "09:40:00", "10:30:00", "10:40:00"]
    station.take(("new.csv", csv(*(row(at(c)) for c in reversed(clocks)))))
    # In order of time: 10:20, then 09:40. 09:40 is the third line of data from the top, line 4 of the file.
    assert breaks(station) == [("1", 4, "15:20:00", "14:40:00")]


def test_newest_first_without_a_step_says_nothing(tmp_path: Path) -> None:
    station = Station(tmp_path)
    result = station.take(("new.csv", csv(*(row(DAY - timedelta(hours=i)) for i in range(50)))))
    assert breaks(station) == [] and result.sources[0].notes == ()


@pytest.mark.parametrize(
    ("name", "clocks"),
    [
        ("the pass is told", ["00:50:00", "01:20:00", "01:55:00", "01:05:00", "01:50:00", "02:10:00"]),
        ("the pass is not told: two steps", ["00:50:00", "01:50:00", "01:05:00", "01:40:00", "01:10:00", "02:10:00"]),
    ],
)
def test_the_repeated_hour_is_no_break(tmp_path: Path, name: str, clocks: list[str]) -> None:
    station = Station(tmp_path)
    station.take(("a.csv", csv(*(row(at(c, "2026-11-01")) for c in clocks))))
    assert breaks(station) == [], name


def test_a_clock_set_back_late_is_a_break(tmp_path: Path) -> None:
    station = Station(tmp_path)
    # Nobody set the clock at 02:00; at 08:05 somebody did.
    clocks = ["00:30:00", "03:00:00", "08:05:00", "07:06:00", "07:30:00"]
    station.take(("a.csv", csv(*(row(at(c, "2026-11-01")) for c in clocks))))
    assert breaks(station) == [("1", 5, "13:05:00", "12:06:00")]


def test_a_step_out_of_the_ordinary_back_into_that_hour_is_a_break(tmp_path: Path) -> None:
    station = Station(tmp_path)
    clocks = ["00:50:00", "02:10:00", "01:20:00", "02:20:00"]
    station.take(("a.csv", csv(*(row(at(c, "2026-11-01")) for c in clocks))))
    assert [line for _, line, *_ in breaks(station)] == [4]


def test_the_missing_hour_is_no_break(tmp_path: Path) -> None:
    station = Station(tmp_path)
    # 02:40 does not exist that night; carried on it is later than 03:05, which followed.
    clocks = ["01:50:00", "02:40:00", "03:05:00", "04:00:00"]
    station.take(("a.csv", csv(*(row(at(c, "2026-03-08")) for c in clocks))))
    assert breaks(station) == []


def test_a_file_in_no_order_of_time_says_so_and_marks_nothing(tmp_path: Path) -> None:
    station = Station(tmp_path)
    # Sorted by account: each account's day begins anew.
    lines = [row(DAY + timedelta(hours=h), account=f"{a:04d}") for a in range(8) for h in range(20)]
    result = station.take(("by_account.csv", csv(*lines)))
    assert result.sources[0].notes == ("receiver '1': not in order of time; its clock is not judged by it",)
    assert judged(clock_breaks.read(station.store.catalog)) == ([], [(1, "1")])


@pytest.mark.parametrize(
    ("n", "lines", "clock"), [(3, 10, True), (4, 799, False), (4, 800, True), (20, 4000, True), (21, 100_000, False)]
)
def test_house_rule_for_order(n: int, lines: int, clock: bool) -> None:
    """More than 20 breaks, or more than 3 and one per 200 lines, are no clock."""
    found = [ClockBreak(1, "1", i, DAY + timedelta(hours=i), DAY, lines - n + i) for i in range(1, n + 1)]
    marks, unordered = judged(found)
    assert (len(marks), unordered) == ((n, []) if clock else (0, [(1, "1")]))


def test_a_later_break_is_not_seen_before_its_time() -> None:
    early = ClockBreak(1, "1", 5, DAY, DAY - timedelta(hours=1), 4)
    late = [
        ClockBreak(1, "1", 6 + i, DAY + timedelta(days=9, hours=2), DAY + timedelta(days=9), 5 + i) for i in range(9)
    ]
    assert judged([early, *late])[0] == []
    assert judged([early, *late], DAY + timedelta(days=1)) == ([early], [])


def test_grown_byte_by_byte_is_one_shot(tmp_path: Path) -> None:
    content = csv(row(at("10:00:00")), row(at("11:00:00")), row(at("10:20:00")), row(at("10:40:00")))
    whole, grown = Station(tmp_path / "whole"), Station(tmp_path / "grown")
    whole.take(("a.csv", content))
    for n in range(60, len(content) + 1):
        grown.take(("a.csv", content[:n]))
    assert breaks(whole) == breaks(grown) == [("1", 4, "16:00:00", "15:20:00")]


def test_a_break_is_told_once_when_a_file_grows(tmp_path: Path) -> None:
    station = Station(tmp_path)
    lines = [row(at("10:00:00")), row(at("11:00:00")), row(at("10:20:00")), row(at("10:40:00"))]
    assert len(station.take(("a.csv", csv(*lines))).sources[0].notes) == 1
    assert station.take(("a.csv", csv(*lines, row(at("10:50:00"))))).sources[0].notes == ()
    assert len(breaks(station)) == 1


def test_a_store_from_before_breaks_learns_of_them_at_the_next_ingest(tmp_path: Path) -> None:
    station = Station(tmp_path)
    station.take(("a.csv", csv(row(at("10:00:00")), row(at("11:00:00")), row(at("10:20:00")))))
    with station.store.catalog.connection() as con:
        con.execute("drop table source_breaks")
        con.execute("drop table source_breaks_known")
    assert breaks(station) == []
    station.take(("b.csv", csv(row(at("12:00:00"), "2"))))
    assert breaks(station) == [("1", 4, "16:00:00", "15:20:00")]


@pytest.mark.parametrize(
    ("seconds", "words"), [(360, "6 min"), (3600, "1 h"), (4320, "1 h 12 min"), (93_600, "1 d 2 h"), (301, "5 min")]
)
def test_a_step_in_words(seconds: int, words: str) -> None:
    assert step_words(seconds) == words
