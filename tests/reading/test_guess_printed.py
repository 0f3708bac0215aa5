"""`layouts guess` on fixed text, frames, messages, workbooks: right on 9 of 10, never wrong without saying so.

The truth is that of ``guess_printed``, ``guess_framed``, ``guess_held_out`` and ``guess_workbooks``: the station's
signals, and which of their fields each log tells. A proposal is judged by what ``ingest`` makes of the whole log.
"""

from __future__ import annotations

import tempfile
from datetime import timedelta
from functools import cache
from pathlib import Path

import pytest

from sigaudit.errors import LayoutUnknown
from sigaudit.reading import layout_files
from sigaudit.reading.guess import Proposal, guess
from sigaudit.reading.layout_samples import check_samples
from tests.reading import guess_workbooks
from tests.reading.guess_framed import FRAMED
from tests.reading.guess_held_out import HELD_OUT
from tests.reading.guess_printed import PRINTED, Printed, said
from tests.reading.guess_station import Line
from tests.reading.guess_workbooks import Workbook
from tests.reading.small_station import Station

KNOWN: dict[str, Printed | Workbook] = {one.name: one for one in (*PRINTED, *FRAMED, *guess_workbooks.KNOWN)}
HELD: dict[str, Printed | Workbook] = {one.name: one for one in (*HELD_OUT, *guess_workbooks.HELD_OUT)}
ALL = {**KNOWN, **HELD}
SHARE = 0.9  # what the proposal is asked for
COLUMNS = ("received_utc", "receiver", "line", "account", "qualifier", "code", "partition", "zone", "event_raw")


@cache
def proposed(name: str) -> Proposal | str:
    """The proposal, or why there is none."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.txt"
        path.write_bytes(ALL[name].content())
        try:
            return guess(path)
        except LayoutUnknown as problem:
            return problem.message


@cache
def faults(name: str) -> tuple[str, ...]:
    """What the store says, with the proposal as the station's layout, that the station's signals do not."""
    log, found = ALL[name], proposed(name)
    if isinstance(found, str):
        return (found,)
    with tempfile.TemporaryDirectory() as folder:
        station = Station(Path(folder), timezone="UTC")
        path = station.receivers.layouts_dir / "guessed.toml"
        path.write_text(found.toml, encoding="utf-8", newline="\n")
        assert check_samples(layout_files.read(path)) == 3
        taken = station.take(("log", log.content())).sum
        assert station.store.catalog.sources()[0].layout == "guessed"
        assert f'kind = "{log.kind}"' in found.toml
        truth = log.lines()
        if (taken.signals, taken.repeats, taken.rejects) != (len(truth), 0, log.rejected):
            return (str(taken),)
        rows = sorted(station.rows(f"select line_no, {', '.join(COLUMNS)} from t"))
    return tuple(
        fault
        for one, row in zip(truth, rows, strict=True)
        for fault in unlike(log, one, dict(zip(COLUMNS, row[1:], strict=True)))
    )


def unlike(log: Printed | Workbook, one: Line, seen: dict[str, object]) -> list[str]:
    """The fields of a signal that are not as the log tells them."""
    wanted: dict[str, object] = {name: getattr(one, name) for name in log.told if name not in ("event", "sia")}
    if "event" in log.told:
        wanted |= {"qualifier": one.qualifier, "code": one.code}
    if "sia" in log.told:
        wanted["event_raw"] = one.sia
    if log.words:
        wanted["event_raw"] = said(one)
    got = {name: str(seen[name]) for name in wanted}
    got = {name: value.lstrip("0") if name in ("receiver", "line") else value for name, value in got.items()}
    # Nought and nothing are the same for places: a log may leave them out.
    places = {("zone", ""): "000", ("partition", ""): "0"}
    bad = [n for n in wanted if str(wanted[n]).upper() != places.get((n, got[n]), got[n]).upper()]
    assert hasattr(seen["received_utc"], "year")
    if abs(seen["received_utc"] - one.at) >= timedelta(minutes=1):  # type: ignore[operator]
        bad.append("received_utc")
    return [f"{one}: {name} is {seen[name]!r}" for name in bad]


def doubts(name: str) -> list[str]:
    """What is said to be doubtful, without the lines that say nothing anyway."""
    found = proposed(name)
    return [] if isinstance(found, str) else [line for line in found.unsure if "passed over" not in line]


@pytest.mark.parametrize("group", [KNOWN, HELD], ids=["known", "held out"])
def test_nine_of_ten_at_first_guess_and_never_wrong_in_silence(group, record_property):
    logs = [name for name, log in group.items() if not log.cannot]
    missed = {name: faults(name)[:3] for name in logs if faults(name)}
    record_property("right_at_first_guess", f"{len(logs) - len(missed)} of {len(logs)}")
    assert len(logs) >= 17
    assert len(missed) <= (1 - SHARE) * len(logs), missed
    assert [name for name in missed if not isinstance(proposed(name), str) and not doubts(name)] == []


@pytest.mark.parametrize("name", [name for name, log in ALL.items() if log.needs])
def test_what_the_values_leave_open_is_said(name):
    assert any(ALL[name].needs in line for line in doubts(name)), doubts(name)


@pytest.mark.parametrize("name", [name for name, log in ALL.items() if log.cannot])
def test_what_no_layout_can_join_is_refused_in_one_sentence(name):
    found = proposed(name)
    assert isinstance(found, str)
    assert ALL[name].cannot in found and "\n" not in found


@pytest.mark.parametrize("name", [name for name, log in ALL.items() if log.words])
def test_words_for_events_are_listed_for_the_user_to_fill(name):
    log, found = ALL[name], proposed(name)
    assert not isinstance(found, str)
    for word in {said(one) for one in log.lines()}:
        assert f'# "{word}" = "E..."'.upper() in found.toml.upper()


def test_pages_and_blank_lines_are_passed_over_and_said():
    found = proposed("fixed columns, empty places, pages")
    assert not isinstance(found, str)
    assert found.explained == 1.0
    assert found.layout.ignore
    assert any("passed over" in line and "PAGE" in line for line in found.unsure)


def test_a_log_much_longer_than_what_is_looked_at(tmp_path):
    """Only the beginning is looked at; the rest is read with what was found there."""
    log = KNOWN["labels"]
    path = tmp_path / "long.txt"
    path.write_bytes(log.content() * 60)
    found = guess(path)
    assert found.layout.patterns
    assert found.explained == 1.0


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        (b"2026-11-02 08:15:30 #1234|Nri1/BA01\n", "sia_blocks"),
        (b'2026-11-02 08:15:30 L4 CE110032"SIA-DCS"9876R579BDFL789ABC#12345A[#12345A|NFA129]\n', "dc09"),
    ],
)
def test_lines_that_all_say_the_same_are_understood(tmp_path: Path, line: bytes, kind: str) -> None:
    path = tmp_path / "log.txt"
    path.write_bytes(line * 20)
    assert kind in guess(path).toml


def test_a_torn_block_is_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "log.txt"
    path.write_bytes(b"2026-11-02 08:15:30 |Nri-02 08:15:30 |Nri1/CL501\n")
    with pytest.raises(LayoutUnknown):
        guess(path)
