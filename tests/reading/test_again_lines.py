"""What a reject is when it is read again: lines, records of several lines, bytes that no encoding read."""

from __future__ import annotations

from pathlib import Path

import pytest

from sigaudit.reading.ingest import Sum
from tests.reading.mended_layouts import DAY, HEADER, log, mended, put, run_again, written
from tests.reading.small_station import Station


@pytest.fixture
def station(tmp_path: Path) -> Station:
    return Station(tmp_path / "mended")


def test_bytes_are_tried_with_the_encodings_named_now(station):
    content = log(DAY[0]) + "2026-11-02 08:15:00;café;7;E130\n".encode("cp1252") + b"2026-11-02 08:16:00;\x81;7;E130\n"
    total = mended(station, written(), written(encoding='"utf-8", "cp1252"'), content)
    assert total == Sum(2, 1, 0, 1, 0)
    assert ("café",) in station.signals(["text"])


def test_text_that_was_decoded_stays_as_it_was_decoded(station):
    """Of a line that an encoding read, the text is kept and not the bytes."""
    put(station, written(encoding='"utf-8", "cp1252"'))
    station.take(("a.log", log(DAY[0]) + "2026-11-02 08.15.00;café;7;E130\n".encode("cp1252")))
    put(station, written(encoding='"utf-8", "cp437"', form="%Y-%m-%d %H.%M.%S"))
    assert run_again(station).sum == Sum(1, 1)
    assert station.signals(["account", "text"]) == [("1000", "quiet"), ("7", "café")]


@pytest.mark.parametrize(
    ("strict", "loose", "notes", "total"),
    [
        ('"', "", ['a "b" c', '"5 inch', "six"], Sum(1, 1)),
        ("", "|", ["|two\nlines|", "|two\r\nlines|", "|open\nline"], Sum(4, 2, 0, 2)),
        ('"', "|", ["|two\nlines|", "six", '"5 inch', "|so\nso|"], Sum(3, 3)),
        ("|", '"', ['"two\nlines"', "|5 inch", '"so\nso"'], Sum(3, 3)),
    ],
)
def test_another_quote_joins_lines_that_follow_one_another(station, strict, loose, notes, total):
    lines = [f"2026-11-02 08:{i:02d}:00;{note};7;E130" for i, note in enumerate(notes)]
    got = mended(station, written(quote=strict), written(quote=loose), log(*lines, *DAY), provisional=False)
    assert got == total


def test_lines_apart_are_never_joined(station):
    """An open quote, a signal that was held, and what would close the quote: the signal's line stands between."""
    put(station, written(quote=""))
    station.take(("a.log", log("2026-11-02 08:00:00;|two", DAY[9], "lines|;7;E130", *DAY[10:])))
    put(station, written(quote="|"))
    run_again(station)
    assert {row[3] for row in station.rejects()} == {"quote_unclosed", "too_few_fields"}
    assert ("7",) not in station.signals(["account"])


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_joined_record_becomes_lines_again(station, end):
    """A quote that is none made one record of two lines, refused for its time; without it both are signals."""
    lines = [HEADER, '2026-11-02 08:00:00;"ä;1;E130', '2026-11-02 08:00:01;b";2;E130', *DAY, ""]
    strict = written(form="%d.%m.%Y %H:%M:%S")
    put(station, strict)
    assert mended(station, strict, written(quote=""), end.join(lines).encode()) == Sum(26, 26)
    assert station.store.catalog.sources()[0].lines == 27


def test_a_joined_record_stays_one_where_its_quote_does(station):
    content = log('2026-11-02 08:00:00;"a\nb";1;E130', '2026-11-02 08:00;"a\r\nb";1;E130', *DAY)
    total = mended(station, written(form="%d.%m.%Y %H:%M:%S"), written(), content)
    assert total == Sum(26, 25, 0, 1)
    assert ("a\nb",) in station.signals(["text"])


def test_the_last_lines_of_a_file_are_read_again_too(station):
    """An open quote near the end may still be closed when the file grows; it need not grow."""
    content = log(*DAY, '2026-11-02 08:00:00;"5 inch;1;E130', "2026-11-02 08:00:01;x;2;E130")[:-1]
    total = mended(station, written(), written(quote=""), content, provisional=False)
    assert total == Sum(1, 1)


def test_many_rejects_of_a_file_are_read_in_pieces(station, monkeypatch):
    """A record that runs over the edge of a piece is one record all the same."""
    monkeypatch.setattr("sigaudit.reading.rereading._ROWS", 7)
    lines = [f"2026-11-02 08:00:{i:02d};|two\nlines|;{i};E130" for i in range(40)]
    total = mended(station, written(quote=""), written(quote="|"), log(*lines, *DAY), provisional=False)
    assert total == Sum(40, 40)
