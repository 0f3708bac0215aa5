"""Pattern layouts: printer logs read, page headers skipped, the rest kept with a reason; patterns that are refused."""

from __future__ import annotations

import time
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sigaudit.errors import LayoutAmbiguous, LayoutFaulty, LayoutUnknown
from sigaudit.reading import layout_files, patterns
from sigaudit.reading.ingest import Sum
from sigaudit.reading.layout_samples import check_samples
from sigaudit.store import engine_duckdb as engine
from tests.reading.printer_logs import COLUMNS, COLUMNS_LOG, TAIL, TAIL_LOG, WORDS, WORDS_LOG
from tests.reading.small_station import Station, csv


@pytest.fixture
def station(tmp_path: Path) -> Station:
    return with_layouts(Station(tmp_path), columns=COLUMNS, words=WORDS, tail=TAIL)


def with_layouts(station: Station, **texts: str) -> Station:
    for name, text in texts.items():
        (station.receivers.layouts_dir / f"{name}.toml").write_text(text, encoding="utf-8", newline="\n")
    return station


def test_their_own_samples_hold(station):
    layouts = {one.id: one for one in layout_files.load(station.receivers.layouts_dir)}
    assert [check_samples(layouts[name]) for name in ("columns", "words", "tail")] == [3, 1, 0]


def test_a_sample_of_a_page_header_that_is_none_is_named(station):
    wrong = COLUMNS.replace('"EVENING PRINT  PAGE 7"', '"MORNING PRINT"')
    with_layouts(station, columns=wrong)
    layout = layout_files.read(station.receivers.layouts_dir / "columns.toml")
    with pytest.raises(LayoutFaulty, match=r"sample 2: should be skipped as ignored, gives \[\('no_match',\)\]"):
        check_samples(layout)


def test_fixed_columns_by_the_page(station):
    result = station.take(("a.prn", COLUMNS_LOG))
    assert result.sum == Sum(lines=7, signals=2, repeats=0, rejects=1, skipped=4)
    names = ["received_utc", "receiver", "line", "account", "qualifier", "code", "partition", "zone"]
    assert station.signals(names) == [
        (datetime(2026, 11, 2, 7, 15), "1", "12", "0042", "E", "130", "1", "015"),
        (datetime(2026, 11, 2, 7, 16), "1", "1", "B043", "R", "401", "0", "002"),
    ]
    (kept,) = station.rows("select line_no, byte_off, reason, raw from t", "rejects")
    line = b"02 NOV 26 08:15  R1/L12  0042  E1\x07"
    assert kept == (4, COLUMNS_LOG.index(line), "no_match", line.decode())


def test_words_around_the_values(station):
    assert station.take(("a.prn", WORDS_LOG)).sum == Sum(lines=4, signals=2, repeats=0, rejects=2, skipped=0)
    assert station.signals(["account", "event_raw", "qualifier", "code", "partition", "zone", "text"]) == [
        ("0042", "NEW 130", "E", "130", "1", "015", "café"),
        ("0042", "STILL 302", "P", "302", "", "", ""),
    ]
    assert station.rows("select line_no, reason from t order by 1", "rejects") == [
        (3, "no_match"),
        (4, "time_unreadable"),
    ]


def test_time_at_the_end_and_a_cut_last_line(station):
    assert station.take(("a.prn", TAIL_LOG)).sum == Sum(lines=5, signals=2, repeats=0, rejects=2, skipped=1)
    assert station.signals(["received_utc", "receiver", "event_raw", "qualifier", "zone"]) == [
        (datetime(2026, 11, 2, 5, 0, 1), "9", "3302", "R", "000"),  # New York is 5 h behind UTC in November
        (datetime(2026, 11, 3, 1, 15, 30), "9", "1302", "E", ""),
    ]


def test_recognised_by_the_share_of_matching_lines(station):
    good, bad = b"A77 1302 Z1 @ 11/02/2026 08:15:30 PM\n", b"SELF TEST\n"
    with pytest.raises(LayoutUnknown, match=r"tail \(1 of its first 3 lines match the pattern, 50% are wanted\)"):
        station.take(("a.prn", good + bad * 2))
    assert station.take(("a.prn", good + bad * 2), layout_id="tail").sum.rejects == 2
    assert station.take(("b.prn", good + bad)).sum.rejects == 1


def test_a_file_that_grows_stays_with_its_layout(station):
    """What follows may be all noise: what was read of it has said which layout it is."""
    good = b"A77 1302 Z1 @ 11/02/2026 08:15:30 PM\n"
    station.take(("a.prn", good))
    assert station.take(("a.prn", good + b"SELF TEST\n" * 9)).sum == Sum(9, 0, 0, 9, 0)
    assert len(station.signals()) == len(station.store.catalog.sources()) == 1


def test_a_csv_is_no_printer_log_and_two_that_fit_are_not_chosen_between(station):
    assert station.take(("a.csv", csv("2026-11-02T08:00:00,1,1,0042,E130,,"))).sum.signals == 1
    with_layouts(station, twin=TAIL.replace('"tail"', '"twin"'))
    with pytest.raises(LayoutAmbiguous, match="tail, twin"):
        station.take(("a.prn", TAIL_LOG))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("A(?P<account>", "(?=A)A(?P<account>", r"tail.toml, line 7: pattern.line: .*invalid perl operator: \(\?="),
        ("A(?P<account>", "(?<!B)A(?P<account>", r"line 7: pattern.line: .*invalid perl operator: \(\?<"),
        (" @ ", r" \1 @ ", r"line 7: pattern.line: .*invalid escape sequence: \\1"),
        (" @ ", " (?P=zone) @ ", r"line 7: pattern.line: .*invalid"),
        (" @ ", " (@) ", r"line 7: pattern.line: .*every group needs a name"),
        (" @ ", " (?P<zone>@) ", r"line 7: pattern.line: .*two groups are called zone"),
        (" @ ", " (?P<Zone>@) ", r"line 7: pattern.line: .*two groups are called zone"),
        (" @ ", " (?P<acount>@) ", r"line 7: .*the group acount feeds nothing; perhaps account is meant"),
        (" @ ", r" @ \Q", r"line 7: pattern.line: .*missing"),
        (" @ ", r" @ (?:(?:a{500}){500}){500}", r"line 7: pattern.line: .*invalid repetition size"),
        ("received_at", "hour", r"expected a group received_at, or date and time, or time.column"),
        ("[fields]", '[fields]\naccount = "acct"', r"fields.account: 'acct' is no group of the pattern"),
        ("[fields]", "[fields]\naccount = 2", r"fields.account: 2 is no group of the pattern"),
        ("share = 0.5", "share = 2", r"line 5: recognise.share: expected a number above 0, up to 1"),
        ("share = 0.5", "first_line = '('", r"line 5: recognise.first_line: is no pattern"),
        ("share = 0.5", 'header = ["a"]', r'recognise.header: is for layouts of the kind "delimited"'),
        ("[fields]", "[text]\nignore = ['ok', 'x(?!y)']\n[fields]", r"text.ignore: is no list of patterns"),
        ("[fields]", '[text]\ndelimiter = ";"\n[fields]', r'text.delimiter: is for layouts of the kind "delimited"'),
        ('kind = "pattern"', 'kind = "delimited"', r'is for layouts of the kind "pattern"'),
        ('kind = "pattern"', 'kind = "poem"', r"kind: expected one of delimited, sheet, pattern, contact_id, dc09"),
    ],
)
def test_a_faulty_pattern_is_one_sentence(tmp_path, old, new, words):
    assert old in TAIL
    path = tmp_path / "tail.toml"
    path.write_text(TAIL.replace(old, new, 1), encoding="utf-8", newline="\n")
    with pytest.raises(LayoutFaulty, match=words):
        layout_files.read(path)


def test_what_would_backtrack_for_ever_is_linear(station):
    """(a+)+$ needs 2^n steps with backtracking (textbook example of a catastrophic pattern): here n is 50,000."""
    slow = TAIL.replace(r"A(?P<account>\d+) ", r"(?:(?:a+)+|A)(?P<account>\d*) ")
    with_layouts(station, tail=slow)
    began = time.monotonic()
    result = station.take(("a.prn", TAIL_LOG + b"11/02/2026 12:00:01 PM\n" + b"a" * 50_000 + b"!\n"))
    assert result.sum == Sum(lines=6, signals=3, repeats=0, rejects=2, skipped=1)
    assert time.monotonic() - began < 20


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?i)a(?P<x>\w*)", r"(?P<x>[[:alpha:]]+)", r"(?P<x>\pL+)", r"(?P<x>a|ab)c?", r"(?P<x>\Qa.\E)?.*",
        "é(?P<x>.?)",
    ],
)  # fmt: skip
def test_the_engine_and_the_check_of_a_head_agree(pattern):
    lines = ["a", "ab", "abc", "ABC", "a.b", "é", "éa", "1", "a\0b"]
    con = engine.connect(threads=1)
    cut = patterns.cut_sql([pattern], patterns.group_names(pattern), "line")
    found = engine.rows(con, f"select ({cut}).g0 <> '' from (select unnest(?) as line)", [lines])
    con.close()
    assert [row[0] for row in found] == patterns.whole(pattern, lines)
    assert any(row[0] for row in found)


pieces = st.sampled_from(
    [*r"ab.*+?|()[]^$\{}'é-", r"(?P<a>", "(?:", "(?i)", "(?s-m:", r"\d", r"\b", r"\Q", r"\E", "{2,3}", "[^", r"\x{e9}"]
)


@settings(max_examples=300, deadline=None)
@given(st.lists(pieces, max_size=9).map("".join), st.lists(st.text("ab.é'1{", max_size=5), min_size=1, max_size=5))
def test_any_text_is_a_pattern_that_runs_or_is_refused(pattern, lines):
    try:
        names = patterns.group_names(pattern)
    except patterns.BadPattern as reason:
        assert str(reason)
        return
    con = engine.connect(threads=1)
    cut = patterns.cut_sql([pattern], names, "line")
    found = engine.rows(con, f"select ({cut}).g0 <> '' from (select unnest(?) as line)", [lines])
    con.close()
    told = patterns.whole(pattern, lines)
    assert [row[0] for row in found] == [match and line != "" for match, line in zip(told, lines, strict=True)]


def test_as_many_groups_as_there_are_fields_and_more():
    pattern = "".join(f"(?P<g{i}>.)" for i in range(40))
    con = engine.connect(threads=1)
    line = "0123456789" * 4
    ((found,),) = engine.rows(con, f"select {patterns.cut_sql([pattern], patterns.group_names(pattern), '?')}", [line])
    con.close()
    assert list(found.values()) == [line, *line]
