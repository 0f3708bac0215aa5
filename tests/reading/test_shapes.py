"""Good lines among bad ones in every shape a file can have: each is a signal, and each bad one says why it is none.

``tests/properties/test_good_lines.py`` puts any bytes but quotes between good lines; here are quotes, very long
lines, code pages and packings too, and what becomes of the bad lines.
"""

from __future__ import annotations

import gzip
import tempfile
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from sigaudit.reading.ingest import Sum
from sigaudit.reading.parse import REASONS
from tests.reading.small_station import HEADER, Station, csv

GOODS = 60
DELIMITED = """
id = "cut"
[recognise]
header = ["received_at", "receiver", "line", "account", "event", "zone", "text"]
[text]
encoding = ["{page}"]
[time]
column = "received_at"
timezone = "UTC"
[fields]
receiver = "receiver"
line = "line"
account = "account"
event = "event"
zone = "zone"
text = "text"
"""
PRINTED = r"""
id = "printed"
kind = "pattern"
[text]
encoding = ["{page}"]
[pattern]
line = '(?P<received_at>\S+) (?P<receiver>\d)/1 (?P<account>\d+) (?P<event>\w{{4}}) Z(?P<zone>\d+) (?P<text>.*)'
[time]
format = "iso"
timezone = "UTC"
"""
CUT_HEADER = "received_at,receiver,line,account,event,zone,text"
# Layout, first line, good line.
SHAPES = {
    "cut": (DELIMITED, CUT_HEADER, "2026-11-02T08:15:30,1,1,{},E130,001,Küche"),
    "printed": (PRINTED, "EVENING PRINT  PAGE 1", "2026-11-02T08:15:30 1/1 {} E130 Z1 Küche"),
}
# Code page that the layout declares for a file written so; the 16 bits wide ones need their mark.
PAGES = {
    "utf-8": "utf-8", "utf-8-sig": "utf-8", "utf-16-le": "utf-8", "utf-16-be": "utf-8", "cp1252": "cp1252",
    "cp437": "cp437",
}  # fmt: skip
PACKED: dict[str, Callable[[bytes], bytes]] = {
    ".log": bytes,
    ".log.gz": gzip.compress,
    ".log.zst": lambda data: pa.compress(data, codec="zstd", asbytes=True),
}
HALVES = [b"\xc3", b"\xe2\x82", b"\xf0\x9f\x94", b"\xff\xfe", b"\x80\x81\x8d", b'"\xc3', b'\xc3"']
# By name, so that a failure can be read.
LONG: dict[str, str | bytes] = {
    "long x": "x" * 100_000, "long quotes": '"' * 100_000, "long odd quotes": '"' * 99_999, "long comma": "," * 100_000,
    "long nul": "\0" * 100_000, "long wide": "\0a" * 50_000, "long bell": "\a" * 100_000, "long high": b"\xff" * 99_999,
}  # fmt: skip
BAD = st.one_of(
    st.text(st.characters(codec="utf-8", exclude_characters="\n\r"), max_size=30),
    st.text(st.sampled_from('",ax \0\x07\x1b\u00e9\u65e5'), max_size=12),
    st.sampled_from([
        '"', '""', '"open', 'x"', '",', '",1,1,7,E130,001,x', '2026-11-02T08:15:30,1,1,"7,E130,001,x', '7",E130,001,x',
        "\0" * 300, "\0a" * 99, "\f", "\x1a", "\x1b[0m",
        "2026-11-02T08:15:30,1,1", "2026-11-02T08:15:30,1,1,7,E130,001,a,b", "2026-13-02T08:15:30,1,1,7,E130,001,a",
    ]),
    st.sampled_from(HALVES), st.sampled_from(sorted(LONG)),
)  # fmt: skip


def outcome(shape: str, written: str, parts: list[str | bytes], end: str, packing: str) -> None:
    """That good lines, which hold their place as account, are the signals, and all others are accounted for."""
    layout, head, line = SHAPES[shape]
    coding = "utf-8" if written == "utf-8-sig" else written
    data = b"\xef\xbb\xbf" * (written == "utf-8-sig") + ("\ufeff" * written.startswith("utf-16")).encode(coding)
    places = {i for i, part in enumerate(parts, start=2) if part == "good"}
    for i, part in enumerate([head, *parts], start=1):
        text = line.format(i) if part == "good" else LONG.get(part, part) if isinstance(part, str) else part
        if isinstance(text, str):
            # In a code page the bytes of UTF-8 are as bad as any.
            text = text.encode("utf-8" if coding.startswith("cp") and part != "good" else coding)
        data += text + end.encode(coding)
    with tempfile.TemporaryDirectory() as folder:
        station = Station(Path(folder))
        own = station.receivers.layouts_dir / "own.toml"
        own.write_text(layout.format(page=PAGES[written]), encoding="utf-8", newline="\n")
        total = station.take((f"a{packing}", PACKED[packing](data)), layout_id=shape).sum
        heard = station.rows("select line_no, account, text from t")
        rejects = station.rows("select line_no, reason, raw from t", "rejects")
    assert sorted(heard) == [(i, str(i), "Küche") for i in sorted(places)]
    assert not {n for n, _, _ in rejects} & places
    assert {reason for _, reason, _ in rejects} <= set(REASONS)
    # Bad lines next to each other may be one record, by their quotes.
    lines = total.lines + sum(raw.count("\n") for _, _, raw in rejects)
    assert lines == len(parts) + 1
    assert total == Sum(total.lines, len(places), 0, len(rejects), total.lines - len(places) - len(rejects))


def interleaved(bad: list[str | bytes], places: list[int]) -> list[str | bytes]:
    parts: list[str | bytes] = ["good"] * GOODS
    for one, at in zip(bad, places, strict=False):
        parts.insert(at, one)
    return parts


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(
    st.sampled_from(sorted(SHAPES)),
    st.sampled_from(sorted(PAGES)),
    st.lists(BAD, max_size=8),
    st.lists(st.integers(0, GOODS), min_size=8, max_size=8),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from(sorted(PACKED)),
)
@example("cut", "utf-8", ['"open', '",1,1,7,E130,001,x'], [10, 20, 0, 0, 0, 0, 0, 0], "\n", ".log")
@example("cut", "utf-8", ["\xff" * 9, '"', '"'], [10, 20, 23, 0, 0, 0, 0, 0], "\r", ".log")
def test_every_good_line_is_a_signal_and_every_bad_one_says_why_not(shape, written, bad, places, end, packing):
    if written.startswith("utf-16"):
        bad = [one for one in bad if isinstance(LONG.get(one, one), str)]  # an odd byte would shift all that follows
    outcome(shape, written, interleaved(bad, places), end, packing)


WHOLE = "2026-11-02T08:15:09,7,E130,001,x"


@pytest.fixture
def station(tmp_path: Path) -> Station:
    return Station(tmp_path)


@pytest.mark.parametrize(
    ("quoted", "text"),
    [
        ('"two\nlines"', "two\nlines"), ('"two\r\nlines, ""x"""', 'two\r\nlines, "x"'), ('"\n\n\nx"', "x"),
        ('"a\n,,,\nb"', "a\n,,,\nb"), ('"' + "x\n" * 48 + 'y"', "x\n" * 48 + "y"), ('"a\nb', None),
        ('"' + "x\n" * 60 + 'y"', None), (f'"a\n{WHOLE}\nb"', None),
    ],
)  # fmt: skip
@pytest.mark.parametrize("place", ["first", "middle", "last"])
def test_a_quoted_field_runs_over_lines_that_are_no_records(station, quoted, text, place):
    """RFC 4180, 2.6: line breaks within quotes. A line within that is a whole record says that the quote is stray."""
    cells = {"received_at": "2026-11-02T08:15:01", "account": "1", "event": "E130", "zone": "001"}
    names = {"first": ["text", *cells], "last": [*cells, "text"]}
    header = names.get(place, [*list(cells)[:2], "text", *list(cells)[2:]])
    before, after = (",".join({**cells, "account": n, "text": ""}[name] for name in header) for n in ("8", "9"))
    line = ",".join({**cells, "text": quoted}[name] for name in header)
    result = station.take(("a.csv", csv(before, line, after, header=",".join(header))))
    found = dict(station.rows("select account, text from t"))
    assert found["8"] == found["9"] == ""
    if text is None:
        # What follows a stray quote may be a record of its own.
        assert (3, "quote_unclosed") in station.rows("select line_no, reason from t", "rejects")
        assert found.get("1") in (None, quoted.rpartition("\n")[2])
    else:
        assert found["1"].strip() == text and result.sum == Sum(4, 3, 0, 0, 1)


def test_growth_within_quotes_in_the_middle_of_a_line_is_one_shot(tmp_path):
    content = csv(
        '2026-11-02T08:15:01,"two\nlines",1,E130',
        '2026-11-02T08:15:02,"a ""b""\n\nc, d",2,E130',
        '2026-11-02T08:15:03,"open,3,E130',
        "2026-11-02T08:15:04,x,4,E130",
        '2026-11-02T08:15:05,"\n",5,E130',
        header="received_at,text,account,event",
    )
    whole = Station(tmp_path / "whole")
    whole.take(("a.csv", content))
    assert whole.signals(["account"]) == [(n,) for n in "1245"]
    for at in range(31, len(content), 3):
        grown = Station(tmp_path / str(at))
        grown.take(("a.csv", content[:at]))
        grown.take(("a.csv", content))
        assert (grown.signals(), grown.rejects()) == (whole.signals(), whole.rejects()), content[:at]


def test_a_header_that_comes_again_is_skipped(station):
    """As exports do that were put together of several; with its byte-order mark, which stands for nothing."""
    line = "2026-11-02T08:15:0{},1,1,{},E130,01,001"
    parts = [csv(line.format(i, i)) for i in range(4)]
    mark = b"\xef\xbb\xbf"
    content = mark + parts[0] + parts[1].replace(b"\n", b"\r\n") + mark + parts[2] + csv() + parts[3]
    assert station.take(("a.csv", content)).sum == Sum(9, 4, 0, 0, 5)


def test_ragged_rows_are_named_one_by_one(station):
    line = "2026-11-02T08:15:0{},1,1,{},E130,01,001"
    rows = [
        line.format(1, 1),
        line.format(2, 2) + ",,",
        line.format(3, 3) + ",,x",
        line.format(4, 4)[:-4],
        ",,,,,,",
        ",",
    ]
    assert station.take(("a.csv", csv(*rows, line.format(5, 5)))).sum.signals == 3
    assert station.rows("select line_no, reason from t order by 1", "rejects") == [
        (4, "too_many_fields"), (5, "too_few_fields"), (6, "time_missing"), (7, "too_few_fields"),
    ]  # fmt: skip


def test_cr_lines_are_lines_whatever_line_feeds_lie_among_them(station):
    good = [f"2026-11-02T08:15:30,1,1,{i},E130,01,001" for i in range(GOODS)]
    content = "\r".join([HEADER, *good[:20], "bad\nworse", *good[20:], ""])
    assert station.take(("a.csv", content.encode())).sum == Sum(GOODS + 3, GOODS, 0, 2, 1)
