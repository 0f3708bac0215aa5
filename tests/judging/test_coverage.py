"""Log coverage: who was listening, and whose silence it is. Scenarios after DESIGN §8; common practice."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np

from sigaudit.judging.coverage import OPEN_EXCUSE_S, Coverage, hours, shared_holes, survey
from tests.judging.test_silences import DAY, START, series, stream

ZONE = ZoneInfo("America/New_York")
END = START + 42 * DAY
A, B = START + 36 * DAY, START + 36 * DAY + 6 * 3600


def run(
    lost: set[str], *, own: list[float] = [], failed: list[float] = [], until: float = END,  # noqa: B006
    steps: list[tuple[str, float, float]] = [],  # noqa: B006
) -> Coverage:  # fmt: skip
    traffic = {}
    for i, line in enumerate(("1", "2")):
        times = stream(20.0, 6, 10 + i)
        if line in lost:
            times = times[(times < A) | (times > B)]
        traffic["R", line] = series(times[times < until])
    sources = [(1, "R", "1", START, until), (1, "R", "2", START, until)]
    return survey(traffic, sources, [("R", t) for t in own], [("R", t) for t in failed], START, until, ZONE, steps)


def kinds(found: Coverage) -> list[tuple[str, str]]:
    return [(i["kind"], i["line"]) for i in found.incidents]


def test_nothing_is_wrong() -> None:
    assert kinds(run(set())) == []


def test_one_line_silent_while_its_sibling_talks() -> None:
    assert kinds(run({"2"})) == [("receiver_line_outage", "2")]


def test_all_lines_silent_is_not_told_apart_without_a_sign() -> None:
    assert kinds(run({"1", "2"})) == [("not_told_apart", "1, 2")]


def test_the_receiver_says_so_itself() -> None:
    assert kinds(run({"1", "2"}, own=[B + 60])) == [("receiver_outage", "1, 2")]


def test_a_backlog_says_so() -> None:
    assert kinds(run({"1", "2"}, failed=[B + 60, B + 90, B + 600])) == [("receiver_outage", "1, 2")]
    assert kinds(run({"1", "2"}, failed=[B + 60, B + 90])) == [("not_told_apart", "1, 2")]


def test_no_source_is_a_gap_in_the_exports_and_comes_once_for_all_lines() -> None:
    traffic = {}
    for i, line in enumerate(("1", "2")):
        times = stream(20.0, 6, 20 + i)
        traffic["R", line] = series(times[(times < A) | (times > B)])
    sources = [(n, "R", line, *span) for n, span in ((1, (START, A)), (2, (B, END))) for line in ("1", "2")]
    found = survey(traffic, sources, [], [], START, END, ZONE)
    assert kinds(found) == [("export_gap", "1, 2")]
    states = {(r["line"], r["state"]) for r in hours(found, A + 3600, B - 3600).to_pylist()}
    assert states == {("1", "missing"), ("2", "missing")}


def test_an_incident_without_an_end_excuses_for_a_day_only() -> None:
    until = A + 3 * DAY
    traffic = {("R", "1"): series(_before(30, until)), ("R", "2"): series(_before(31, A))}
    sources = [(1, "R", line, START, until) for line in ("1", "2")]
    found = survey(traffic, sources, [], [], START, until, ZONE)
    assert kinds(found) == [("receiver_line_outage", "2")]
    assert found.incidents[0]["is_open"]
    hole = found.holes[0]
    assert hole.until_s - hole.from_s == OPEN_EXCUSE_S < until - hole.from_s


def _before(seed: int, until: float) -> np.ndarray:
    times = stream(20.0, 6, seed)
    return times[times < until]


def test_an_account_on_two_lines_is_excused_only_while_both_are_silent() -> None:
    found = run({"2"})
    rows = shared_holes(found, ["R/1", "R/2", "R/1|R/2"])
    assert {row[0] for row in rows} == {"R/2"}
    both = shared_holes(run({"1", "2"}), ["R/1|R/2"])
    assert len(both) == 1 and both[0][1] <= A and both[0][2] >= B


def test_hours_that_a_clock_jumped_over_are_blamed_on_nobody() -> None:
    """The clock went back by six hours, and forward again over A to B: six hours twice, six hours not at all.

    Even a power event of the receiver does not make an outage of them. Worked by hand; no source.
    """
    step = ("R", A - 2 * DAY, A - 2 * DAY + (B - A))
    plain, known = run({"1", "2"}, own=[B + 60]), run({"1", "2"}, own=[B + 60], steps=[step])
    assert kinds(plain) == [("receiver_outage", "1, 2")]
    assert kinds(known) == [("not_told_apart", "1, 2")]
    assert [i["clock"] for i in known.incidents] == [True]
    # Another receiver's step, one of another length, one of last month: no reason.
    for other in (("S", *step[1:]), ("R", step[1], step[2] + 3600), ("R", step[1] - 30 * DAY, step[2] - 30 * DAY)):
        assert kinds(run({"1", "2"}, own=[B + 60], steps=[other])) == [("receiver_outage", "1, 2")]


def test_a_step_back_alone_is_no_silence() -> None:
    """A clock an hour ahead is set right at A: an hour is written twice, nothing is missing."""
    traffic = {}
    for line, seed in (("1", 10), ("2", 11)):
        times = stream(20.0, 6, seed)
        traffic["R", line] = series(np.sort(np.where(times >= A, times - 3600, times)))
    sources = [(1, "R", line, START, END - 3600) for line in ("1", "2")]
    found = survey(traffic, sources, [("R", A)], [], START, END - 3600, ZONE, [("R", A - 3600, A)])
    assert (kinds(found), found.holes) == ([], [])
