"""A two-letter restore ends every condition that its code names, seen in the facts of a log of frames.

Source: the pairs of DC-03 codes in ``data/sia_events.csv`` (xR ends xA and xT; inferred there from the names).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from sigaudit.store import facts, views
from tests.reading.dc09_frames import framed
from tests.reading.small_station import Station
from tests.reading.test_layout_frames import LAYOUT


def edges(folder: Path, *events: str) -> list[tuple[str, str]]:
    """(qualifier, code) of the edges of events told one minute after another."""
    station = Station(folder)
    (station.receivers.layouts_dir / "frames.toml").write_text(LAYOUT, encoding="utf-8")
    lines = [
        f"2026-11-02T08:{minute:02d}:30 L4 ".encode() + framed(f'"SIA-DCS"0008L0#1234[#1234|N{event}]').strip() + b"\n"
        for minute, event in enumerate(events, start=1)
    ]
    station.take(("log.txt", b"".join(lines)), layout_id="frames")
    facts.build(station.store, memory_limit="256MiB")
    found = views.answer(
        station.store, "select qualifier, code from fact_edge order by received_utc, code", memory_limit="256MiB"
    )
    return [(row["qualifier"], row["code"]) for row in found.to_pylist()]


@pytest.mark.parametrize(
    ("events", "wanted"),
    [
        (("BA01", "BT01", "BR01"), [("E", "130"), ("E", "380"), ("R", "130"), ("R", "380")]),
        (("BT01", "BJ01"), [("E", "380"), ("R", "380")]),
        (("FA02", "FR02"), [("E", "110"), ("R", "110"), ("R", "200"), ("R", "373")]),
        # Its own code is the trouble's, yet it ends the alarm as well.
        (("HA03", "HR03"), [("E", "122"), ("R", "122"), ("R", "376")]),
        (("AT", "AR"), [("E", "301"), ("R", "301")]),
    ],
)
def test_what_a_restore_ends(tmp_path: Path, events: tuple[str, ...], wanted: list[tuple[str, str]]) -> None:
    assert edges(tmp_path, *events) == wanted
