"""Layouts: the built-in one on its own samples, choosing, and faulty files refused by file, line and key."""

from __future__ import annotations

from pathlib import Path

import pytest

from sigaudit.errors import LayoutAmbiguous, LayoutFaulty, LayoutUnknown
from sigaudit.reading import layout_files
from sigaudit.reading.binding import NoFit, bind, choose
from sigaudit.reading.layout_samples import check_samples
from sigaudit.store import shipped
from tests.reading.small_station import Station

OWN = """
id = "own"
kind = "delimited"
title = "Semicolons, day first, two time columns"

[recognise]
header = ["date", "time", "acct", "ev"]

[text]
encoding = ["utf-8", "cp1252"]
delimiter = ";"
comment = "#"

[time]
column = ["date", "time"]
format = "%d.%m.%Y %H:%M:%S"
timezone = "Europe/Berlin"

[fields]
account = "acct"
event = "ev"
zone = "point"
receiver = { constant = "7" }

[[samples]]
header = "time;date;acct;ev;point"
line = "08:15:30;02.11.2026;0042;1130;5"
gives = { received_utc = "2026-11-02 07:15:30", code = "130", zone = "005", receiver = "7" }

[[samples]]
line = "02.13.2026;08:15:30;0042;1130"
rejects = "time_unreadable"
"""
BARE = """
id = "bare"
[recognise]
first_line = '^[0-9]{12} [0-9]'
[text]
header = false
delimiter = " "
quote = ""
[time]
column = 1
format = "%Y%m%d%H%M"
timezone = "station"
[fields]
account = 2
qualifier = 3
code = 4
[event]
style = "separate"
qualifiers = { NEW = "E", RST = "R" }
"""


def write(folder: Path, **texts: str) -> Path:
    folder.mkdir(exist_ok=True)
    for name, text in texts.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8", newline="\n")
    return folder


def test_every_layout_passes_its_samples_and_no_other_ones(tmp_path):
    layouts = layout_files.load(write(tmp_path, own=OWN))
    assert [layout.id for layout in layouts] == ["plain", "own"]
    for layout in layouts:
        assert check_samples(layout) == len(layout.samples) > 0
        for other in layouts:
            for sample in layout.samples if other is not layout else []:
                with pytest.raises(NoFit):
                    bind(other, f"{sample.get('header', ';'.join(layout.required))}\n".encode())


def test_a_sample_that_disagrees_is_named(tmp_path):
    layout = layout_files.read(write(tmp_path, own=OWN.replace('code = "130"', 'code = "131"')) / "own.toml")
    with pytest.raises(LayoutFaulty, match=r"own.toml: sample 1: code should be '131', is '130'"):
        check_samples(layout)


def test_shipped_layouts_have_three_samples_or_more():
    for path in (shipped.data() / "layouts").glob("*.toml"):
        assert len(layout_files.read(path).samples) >= 3


def test_own_layout_ingests(tmp_path):
    station = Station(tmp_path)
    write(station.receivers.layouts_dir, own=OWN, bare=BARE)
    station.take(
        ("a.txt", b"# comment\ndate;time;acct;ev;remark\n01.07.2026;12:00:00;0042;3401;caf\xe9\n"),
        ("b.txt", b"202607011200 0042 RST 110\n202607011200 0042 ODD 1X0\n"),
    )
    names = ("received_utc", "account", "event_raw", "qualifier", "code", "receiver", "zone")
    assert [row[1:] for row in station.signals(names)] == [
        ("0042", "3401", "R", "401", "7", ""),
        ("0042", "ODD 1X0", "", "", "", ""),
        ("0042", "RST 110", "R", "110", "", ""),
    ]
    hours = [row[0].hour for row in station.signals(names)]
    assert hours == [10, 16, 16]  # Berlin is 2 h ahead of UTC in July, New York 4 h behind
    assert ("01.07.2026;12:00:00;0042;3401;café",) in station.signals(["raw"])


def test_choosing_never_takes_the_first_that_fits(tmp_path):
    layouts = layout_files.load(write(tmp_path, own=OWN, twin=OWN.replace('id = "own"', 'id = "twin"')))
    head = b"date;time;acct;ev\n"
    with pytest.raises(LayoutAmbiguous, match="own, twin"):
        choose(layouts, head, "x.log")
    assert choose(layouts, head, "x.log", "twin").layout.id == "twin"
    with pytest.raises(LayoutUnknown, match=r"plain \(the header has no column received_at, event\)"):
        choose(layouts, b"account,other\n", "x.log")
    with pytest.raises(LayoutUnknown, match="no layout is called nope"):
        choose(layouts, head, "x.log", "nope")
    with pytest.raises(LayoutUnknown, match="account more than once"):
        choose(layouts, b"received_at,account,event,account\n", "x.log", "plain")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('timezone = "Europe/Berlin"', 'timezone = "CET"', r"own.toml, line \d+: time.timezone: 'CET'"),
        ('timezone = "Europe/Berlin"', "", r"time.timezone: is missing"),
        ('delimiter = ";"', 'delimiter = ";;"', r"text.delimiter: expected one"),
        ('delimiter = ";"', 'delimeter = ";"', r"text.delimeter: no such key, perhaps delimiter"),
        ('"utf-8", "cp1252"', '"utf-8", "latin-1"', r"reads any bytes"),
        ('"utf-8", "cp1252"', '"utf-16"', r"does not write ASCII as ASCII"),
        ("%d.%m.%Y %H:%M:%S", "%d.%m.%Q", r"%Q is not understood"),
        ("%d.%m.%Y %H:%M:%S", "%d.%m.%y %H:%M", r"two_digit_year"),
        ('account = "acct"', "account = 0", r"fields.account: expected a column"),
        ('account = "acct"', 'acount = "acct"', r"fields.acount: no such key, perhaps account"),
        ("[fields]", '[event]\nstyle = "morse"\n[fields]', r"event.style: expected one of"),
        ('id = "own"', 'id = "plain"', r"id: 'plain' is taken by plain.toml"),
        ('id = "own"', 'id = "own', r"own.toml: .*line 2"),
    ],
)
def test_a_faulty_layout_is_one_sentence(tmp_path, old, new, words):
    assert old in OWN
    with pytest.raises(LayoutFaulty, match=words):
        layout_files.load(write(tmp_path, own=OWN.replace(old, new)))


def test_a_hostile_layout_stays_text(tmp_path):
    """Quotes and semicolons of a layout reach the engine as text, never as SQL."""
    evil = "x'); drop table states; --"
    station = Station(tmp_path)
    write(
        station.receivers.layouts_dir,
        own=OWN.partition("[[samples]]")[0].replace('constant = "7"', f'constant = "{evil}"'),
    )
    station.take(("a.txt", b"date;time;acct;ev\n01.07.2026;12:00:00;0042;3401\n"))
    assert station.signals(["receiver"]) == [(evil,)]


@pytest.mark.parametrize("field", ["account", "code"])
def test_a_mistyped_column_takes_nothing_in(tmp_path: Path, field: str) -> None:
    """A layout that reads a column the header lacks must not turn accounts into the receiver itself."""
    header, line = "When;Acct;Q;Code", "2026-11-16T02:00:05;0042;1;602"
    columns = {"account": "Acct", "qualifier": "Q", "code": "Code"}
    columns[field] += "x"
    text = 'id = "typo"\n[recognise]\nheader = ["When"]\n[text]\ndelimiter = ";"\n[time]\ncolumn = "When"\n'
    text += 'timezone = "station"\n[fields]\n' + "".join(f'{name} = "{column}"\n' for name, column in columns.items())
    (tmp_path / "typo.toml").write_text(text, encoding="utf-8")
    layout = layout_files.read(tmp_path / "typo.toml")
    with pytest.raises(LayoutUnknown, match=columns[field]):
        choose([layout], f"{header}\n{line}\n".encode(), "night.txt")
