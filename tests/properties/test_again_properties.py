"""Reading rejects again by a mended layout is having had the mended layout from the start."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.reading.mended_layouts import HEADER, put, run_again, written
from tests.reading.small_station import Station

SETTINGS = settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
PATTERN = """
id = "own"
kind = "pattern"
[recognise]
first_line = '^when'
[text]
encoding = ["utf-8"{encoding}]
ignore = ['^when'{ignore}]
[pattern]
line = '(?P<received_at>\\d[^;]*);(?P<text>[^;"]*);(?P<account>{account});(?P<event>{event})'
[time]
format = "{form}"
timezone = "station"
"""
STRICT_TIME = "%Y-%m-%dT%H:%M:%S"  # of which ISO 8601 allows more: a blank, no seconds, parts of a second, an offset
LAYOUTS = {
    "delimited": (
        written(form=STRICT_TIME),
        written(form="iso", encoding='"utf-8", "cp1252"', comment="#"),
    ),
    "pattern": (
        PATTERN.format(encoding="", ignore="", account=r"\d+", event=r"\w{4}", form=STRICT_TIME),
        PATTERN.format(encoding=', "cp1252"', ignore=", '^#'", account=r"\w+", event=r"\w*", form="iso"),
    ),
}

# Few seconds, accounts and events, so that equal lines and shared edge seconds are common.
times = st.builds(
    lambda second, form: form.format(second),
    st.integers(0, 5),
    st.sampled_from(["2026-11-02T08:00:{:02d}"] * 2 + ["2026-11-02 08:00:{:02d}", "2026-11-02T13:00:{:02d}Z", "8h{}"]),
)
good = st.builds(
    lambda time, note, account, event: f"{time};{note};{account};{event}".encode(),
    times, st.sampled_from(["", "x"]), st.sampled_from(["1", "2", "B3", "1 2"]), st.sampled_from(["E130", "R130", ""]),
)  # fmt: skip
odd = st.sampled_from(
    [b"", b"#", HEADER.encode(), b"# 7;x;1;E130", b"2026-11-02T08:00:01;caf\xe9;1;E130", b"\x81", b"so;on", b";;;;;"]
)
contents = st.lists(st.one_of(good, good, good, odd), min_size=1, max_size=12)
slices = st.lists(st.tuples(st.integers(0, 11), st.integers(1, 12)), min_size=1, max_size=3)


def exported(lines: list[bytes]) -> bytes:
    return b"".join(line + b"\n" for line in (HEADER.encode(), *lines))


def said(small: Station) -> tuple[object, ...]:
    """Signals, where every line stands, rejects, and what every source came to, whatever order it came in."""
    sums = {
        s.sha256: (s.lines, s.n_signals + s.n_repeats, s.n_rejects, s.n_skipped) for s in small.store.catalog.sources()
    }
    return small.signals(), small.origins(), small.rejects(), sums


def outcome(
    texts: tuple[str, str], before: list[tuple[str, bytes]], after: list[tuple[str, bytes]]
) -> tuple[object, ...]:
    """The first files taken in under the strict layout and read again under the mended one, then the others."""
    with tempfile.TemporaryDirectory() as folder:
        small = Station(Path(folder))
        put(small, texts[0])
        for file in before:
            small.take(file)
        put(small, texts[1])
        if before:
            run_again(small)
            once = said(small)
            assert run_again(small).sum.signals == 0
            assert said(small) == once
        for file in after:
            small.take(file)
        return said(small)


@pytest.mark.parametrize("kind", LAYOUTS)
@SETTINGS
@given(contents, slices, st.integers(0, 3))
def test_mended_afterwards_is_mended_from_the_start(kind, lines, spans, mended_after):
    """Overlapping exports, some of them taken in before the layout was mended."""
    files = [(f"{i}.log", exported(lines[a : a + n])) for i, (a, n) in enumerate(spans)]
    at_once = outcome(LAYOUTS[kind], [], files)
    assert outcome(LAYOUTS[kind], files[:mended_after], files[mended_after:]) == at_once


@pytest.mark.parametrize("kind", LAYOUTS)
@SETTINGS
@given(contents, st.integers(0, 400))
def test_grown_afterwards_is_read_at_once(kind, lines, cut):
    """A file cut anywhere, even inside a line, then read again, then grown."""
    content = exported(lines)
    end = len(HEADER) + 1 + cut % max(1, len(content) - len(HEADER) - 1)
    at_once = outcome(LAYOUTS[kind], [], [("night.log", content)])
    assert outcome(LAYOUTS[kind], [("night.log", content[:end])], [("night.log", content)]) == at_once


@SETTINGS
@given(
    st.lists(st.tuples(st.sampled_from(['"', "|", "", "\n", "x"]), st.sampled_from(["|", '"', "y", "\n|", '\n"'])),
             min_size=1, max_size=8),
    st.sampled_from([('"', ""), ("", "|"), ('"', "|"), ("|", '"')]),
)  # fmt: skip
def test_any_quotes_close_the_sum_and_settle(notes, quotes):
    """What is a record may change with the quote: nothing is lost, and a second reading changes nothing."""
    lines = [f"2026-11-02 08:00:{i:02d};{a}n{b};{i};E130" for i, (a, b) in enumerate(notes)]
    content = exported([line.encode() for line in lines])
    with tempfile.TemporaryDirectory() as folder:
        small = Station(Path(folder))
        put(small, written(quote=quotes[0]))
        small.take(("a.log", content))
        put(small, written(quote=quotes[1]))
        run_again(small)
        once = said(small)
        kept = [row[4] for row in small.rejects()] + [row[0] for row in small.signals(["raw"])]
        skipped = sum(source.n_skipped for source in small.store.catalog.sources())
        assert sum(text.count("\n") + 1 for text in kept) + skipped == content.count(b"\n")
        run_again(small)
        assert said(small) == once
