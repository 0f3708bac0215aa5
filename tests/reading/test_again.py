"""Rejects read again after a layout was mended: what now parses is added, nothing else changes, the sum closes."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from sigaudit.errors import LayoutUnknown
from sigaudit.reading.ingest import Sum
from sigaudit.store import heads
from tests.reading.mended_layouts import DAY, HEADER, fresh, log, mended, named_alike, put, run_again, said, written
from tests.reading.small_station import Station


@pytest.fixture
def station(tmp_path: Path) -> Station:
    return Station(tmp_path / "mended")


def test_a_time_format_is_mended_and_every_line_counts(station):
    content = log(*DAY, "", "nonsense", "2026-11-02 25:00:00;;1;E130")
    total = mended(station, written(form="%d.%m.%Y %H:%M:%S"), written(), content)
    assert total == Sum(lines=26, signals=24, rejects=2)
    assert len(station.signals()) == 24


def test_a_second_time_adds_nothing_and_changes_nothing(station):
    put(station, written(form="%d.%m.%Y %H:%M:%S"))
    station.take(("a.log", log(*DAY, "nonsense")))
    put(station, written())
    assert run_again(station).sum == Sum(25, 24, 0, 1, 0)
    before = said(station)
    files = {kind: station.store.fingerprint(kind) for kind in ("signals", "rejects", "lineage")}
    assert run_again(station).sum == Sum(1, 0, 0, 1, 0)
    assert said(station) == before
    assert {kind: station.store.fingerprint(kind) for kind in files} == files


def test_nothing_rejected_is_said(station):
    put(station, written())
    station.take(("a.log", log(*DAY)))
    result = run_again(station)
    assert result.sources == () and result.exit_code == 0
    assert "nothing is rejected" in result.messages[0]


def test_signals_held_are_not_read_again(station):
    """The mended layout names another zone: only the line that was rejected is read with it."""
    put(station, written())
    station.take(("a.log", log(DAY[0], DAY[1].replace(" 01:00:00", " 1h"))))
    put(station, written(form="%Y-%m-%d %Hh", timezone="UTC"))
    run_again(station)
    assert station.signals(["account", "received_utc"]) == [
        ("1000", datetime(2026, 11, 2, 5)), ("1001", datetime(2026, 11, 2, 1)),
    ]  # fmt: skip


PATTERN = """
id = "own"
kind = "pattern"
[recognise]
share = 0.1
[text]
ignore = [{ignore}]
[pattern]
line = '(?P<received_at>\\S+) (?P<account>{account}) (?P<event>\\S+)'
[time]
format = "iso"
timezone = "station"
"""


def test_a_pattern_is_mended_and_headers_of_pages_are_skipped(station):
    strict, loose = PATTERN.format(ignore="", account=r"\d+"), PATTERN.format(ignore="'^PAGE'", account=r"\w+")
    content = b"2026-11-02T08:00:00 77 E130\nPAGE 1\n2026-11-02T08:00:01 B7 E130\nPAPER OUT\n2026-11-02T08:00:02 B8 E1"
    assert mended(station, strict, loose, content) == Sum(4, 2, 0, 1, 1)


def test_overlapping_exports_hold_a_line_once_more_however_they_were_read(station):
    """Two exports share lines that neither could use; doubles stay doubles, edges in one second are told."""
    double = "2026-11-02 10.00.00;quiet;7;E130"
    dotted = [line.replace(":", ".") for line in DAY]
    first = log(*DAY[:6], *dotted[6:10], double, double)
    second = log(*dotted[8:10], double, *dotted[10:12], *DAY[12:])
    third = log(*dotted[11:14])
    put(station, written())
    for i, content in enumerate((first, second)):
        station.take((f"{i}.log", content))
    assert [s.n_signals for s in station.store.catalog.sources()] == [6, 12]
    put(station, written(form="%Y-%m-%d %H.%M.%S"))
    assert run_again(station).sum == Sum(11, 8, 3)
    grown = station.take(("third.log", third))
    assert grown.sum == Sum(4, 2, 1, 0, 1)
    assert station.signals(["account"]).count(("7",)) == 2


def test_a_source_that_begins_earlier_than_was_known_changes_what_others_hold(station):
    """Where two exports meet in one second both count; once the second is seen to begin before, it spans it."""
    line, early = "2026-11-02 09:00:00;quiet;7;E130", "2026-11-02 08.59.59;quiet;8;E130"
    put(station, written())
    station.take(("a.log", log(DAY[8], line)))
    station.take(("b.log", log(early, line, DAY[10])))
    assert sorted(station.signals(["account", "edge_doubt"]))[2:] == [("7", False), ("7", True)]
    put(station, written(form="%Y-%m-%d %H.%M.%S"))
    assert run_again(station).sum == Sum(1, 1)
    assert station.signals(["account", "edge_doubt"]).count(("7", True)) == 0


def test_a_line_in_a_repeated_hour_is_in_doubt(station):
    """2026-11-01 01:30 came twice in New York (source: IANA by zoneinfo); which one it was, its neighbours tell."""
    night = ["2026-11-01 01:40:00;x;1;E130", "2026-11-01 01.20.00;x;2;E130", "2026-11-01 02:05:00;x;3;E130"]
    put(station, written())
    station.take(("a.log", log(*night)))
    put(station, written(form="%Y-%m-%d %H.%M.%S"))
    run_again(station)
    assert station.signals(["account", "received_utc", "time_doubt"])[1] == (
        "2", datetime(2026, 11, 1, 5, 20), "fold",
    )  # fmt: skip
    assert station.store.catalog.sources()[0].repeated_hour
    run_again(station)
    assert len(station.signals()) == 3


@pytest.mark.parametrize("cut", [30, 41, 60])
def test_a_file_grown_afterwards_is_the_file_read_at_once(station, cut):
    content = log(*DAY[:20], "nonsense", *DAY[20:])
    put(station, written(form="%d.%m.%Y %H:%M:%S"))
    station.take(("night.log", content[: len(content) // 2 + cut]))
    put(station, written())
    run_again(station)
    assert station.take(("night.log", content)).sources[0].state == "grown"
    other = fresh(station.folder.parent / "fresh", written(), ("night.log", content))
    named_alike(station, other)
    assert said(station) == said(other)
    assert station.take(("night.log", content)).sources[0].state == "held"


def test_a_file_grown_afterwards_settles_a_repeated_hour(station):
    night = [f"2026-11-01 01:{m:02d}:00;x;1;E130" for m in (10, 30, 50, 20, 40)]
    content = log(*night, "2026-11-01 02:05:00;x;3;E130", *DAY)
    put(station, written(form="%d.%m.%Y %H:%M:%S"))
    station.take(("night.log", content[:-60]))
    put(station, written())
    run_again(station)
    assert {row[0] for row in station.signals(["time_doubt"])} == {"exact", "fold"}
    station.take(("night.log", content))
    other = fresh(station.folder.parent / "fresh", written(), ("night.log", content))
    named_alike(station, other)
    assert said(station) == said(other)


def test_a_crash_leaves_the_store_as_it_was(station, monkeypatch):
    put(station, written(form="%d.%m.%Y %H:%M:%S"))
    station.take(("a.log", log(*DAY, "nonsense")))
    before = said(station)
    put(station, written())

    def power_cut(*_: object) -> None:
        raise RuntimeError("power cut")

    with monkeypatch.context() as patched:
        patched.setattr("sigaudit.reading.settling.put_source_lines", power_cut)
        with pytest.raises(RuntimeError, match="power cut"):
            run_again(station)
    assert said(station) == before
    assert run_again(station).sum == Sum(25, 24, 0, 1)


def test_a_layout_that_is_gone_or_does_not_fit_is_named_and_the_others_go_on(station):
    put(station, written())
    put(station, written().replace('"own"', '"other"').replace("when", "at"), "other")
    put(station, written().replace('"own"', '"third"').replace("when", "since"), "third")
    dotted = DAY[3].replace(":", ".")
    station.take(("a.log", log(DAY[0], dotted)))
    station.take(("b.log", log(DAY[1], dotted, header=HEADER.replace("when", "at"))))
    station.take(("c.log", log(DAY[2], dotted, header=HEADER.replace("when", "since"))))
    put(station, written(form="%Y-%m-%d %H.%M.%S"))
    (station.receivers.layouts_dir / "other.toml").unlink()
    put(station, written().replace('"own"', '"third"').replace("when", "date"), "third")
    result = run_again(station)
    assert [Path(s.name).name for s in result.sources] == ["a.log"] and result.sum == Sum(1, 1)
    assert result.exit_code == 4
    said_of = {Path(name).name: problem.message for name, problem in result.problems}
    assert "no such layout any more" in said_of["b.log"] and "does not fit" in said_of["c.log"]


def test_a_layout_that_fails_its_samples_reads_nothing_again(station):
    put(station, written())
    station.take(("a.log", log(DAY[0], "nonsense")))
    put(station, written() + f'[[samples]]\nheader = "{HEADER}"\nline = "{DAY[0]}"\ngives = {{ account = "2" }}\n')
    result = run_again(station)
    assert result.problems[0][1].code == "layout-faulty" and not result.sources


def test_another_layout_may_read_what_the_own_one_cannot(station):
    """What it cannot use either keeps its reason, and the file is read on by its own layout."""
    put(station, written())
    content = log(*DAY[:3], "2026-11-02 08.00.00;x;7;E130", "2026-11-02 08:00:00;x;;", "paper out")
    station.take(("a.log", content))
    before = station.rejects()
    with pytest.raises(LayoutUnknown, match="no layout is called dots"):
        run_again(station, layout_id="dots")
    put(station, written(form="%Y-%m-%d %H.%M.%S").replace('"own"', '"dots"'), "dots")
    assert run_again(station, layout_id="dots").sum == Sum(3, 1, 0, 2)
    assert station.rejects() < before and len(station.rejects()) == 2
    assert station.store.catalog.sources()[0].layout == "own"
    assert station.take(("a.log", content + log(DAY[3], header="x"))).sum.signals == 1


def test_a_layout_given_in_place_of_one_that_is_gone_reads_on(station):
    put(station, written())
    content = log(DAY[0], "2026-11-02 08.00.00;x;7;E130")
    station.take(("a.log", content))
    (station.receivers.layouts_dir / "own.toml").unlink()
    put(station, written(form="%Y-%m-%d %H.%M.%S").replace('"own"', '"dots"'), "dots")
    assert run_again(station, layout_id="dots").sum == Sum(1, 1)
    assert station.take(("a.log", content + b"2026-11-02 09.00.00;x;7;E130\n")).sum == Sum(1, 1)


def test_a_source_without_its_beginning_asks_for_the_file_once(station):
    """As taken in by the first version of the store, which did not keep it."""
    content = log(DAY[0], DAY[1].replace(":", "."))
    put(station, written())
    station.take(("a.log", content))
    with station.store.catalog.connection() as con:
        con.execute("delete from source_heads")
    put(station, written(form="%Y-%m-%d %H.%M.%S"))
    result = run_again(station)
    assert "did not keep its beginning" in result.problems[0][1].message
    assert station.take(("a.log", content)).sources[0].state == "held"
    assert run_again(station).sum == Sum(1, 1)


def test_a_beginning_is_kept_as_far_as_the_layout_needs_it(station):
    put(station, written(comment="#"))
    long = [f"# {i:06d} a remark of forty characters or so" for i in range(400)]
    content = "".join(f"{line}\n" for line in [*long, HEADER, *DAY, "nonsense"]).encode()
    station.take(("commented.log", content))
    station.take(("plain.log", log(*DAY * 9)))
    kept = [heads.head_of(station.store.catalog, n) or b"" for n in (1, 2)]
    assert content.startswith(kept[0]) and HEADER.encode() in kept[0]
    assert 4096 <= len(kept[1]) < 4200 and kept[1].endswith(b"\n")
    assert run_again(station).sum == Sum(1, 0, 0, 1)
