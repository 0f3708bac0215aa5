"""The table of how often checks fire: counted here by hand on a station of five accounts."""

from __future__ import annotations

from tests.simulation.fires import Fires, fires, markdown

TRUTH = [
    {"account": "0101", "fault": "gone_silent", "week": "2026-W46"},
    {"account": "0102", "fault": "gone_silent", "week": "2026-W48"},
    {"account": "0103", "fault": "zone_chatter", "week": "2026-W46"},
    {"account": "0104", "fault": "healthy", "week": ""},
]
FINDINGS = [
    {"check": "gone_silent", "account": "0101", "severity": "minor"},
    {"check": "gone_silent", "account": "0101", "severity": "critical"},
    {"check": "gone_silent", "account": "0103", "severity": "note"},
    {"check": "gone_silent", "account": "0104", "severity": "note"},
    {"check": "gone_silent", "account": "0999", "severity": "major"},  # on no list: as good as healthy
]


def test_accounts_are_counted_once_and_by_what_they_are() -> None:
    rows = fires(FINDINGS, TRUTH, ["gone_silent", "zone_chatter"], "2026-W47")
    assert rows == [
        Fires("gone_silent", 4, critical=1, major=1, minor=0, note=2, planted=1, found=1, beside=1, healthy=2),
        Fires("zone_chatter", 0, critical=0, major=0, minor=0, note=0, planted=1, found=0, beside=0, healthy=0),
    ]


def test_what_shows_later_is_not_missed_yet() -> None:
    rows = fires([], TRUTH, ["gone_silent"], "2026-W45")
    assert [row.planted for row in rows] == [0]


def test_table_has_a_line_for_each_check() -> None:
    lines = markdown(fires(FINDINGS, TRUTH, ["gone_silent", "zone_chatter"], "2026-W47")).splitlines()
    assert len(lines) == 4
    assert lines[2] == "| `gone_silent` | 4 | 1 | 1 |  | 2 | 1 | 1 | 1 | 2 |"
