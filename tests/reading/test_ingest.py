"""Ingest of plain exports: signal or reject, the sum, union over overlapping files, growth, folders."""

from __future__ import annotations

import gzip
from datetime import datetime
from pathlib import Path

import pyarrow as pa
import pytest

from sigaudit.errors import InputProblem, LayoutUnknown, NothingToRead, TooManyRejects
from sigaudit.reading.ingest import Sum
from sigaudit.reading.parse import REASONS
from sigaudit.store.relations import SIGNALS
from tests.reading.small_station import Station, csv

DAY = [f"2026-11-02T{h:02d}:00:00,1,1,{1000 + h},E602,00,000" for h in range(24)]


@pytest.fixture
def station(tmp_path: Path) -> Station:
    return Station(tmp_path, own_accounts=("0000",), groups={"2": "north"})


def test_a_signal_has_every_column_of_the_contract(station):
    station.take(
        (
            "a.csv",
            csv(
                "2026-07-01T12:00:00+02:00,2,3,0042,3401,01,15,Contact_ID,p,PANEL,\"free, 'text'\",+1,+2,07-01 09:00",
                header="received_at,receiver,line,account,event,partition,zone,format,path,origin,text,called,caller,"
                "panel_time",
            ),
        )
    )
    (row,) = station.rows("select * from t")
    signal = dict(zip(SIGNALS, row, strict=True))
    raw = signal.pop("raw")
    assert raw.startswith("2026-07-01T12:00:00+02:00,2,3") and "\"free, 'text'\"" in raw
    assert signal == {
        "account_key": "north/0042", "receiver_group": "north", "account": "0042",
        "received_utc": datetime(2026, 7, 1, 10), "received_wall": "2026-07-01T12:00:00+02:00", "time_doubt": "exact",
        "edge_doubt": False, "receiver": "2", "line": "3", "event_raw": "3401", "qualifier": "R", "code": "401",
        "format": "contact_id", "partition": "1", "zone": "015", "panel_time": "07-01 09:00", "path": "p",
        "origin": "panel", "called": "+1", "caller": "+2", "text": "free, 'text'", "source_id": 1, "line_no": 2,
        "sequence": "", "part": 0,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("event", "form", "qualifier", "code"),
    [
        ("E130", "", "E", "130"), ("r401", "", "R", "401"), ("P602", "", "P", "602"), ("1130", "", "E", "130"),
        ("3401", "", "R", "401"), ("6602", "", "P", "602"), ("BA", "sia", "E", "130"), ("AA", "sia", "", ""),
        ("E1A0", "", "E", "1A0"), ("E1#0", "", "", ""), ("2130", "", "", ""), ("E13", "", "", ""),
        ("1130", "sia", "", ""), ("LINK", "check_in", "", ""), ("x", "morse", "", ""),
    ],
)  # fmt: skip
def test_event_as_written_is_kept_whatever_it_says(station, event, form, qualifier, code):
    header = "received_at,account,event,format"
    station.take(("a.csv", csv(f"2026-11-02T08:00:00,1,{event},{form}", header=header)))
    ((raw, q, c, found),) = station.signals(["event_raw", "qualifier", "code", "format"])
    assert (raw, q, c) == (event, qualifier, code)
    assert found == {"": "contact_id", "morse": "other"}.get(form, form)


@pytest.mark.parametrize(
    ("written", "partition", "zone"),
    [(("01", "15"), "1", "015"), (("00", "000"), "0", "000"), (("", ""), "", ""), (("10", "0015"), "10", "015"),
     (("A", "1234"), "A", "1234"), (("0", "B7"), "0", "B7")],
)  # fmt: skip
def test_partition_and_zone_are_normalised(station, written, partition, zone):
    station.take(("a.csv", csv(f"2026-11-02T08:00:00,1,1,5,E130,{written[0]},{written[1]}")))
    assert station.signals(["partition", "zone"]) == [(partition, zone)]


def test_a_receiver_speaks_of_itself(station):
    station.take(("a.csv", csv("2026-11-02T08:00:00,1,0,,E602,,", "2026-11-02T08:00:01,2,0,0000,E602,,")))
    assert station.signals(["account_key", "account", "origin"]) == [
        ("main/", "", "receiver"),
        ("north/", "0000", "receiver"),
    ]


REJECTED = {
    "too_few_fields": b"2026-11-03T04:12",
    "too_many_fields": b"2026-11-05T11:00:00,1,1,1000,E130,01,003,more",
    "quote_unclosed": b'2026-11-06T09:15:00,1,2,"1000,E401,01,003',
    "undecodable": b"2026-11-04T10:00:0\xff\xfe,1,1,1000,E602,00,000",
    "time_missing": b",1,2,1000,E602,00,000",
    "time_unreadable": b"2026-13-44T99:10:00,1,1,1000,E602,00,000",
    "account_shape": b"2026-11-05T11:00:00,1,1,10 00,E130,01,003",
    "event_missing": b"2026-11-05T11:00:00,1,1,1000,,01,003",
}


def test_every_reason_to_reject_keeps_the_line(station):
    of_others = {"no_match", "message_unreadable"}  # test_patterns.py, test_layout_events.py
    of_frames = {reason for reason in REASONS if reason.startswith("frame_")}  # test_layout_frames.py
    assert set(REJECTED) == set(REASONS) - of_others - of_frames
    lines = list(REJECTED.values())
    content = csv(DAY[0]) + b"\n".join(lines) + b"\n\n" + csv(DAY[1])
    result = station.take(("a.csv", content))
    assert result.sum == Sum(lines=13, signals=2, repeats=0, rejects=8, skipped=3)  # 2 headers, 1 blank
    found = station.rows("select line_no, byte_off, reason, raw, raw_bytes from t order by line_no", "rejects")
    assert [row[2] for row in found] == list(REJECTED)
    for (line_no, offset, reason, raw, kept), line in zip(found, lines, strict=True):
        assert content[offset : offset + len(line)] == line
        assert content[:offset].count(b"\n") == line_no - 1
        assert (kept == line) if reason == "undecodable" else (raw.encode() == line and kept is None)


@pytest.mark.parametrize(
    ("written", "utc"),
    [
        ("2026-11-02T08:15:30", datetime(2026, 11, 2, 13, 15, 30)), ("2026-11-02 08:15", datetime(2026, 11, 2, 13, 15)),
        ("2026-11-02T08:15:30.25", datetime(2026, 11, 2, 13, 15, 30, 250000)),
        ("2026-11-02T08:15:30,5Z", datetime(2026, 11, 2, 8, 15, 30, 500000)),
        ("2026-11-02T08:15:30+0530", datetime(2026, 11, 2, 2, 45, 30)),
        ("2026-11-02T08:15:30-05", datetime(2026, 11, 2, 13, 15, 30)),
        ("2026-11-2T8:15:30", None), ("02.11.2026 08:15:30", None), ("2026-11-02", None), ("infinity", None),
        ("epoch", None), ("2026-02-30T08:15:30", None), ("2026-11-02T08:15:60", None), ("0001-01-01T00:00:00", None),
        ("2026-11-02T08:15:30 CET", None), ("2026-1-002T8:15:30", None),
    ],
)  # fmt: skip
def test_time_is_iso_8601_or_no_time(station, written, utc):
    text = f'"{written}"' if "," in written else written
    station.take(("a.csv", csv(f"{text},1,1,5,E130,,")))
    assert [row[0] for row in station.signals(["received_utc"])] == ([utc] if utc else [])
    assert [row[3] for row in station.rejects()] == ([] if utc else ["time_unreadable"])


def test_gap_and_fold_are_marked(station):
    """2026-03-08 02:30 does not exist in New York, 2026-11-01 01:30 exists twice (source: IANA by zoneinfo)."""
    station.take(("a.csv", csv("2026-03-08T02:30:00,1,1,1,E130,,", "2026-11-01T01:30:00,1,1,2,E130,,")))
    assert station.signals(["account", "received_utc", "time_doubt"]) == [
        ("1", datetime(2026, 3, 8, 7, 30), "gap"),
        ("2", datetime(2026, 11, 1, 5, 30), "fold"),
    ]


def test_a_row_of_untold_pass_becomes_exact_when_a_fuller_file_tells(station):
    night = ["2026-11-01T01:40:00,1,1,1,E130,,", "2026-11-01T01:20:00,1,1,2,E130,,", "2026-11-01T02:05:00,1,1,3,E130,,"]
    station.take(("late.csv", csv(*night[1:])))
    assert station.signals(["account", "time_doubt"])[0] == ("2", "fold")
    result = station.take(("whole.csv", csv(*night)))
    assert result.sum == Sum(lines=4, signals=1, repeats=2, skipped=1)
    assert station.signals(["account", "received_utc", "time_doubt"]) == [
        ("1", datetime(2026, 11, 1, 5, 40), "exact"),
        ("2", datetime(2026, 11, 1, 6, 20), "exact"),
        ("3", datetime(2026, 11, 1, 7, 5), "exact"),
    ]


def test_overlapping_exports_hold_each_line_once_and_doubles_twice(station):
    double = DAY[5]
    first = station.take(("a.csv", csv(*DAY[:6], double, *DAY[6:10])))
    second = station.take(("b.csv", csv(*DAY[3:6], double, *DAY[6:])))
    assert first.sum == Sum(12, 11, 0, 0, 1)
    assert second.sum == Sum(23, 14, 8, 0, 1)
    assert len(station.signals()) == 25
    assert len(station.origins()) == 33  # every line keeps its place, repeats too
    assert not any(row[0] for row in station.signals(["edge_doubt"]))


def test_sources_that_touch_in_one_second_add_up_and_say_so(station):
    line = "2026-11-02T09:00:00,1,1,7,E130,01,001"
    station.take(("a.csv", csv(DAY[8], line)), ("b.csv", csv(line, DAY[10])))
    assert sorted(station.signals(["account", "edge_doubt"])) == [
        ("1008", False), ("1010", False), ("7", False), ("7", True),
    ]  # fmt: skip
    station.take(("c.csv", csv(DAY[7], line, DAY[11])))
    assert station.signals(["account", "edge_doubt"]).count(("7", True)) == 1


def test_receivers_never_share_a_line(station):
    station.take(("a.csv", csv("2026-11-02T08:00:00,1,1,7,E130,,")), ("b.csv", csv("2026-11-02T08:00:00,3,1,7,E130,,")))
    assert len(station.signals()) == 2


def test_growth_reads_the_tail_only_and_completes_the_cut_line(station):
    whole = csv(*DAY)
    cut = whole[: whole.index(DAY[11].encode()) + 30]
    first = station.take(("night.log", cut))
    assert first.sum == Sum(13, 11, 0, 1, 1) and "cut off" in first.sources[0].notes[0]
    grown = station.take(("night.log", whole))
    assert (grown.sources[0].state, grown.sum) == ("grown", Sum(13, 13, 0, 0, 0))
    (source,) = station.store.catalog.sources()
    assert (source.lines, source.n_signals, source.n_rejects, source.provisional_line) == (25, 24, 0, 0)
    assert station.rejects() == set()
    assert station.take(("older-copy.log", cut)).sum == Sum(13, 0, 11, 1, 1)
    assert station.take(("another.log", csv(*DAY[:20]))).sum == Sum(21, 0, 20, 0, 1)
    assert len(station.store.catalog.sources()) == 1


@pytest.mark.parametrize("name", ["a.csv.gz", "a.csv.zst", "bom.csv", "crlf.csv"])
def test_packing_and_line_ends_do_not_change_what_a_log_says(station, tmp_path, name):
    station.take(("a.csv", csv(*DAY)))
    plain = station.signals()
    other = Station(tmp_path / "other")
    content = csv(*DAY)
    packed = {
        "a.csv.gz": gzip.compress(content), "a.csv.zst": pa.compress(content, codec="zstd", asbytes=True),
        "bom.csv": b"\xef\xbb\xbf" + content, "crlf.csv": content.replace(b"\n", b"\r\n"),
    }[name]  # fmt: skip
    other.take((name, packed))
    assert other.signals() == plain
    assert station.take((name, packed)).sum.signals == 0


def test_a_folder_takes_in_what_is_new_or_grown(station, tmp_path):
    folder = tmp_path / "exports"
    folder.mkdir()
    (folder / "mon.csv").write_bytes(csv(*DAY[:5]))
    (folder / "empty.csv").write_bytes(b"")
    first = station.run([folder])
    assert [source.state for source in first.sources] == ["new"] and first.exit_code == 0
    assert first.messages and "empty" in first.messages[0]
    (folder / "mon.csv").write_bytes(csv(*DAY[:9]))
    (folder / "tue.csv").write_bytes(csv(*DAY[12:]))
    second = station.run([folder])
    assert [(Path(s.name).name, s.state, s.sum.signals) for s in second.sources] == [
        ("mon.csv", "grown", 4),
        ("tue.csv", "new", 12),
    ]
    assert [source.state for source in station.run([folder]).sources] == ["held", "held"]


@pytest.mark.parametrize(
    ("content", "error", "words"),
    [
        (b"", NothingToRead, "empty"),
        (b"account,event\n1,E130\n", LayoutUnknown, "no column received_at"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4, InputProblem, "no text"),
        (gzip.compress(csv(*DAY) * 500)[:-40], LayoutUnknown, "x.csv"),
    ],
)
def test_what_cannot_be_read_is_one_sentence_and_the_store_stays_as_it_was(station, content, error, words):
    station.take(("good.csv", csv(*DAY[:3])))
    before = station.store.fingerprint("signals")
    with pytest.raises((error, InputProblem), match=words):
        station.take(("x.csv", content))
    assert station.store.fingerprint("signals") == before and len(station.store.catalog.sources()) == 1


def test_one_bad_file_among_good_ones_is_named_and_the_others_count(station):
    broken = gzip.compress(csv(*DAY * 900), mtime=0)
    result = station.take(("a.csv", csv(*DAY[:3])), ("b.csv.gz", broken[: len(broken) // 2]), ("c.txt", b"hello\n"))
    assert result.sum.signals == 3 and result.exit_code == 4
    assert [Path(name).name for name, _ in result.problems] == ["b.csv.gz", "c.txt"]
    assert "damaged or cut off" in result.problems[0][1].message


def test_too_many_rejects_take_nothing_in(station):
    with pytest.raises(TooManyRejects):
        station.take(("a.csv", csv(DAY[0], "x", "y")), max_rejects=1)
    assert station.store.catalog.sources() == [] and station.signals() == []
    assert station.take(("a.csv", csv(DAY[0], "x", "y")), max_rejects=2).sum.rejects == 2


def test_resolution_is_measured(station):
    station.take(("minutes.csv", csv(*DAY)), ("seconds.csv", csv(*(line.replace(":00:00", ":00:07") for line in DAY))))
    assert [source.resolution_s for source in station.store.catalog.sources()] == [60, 1]


def test_source_lines_say_what_was_heard_on_which_line(station):
    station.take(("a.csv", csv(DAY[0], DAY[3], DAY[5].replace(",1,1,", ",1,2,"))))
    rows = [(r.receiver, r.line, r.n, r.first_utc, r.last_utc) for r in station.store.catalog.source_lines()]
    assert rows == [
        ("1", "1", 2, datetime(2026, 11, 2, 5), datetime(2026, 11, 2, 8)),
        ("1", "2", 1, datetime(2026, 11, 2, 10), datetime(2026, 11, 2, 10)),
    ]


def test_many_files_of_a_month_are_compacted_and_stay_sorted(station):
    for hour in range(12):
        station.take((f"{hour}.csv", csv(DAY[hour])))
    assert len(station.store.files("signals", "2026-11")) <= 8
    assert len(station.signals()) == 12
    from pyarrow import parquet

    for path in station.store.live("signals"):
        keys = parquet.read_table(path, columns=["account_key", "received_utc"]).to_pylist()
        assert keys == sorted(keys, key=lambda row: (row["account_key"], row["received_utc"]))
