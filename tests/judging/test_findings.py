"""Names, status and words of findings. DESIGN §5.3 fixes the id; the id's example was computed with sha256sum."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from sigaudit.judging.findings import amount, finding_id, history, moment, spoken


def test_the_id_is_the_start_of_a_sha256() -> None:
    # printf 'main/0421|gone_silent|' | sha256sum
    assert finding_id("main/0421", "gone_silent", "") == "2e35ba08938f"


@pytest.mark.parametrize(
    ("earlier", "expected"),
    [
        ([], ("new", 1)),
        ([{"a"}], ("continuing", 2)),
        ([{"a"}, {"a"}, set(), {"a"}], ("continuing", 3)),
        ([set(), {"a"}], ("returned", 1)),
        ([set(), set()], ("new", 1)),
    ],
)
def test_status_against_earlier_weeks(earlier: list[set[str]], expected: tuple[str, int]) -> None:
    assert history("a", earlier) == expected


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [(53.1, "h", "2 d 5 h"), (48.0, "h", "2 d"), (47.9, "h", "47.9 h"), (3.0, "tests", "3 tests"),
     (39.2857, "%", "39.3 %"), (None, "h", "?"), (412.4, "check-ins", "412 check-ins")],
)  # fmt: skip
def test_amounts(value: float | None, unit: str, text: str) -> None:
    assert amount(value, unit) == text


def test_moments_are_local() -> None:
    zone = ZoneInfo("America/New_York")
    assert moment(datetime(2026, 11, 1, 5, 30), zone) == "2026-11-01 01:30"
    assert moment(datetime(2026, 11, 1, 6, 30), zone) == "2026-11-01 01:30"
    assert moment(None, zone) == "?"


@pytest.mark.parametrize(
    ("subject", "text"),
    [
        ("", ""),
        ("peer=main/0421", "0421"),
        ("peer=north/0421", "0421 of group north"),
        ("path=radio", "path radio"),
        ("path=radio,peer=main/7", "path radio, 7"),
        ("line=1/2", "line 1/2"),
    ],
)
def test_a_subject_is_said_in_words(subject: str, text: str) -> None:
    assert spoken(subject) == text
