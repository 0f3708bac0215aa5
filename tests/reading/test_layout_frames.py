"""Logs that hold DC-09 frames behind a receive time: every frame a signal, or rejected by its name.

Outside sources: ``data/dc09_examples.jsonl`` (published and captured frames, each with its own source); frames of
other tests are made by ``dc09_frames`` with arithmetic of its own. Repeated numbers: DC-09-2007 p. 23.
"""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from sigaudit.errors import LayoutFaulty, LayoutUnknown, SettingsProblem
from sigaudit.reading import layout_files
from sigaudit.reading.ingest import Sum
from sigaudit.reading.layout_samples import check_samples
from sigaudit.reading.parse import REASONS
from tests.reading.dc09_frames import framed, sealed
from tests.reading.small_station import Station
from tests.reading.test_dc09 import REFUSED

EXAMPLES = [
    json.loads(line)
    for line in (Path(__file__).parent / "data" / "dc09_examples.jsonl").read_text(encoding="utf-8").splitlines()
]
LAYOUT = r"""
id = "frames"
kind = "dc09"
[text]
encoding = "latin-1"
[pattern]
line = '(?P<received_at>\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d) L(?P<line>\d) (?P<frame>.+)'
[time]
timezone = "UTC"
"""
AT = b"2026-11-02T08:15:30 L4 "


@pytest.fixture
def station(tmp_path: Path) -> Station:
    made = Station(tmp_path)
    (made.receivers.layouts_dir / "frames.toml").write_text(LAYOUT, encoding="utf-8")
    return made


def log(*frames: bytes) -> bytes:
    return b"".join(AT + frame.strip(b"\n\r") + b"\n" for frame in frames)


def raw(example: dict[str, Any]) -> bytes:
    return example["frame"].encode("latin-1")


IN_ONE_LINE = [one for one in EXAMPLES if not set(raw(one).strip(b"\r\n")) & set(b"\r\n")]


def test_nearly_all_examples_fit_in_a_line() -> None:
    assert len(IN_ONE_LINE) >= len(EXAMPLES) - 3


@pytest.mark.parametrize("example", IN_ONE_LINE, ids=lambda one: one["id"])
def test_an_example_frame_in_a_log(station: Station, example: dict[str, Any]) -> None:
    station.take(("log.txt", log(raw(example))), layout_id="frames")
    signals = station.rows("select account, format, received_utc, line, sequence from t order by part")
    rejects = station.rows("select reason from t", "rejects")
    assert len(rejects) + bool(signals) <= 1
    if example in REFUSED:
        assert not signals and len(rejects) == 1
        assert all(reason in REASONS and reason.startswith("frame_") for (reason,) in rejects)
    elif signals:
        account, form, received, line, sequence = signals[0]
        named = "" if form == "check_in" else (example["decoded"] or {}).get("data_account") or ""
        assert account == (named or example["account"]).upper()
        assert (received, line, sequence) == (datetime(2026, 11, 2, 8, 15, 30), "4", example["sequence"])
        usual = {"ADM-CID": "contact_id", "SIA-DCS": "sia", "NULL": "check_in", "XNM": "check_in"}
        assert form == usual.get(example["token"].lstrip("*"), "other")
    else:
        # A reply of the receiver says nothing of a site; an encrypted event needs its key; an empty one is none.
        reply = example["token"].lstrip("*") in ("ACK", "NAK", "DUH", "RSP")
        assert reply or example["encrypted"] or not example["data"], example["id"]


def test_contact_id_and_blocks_give_the_columns_of_a_signal(station: Station) -> None:
    station.take(
        (
            "log.txt",
            log(
                framed('"ADM-CID"0007R2L0#1234[#1234|3401 02 015]_08:15:28,11-02-2026'),
                framed('"SIA-DCS"0008R2L0#1234[#1234|Nri2/ti08:14/BA015^HALL^/id007/OP][H08:14:00,11-02-2026]'),
                framed('"NULL"0000R2L0#1234[]'),
            ),
        ),
        layout_id="frames",
    )
    found = station.rows(
        "select line_no, part, event_raw, qualifier, code, partition, zone, receiver, format, panel_time, text"
        " from t order by line_no, part"
    )
    assert found == [
        (1, 0, "3401", "R", "401", "2", "015", "2", "contact_id", "08:15:28,11-02-2026", ""),
        (2, 0, "BA", "E", "130", "2", "015", "2", "sia", "08:14:00,11-02-2026", "HALL"),
        (2, 1, "OP", "E", "401", "2", "007", "2", "sia", "08:14:00,11-02-2026", ""),
        (3, 0, "NULL", "", "", "", "", "2", "check_in", "", ""),
    ]


def test_a_line_of_several_events_is_one_line(station: Station) -> None:
    """It counts once among the lines, is repeated as a whole, and stays whole when the file grows."""
    frame = framed('"SIA-DCS"0008L0#1234[#1234|Nri1/BA01/BA02/BA03]')
    result = station.take(("a.txt", log(frame, framed('"NULL"0000L0#1234[]'))), layout_id="frames")
    assert result.sum == Sum(lines=2, signals=2)
    assert len(station.rows("select 1 from t")) == 4
    again = station.take(("b.txt", log(frame) + b"\n"), layout_id="frames")
    assert again.sum == Sum(lines=2, repeats=1, skipped=1)
    assert len(station.rows("select 1 from t")) == 4


def test_lines_that_differ_in_a_later_event_are_not_equal(station: Station) -> None:
    first = log(framed('"SIA-DCS"0008L0#1234[#1234|Nri1/BA01/BA02]'))
    second = log(framed('"SIA-DCS"0008L0#1234[#1234|Nri1/BA01/BA03]'))
    station.take(("a.txt", first), layout_id="frames")
    assert station.take(("b.txt", second), layout_id="frames").sum == Sum(lines=1, signals=1)


def test_grown_byte_by_byte_is_one_shot(tmp_path: Path) -> None:
    content = log(
        framed('"SIA-DCS"0008L0#1234[#1234|Nri1/BA01/BA02]'), framed('"NULL"0000L0#1234[]'), b"torn",
        framed('"ADM-CID"0009L0#1234[#1234|1130 01 002]'),
    )  # fmt: skip
    grown, whole = (Station(tmp_path / name) for name in ("grown", "whole"))
    for station in (grown, whole):
        (station.receivers.layouts_dir / "frames.toml").write_text(LAYOUT, encoding="utf-8")
    for end in [*range(30, len(content), 17), len(content)]:
        grown.take(("log.txt", content[:end]), layout_id="frames")
    whole.take(("log.txt", content), layout_id="frames")
    assert grown.signals() == whole.signals()
    assert grown.rejects() == whole.rejects()
    assert grown.origins() == whole.origins()


def test_which_account_of_two_is_meant(tmp_path: Path) -> None:
    """Header and data may name different accounts; the sources do not say which prevails, so the layout does."""
    frame = log(framed('"ADM-CID"0009L0#AAA1[#1234|1130 01 002]'))
    for said, wanted in (("data", "1234"), ("header", "AAA1")):
        station = Station(tmp_path / said)
        text = f'{LAYOUT}[frame]\naccount = "{said}"\n'
        (station.receivers.layouts_dir / "frames.toml").write_text(text, encoding="utf-8")
        station.take(("log.txt", frame), layout_id="frames")
        assert station.rows("select account from t") == [(wanted,)]


KEY = bytes(range(16))


def test_an_encrypted_frame_opens_with_the_key_of_its_account(
    station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("cryptography")
    clear = b"x" * 14 + b"|#1234|1130 01 002]_08:15:28,11-02-2026"
    clear = b"x" * (-len(clear) % 16) + clear
    frame = log(sealed('"*ADM-CID"0009L0#1234', clear, KEY))
    station.receivers.dc09_keys = {"1234": "SOME_KEY"}
    monkeypatch.setenv("SOME_KEY", KEY.hex())
    station.take(("log.txt", frame), layout_id="frames")
    assert station.rows("select account, code, zone from t") == [("1234", "130", "002")]


@pytest.mark.parametrize(("value", "reason"), [(None, "frame_no_key"), ("00" * 16, "frame_wrong_key")])
def test_without_its_key_it_is_kept_by_name(
    station: Station, monkeypatch: pytest.MonkeyPatch, value: str | None, reason: str
) -> None:
    pytest.importorskip("cryptography")
    clear = b"x" * 9 + b"|#1234|1130 01 002]_08:15:28,11-02-2026"
    frame = log(sealed('"*ADM-CID"0009L0#1234', clear, KEY))
    station.receivers.dc09_keys = {"default": "SOME_KEY"}
    if value is None:
        monkeypatch.delenv("SOME_KEY", raising=False)
    else:
        monkeypatch.setenv("SOME_KEY", value)
    station.take(("log.txt", frame), layout_id="frames")
    assert station.rows("select reason from t", "rejects") == [(reason,)]


def test_a_key_that_is_none_is_refused_and_not_shown(station: Station, monkeypatch: pytest.MonkeyPatch) -> None:
    station.receivers.dc09_keys = {"default": "SOME_KEY"}
    monkeypatch.setenv("SOME_KEY", "secret")
    with pytest.raises(SettingsProblem, match="environment variable SOME_KEY: expected a key") as caught:
        station.take(("log.txt", log(framed('"NULL"0000L0#1234[]'))), layout_id="frames")
    assert "secret" not in caught.value.message


def test_oddities_are_accepted_and_counted(station: Station) -> None:
    inside = b'"ADM-CID"0009L0#1234[#1234|1130 01 002]'
    decimal = framed(inside).replace(b"0%03X" % len(inside), b"0%03d" % len(inside), 1)
    (source,) = station.take(("log.txt", log(framed(inside), decimal)), layout_id="frames").sources
    assert "1 lines accepted although the length is exact but written in decimal" in source.notes


def test_a_frame_of_thousands_of_events_is_read(station: Station) -> None:
    events = "/".join(f"BA{i:04d}" for i in range(560))
    station.take(("log.txt", log(framed(f'"SIA-DCS"0008L0#1234[#1234|N{events}]'))), layout_id="frames")
    assert station.rows("select count(*), max(part) from t") == [(560, 559)]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (("(?P<frame>.+)", "(?P<text>.+)"), "pattern.line: expected a group frame"),
        (("[time]", '[frame]\naccount = "both"\n[time]'), 'frame.account: expected "data" or "header"'),
        (("[time]", '[event]\nstyle = "sia"\n[time]'), 'event.style: layouts of the kind "dc09" have the style "any"'),
        (("line = '", "begins = 'x'\nline = '"), 'pattern.begins: is for layouts of the kind "pattern"'),
        (('kind = "dc09"', 'kind = "pattern"'), "pattern.line: the group frame feeds nothing"),
    ],
)
def test_faulty_layouts_are_one_sentence(tmp_path: Path, changed: tuple[str, str], said: str) -> None:
    path = tmp_path / "frames.toml"
    path.write_text(LAYOUT.replace(*changed), encoding="utf-8")
    with pytest.raises(LayoutFaulty) as caught:
        layout_files.read(path)
    assert said in caught.value.message


def test_samples_of_several_events(tmp_path: Path) -> None:
    frame = framed('"SIA-DCS"0008L0#1234[#1234|Nri1/BA01/BR01]').decode().strip()
    path = tmp_path / "frames.toml"
    sample = f'[[samples]]\nline = \'{AT.decode()}{frame}\'\ngives = [{{ code = "130" }}, {{ qualifier = "R" }}]\n'
    path.write_text(LAYOUT + sample, encoding="utf-8")
    assert check_samples(layout_files.read(path)) == 1
    path.write_text(LAYOUT + sample.replace(', { qualifier = "R" }', ""), encoding="utf-8")
    with pytest.raises(LayoutFaulty, match="should be a signal and is 2"):
        check_samples(layout_files.read(path))


def test_a_log_without_frames_does_not_fit(station: Station) -> None:
    with pytest.raises(LayoutUnknown, match="0 of its first 3 lines match the pattern"):
        station.take(("log.txt", AT + b"E130 Z7\n" + AT + b"E130 Z8\n" + AT + b"E130 Z9\n"))
