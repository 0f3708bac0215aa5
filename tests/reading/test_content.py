"""Files as they are stored and the content they hold: UTF-16, CR alone, declared code pages; by Python's codecs."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from sigaudit.errors import LayoutFaulty
from sigaudit.reading import layout_files
from sigaudit.reading.content import Content
from sigaudit.reading.ingest import Sum
from tests.reading.printer_logs import COLUMNS, COLUMNS_LOG
from tests.reading.small_station import Station

HEADER = "received_at,account,event,text"
LINES = [HEADER, "2026-11-02T08:15:30,0042,E130,café 日本", "2026-11-02T08:15:31,0043,R130,\U0001f512"]
TEXT = "".join(f"{line}\r\n" for line in LINES)
FEFF = "\ufeff"


@pytest.fixture
def station(tmp_path: Path) -> Station:
    return Station(tmp_path)


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("packed", [False, True])
def test_utf_16_says_what_utf_8_says(tmp_path, encoding, packed):
    stored = (FEFF + TEXT).encode(encoding)
    wide, plain = Station(tmp_path / "a"), Station(tmp_path / "b")
    result = wide.take(("a.csv.gz", gzip.compress(stored)) if packed else ("a.csv", stored))
    plain.take(("a.csv", (FEFF + TEXT).encode()))
    assert wide.signals() == plain.signals() and len(wide.signals()) == 2
    assert wide.origins() == plain.origins()
    assert "UTF-16, read as UTF-8" in result.sources[0].notes


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("size", [1, 1000, 1 << 16, 1 << 22])
def test_a_long_utf_16_file_is_all_there(tmp_path, encoding, size):
    text = FEFF + "".join(f"{i},caf\u00e9 \u65e5 \U0001f512\r\n" for i in range(120_000))
    path = tmp_path / "a"
    path.write_bytes(text.encode(encoding))
    assert path.stat().st_size > 3 << 20
    with Content(path, "a") as content:
        head = content.read(size)
        assert head + content.read(1 << 24) == text.encode() and len(head) == min(size, len(text.encode()))


def test_the_same_log_saved_as_utf_16_and_as_utf_8_is_one_source(station):
    station.take(("a.csv", (FEFF + TEXT).encode("utf-16-le")))
    assert station.take(("b.csv", (FEFF + TEXT).encode())).sum.signals == 0
    assert len(station.store.catalog.sources()) == 1


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_that_grows_byte_by_byte(station, encoding):
    stored = (FEFF + TEXT).encode(encoding)
    for end in range(len((FEFF + HEADER + "\r\n").encode(encoding)), len(stored) + 1, 7):
        station.take(("a.csv", stored[:end]))
    station.take(("a.csv", stored))
    assert station.signals(["account", "text"]) == [("0042", "café 日本"), ("0043", "\U0001f512")]
    (source,) = station.store.catalog.sources()
    assert (source.lines, source.bytes) == (3, len((FEFF + TEXT).encode()))
    assert station.rejects() == set()


def test_half_a_character_is_left_out_and_said(tmp_path):
    path = tmp_path / "a"
    path.write_bytes((FEFF + "ab").encode("utf-16-le") + b"\x3d")
    with Content(path, "a") as content:
        assert content.read(100) == (FEFF + "ab").encode() and content.read(1) == b""
        assert content.torn


def test_half_a_pair_spoils_its_own_line_only(station):
    broken = LINES[1].replace("日本", "\ud83d")
    text = "\n".join([FEFF + HEADER, broken, LINES[2]]).encode("utf-16-le", "surrogatepass")
    assert station.take(("a.csv", text)).sum == Sum(lines=3, signals=1, repeats=0, rejects=1, skipped=1)
    assert station.rows("select line_no, reason from t", "rejects") == [(2, "undecodable")]
    ((kept,),) = station.rows("select raw_bytes from t", "rejects")
    assert kept == broken.encode("utf-8", "surrogatepass")


def test_a_mark_prevails_over_the_code_page_of_a_layout(station):
    layout = 'id = "own"\n[recognise]\nheader = ["at", "ev", "ort"]\n[text]\nencoding = "cp1252"\n[time]\ncolumn = "at"\ntimezone = "UTC"\n[fields]\nevent = "ev"\ntext = "ort"\n'  # noqa: E501
    (station.receivers.layouts_dir / "own.toml").write_text(layout, encoding="utf-8", newline="\n")
    text = "at,ev,ort\n2026-11-02T08:15:30,E130,Küche\n"
    for i, stored in enumerate([text.encode("cp1252"), (FEFF + text).encode("utf-16-be"), (FEFF + text).encode()]):
        station.take((f"{i}.csv", stored))
        assert station.rows("select distinct text from t") == [("Küche",)]


@pytest.mark.parametrize(
    ("encoding", "stored", "text"),
    # Code charts of the two pages (vendor tables of the Unicode Consortium), from memory: 81 is ü in 437, 80 € in 1252.
    [("cp437", b"K\x81che \xc4\xb3", "Küche ─│"), ("cp1252", b"K\xfcche \x80\x93", "Küche €“")],
)
@pytest.mark.parametrize("declared", ["[{0!r}]", "['utf-8', {0!r}]"])
def test_declared_code_pages(station, encoding, stored, text, declared):
    layout = (
        COLUMNS.partition("[[samples]]")[0]
        .replace("ignore =", f"encoding = {declared.format(encoding)}\nignore =")
        .replace(r"(?P<zone>\d{3})", r"(?P<zone>\d{3}) (?P<text>.*)")
    )
    (station.receivers.layouts_dir / "columns.toml").write_text(layout, encoding="utf-8", newline="\n")
    station.take(("a.prn", b"02 NOV 26 08:15  R1/L12  0042  E130  01 015 " + stored + b"\r\n"))
    assert station.signals(["text"]) == [(text,)]


def test_a_page_that_reads_anything_comes_last(tmp_path):
    path = tmp_path / "columns.toml"
    text = COLUMNS.replace("ignore =", 'encoding = ["cp437", "utf-8"]\nignore =')
    path.write_text(text, encoding="utf-8", newline="\n")
    with pytest.raises(LayoutFaulty, match=r"columns.toml, line \d+: text.encoding: 'cp437' reads any bytes"):
        layout_files.read(path)


def test_lines_that_end_in_cr_alone(station):
    (station.receivers.layouts_dir / "columns.toml").write_text(COLUMNS, encoding="utf-8", newline="\n")
    result = station.take(("a.prn", COLUMNS_LOG.replace(b"\r\n", b"\r")))
    assert result.sum == Sum(lines=7, signals=2, repeats=0, rejects=1, skipped=4)
    assert "lines end in CR alone" in result.sources[0].notes
    result = station.take(("a.csv", TEXT.replace("\r\n", "\r").encode()))
    assert result.sum == Sum(lines=3, signals=2, repeats=0, rejects=0, skipped=1)


def test_nul_bytes_are_noted_and_kept(station):
    result = station.take(("a.csv", TEXT.replace("café", "ca\0fé").encode()))
    assert result.sum.signals == 2 and "1 lines with NUL characters, kept" in result.sources[0].notes
    assert ("ca\0fé 日本",) in station.signals(["text"])
