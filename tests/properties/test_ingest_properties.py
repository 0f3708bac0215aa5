"""What must hold for any exports: order, repetition, splitting and growth change nothing; nothing is lost."""

from __future__ import annotations

import tempfile
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from sigaudit.errors import SigauditError
from tests.reading.small_station import CONTENT, HEADER, Station, csv

ZONE = ZoneInfo("America/New_York")
PLAIN_NIGHT = datetime(2026, 10, 31, 23, 59, 50, tzinfo=UTC)
FOLD_NIGHT = datetime(2026, 11, 1, 4, 50, tzinfo=UTC)  # 00:50 local; 01:00 to 02:00 is written twice
SETTINGS = settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)

# Few seconds, accounts and events, so that equal lines and shared edge seconds are common.
steps = st.lists(
    st.tuples(st.integers(0, 2), st.sampled_from("12"), st.sampled_from(["E130", "R130"])), min_size=1, max_size=14
)
slices = st.lists(st.tuples(st.integers(0, 14), st.integers(1, 14)), min_size=2, max_size=4)


def wall(moment: datetime) -> str:
    return moment.astimezone(ZONE).strftime("%Y-%m-%dT%H:%M:%S")


def log(given_steps: list[tuple[int, str, str]], start: datetime = PLAIN_NIGHT, unit: int = 1) -> list[str]:
    lines, at = [], start
    for step, account, event in given_steps:
        at += timedelta(seconds=step * unit)
        lines.append(f"{wall(at)},1,1,{account},{event},01,001")
    return lines


def cut(lines: list[str], spans: list[tuple[int, int]]) -> list[tuple[str, bytes]]:
    return [(f"f{i}.csv", csv(*lines[a : a + n])) for i, (a, n) in enumerate(spans)]


def station() -> tuple[tempfile.TemporaryDirectory[str], Station]:
    folder = tempfile.TemporaryDirectory()
    return folder, Station(Path(folder.name))


def ingested(batches: list[list[tuple[str, bytes]]]) -> tuple[list[object], set[object], set[object]]:
    folder, small = station()
    with folder:
        for batch in batches:
            small.take(*batch)
        return small.signals(), small.origins(), small.rejects()  # type: ignore[return-value]


@SETTINGS
@given(steps, slices, st.randoms(use_true_random=False), st.sampled_from([(PLAIN_NIGHT, 1), (FOLD_NIGHT, 700)]))
def test_file_order_does_not_matter(s, spans, random, night):
    files = cut(log(s, *night), spans)
    shuffled = files[:]
    random.shuffle(shuffled)
    together = ingested([files])
    assert ingested([[file] for file in files]) == together
    assert ingested([[file] for file in shuffled]) == together


@SETTINGS
@given(steps, st.integers(0, 14))
def test_split_file_is_the_whole_file(s, at):
    lines = log(s)
    first, second = csv(*lines[:at]), csv(*lines[at:])
    # Two parts with the same bytes, or one that begins with the other, cannot be told from a file sent twice.
    assume(at == 0 or not lines[at:] or not (first.startswith(second) or second.startswith(first)))
    whole, _, _ = ingested([[("whole.csv", csv(*lines))]])
    parts, _, _ = ingested([[("a.csv", first)], [("b.csv", second)]])
    edge = CONTENT.index("edge_doubt")
    assert sorted(r[:edge] + r[edge + 1 :] for r in parts) == sorted(r[:edge] + r[edge + 1 :] for r in whole)


@SETTINGS
@given(steps, slices)
def test_twice_is_once_and_counts_are_bounded(s, spans):
    lines = log(s)
    files = cut(lines, spans)
    folder, small = station()
    with folder:
        small.take(*files)
        once = small.signals()
        again = small.take(*files)
        assert again.sum.signals == 0
        assert small.signals() == once
        held = Counter((row[CONTENT.index("received_wall")], row[CONTENT.index("account")]) for row in once)
        for name, content in files:
            alone, _, _ = ingested([[(name, content)]])
            need = Counter((row[CONTENT.index("received_wall")], row[CONTENT.index("account")]) for row in alone)
            assert need <= held


@SETTINGS
@given(
    steps,
    st.lists(st.integers(0, 10_000), min_size=1, max_size=5),
    st.sampled_from([(PLAIN_NIGHT, 1), (FOLD_NIGHT, 600)]),
    st.booleans(),
)
def test_grown_in_pieces_is_one_shot(s, cuts, night, quoted):
    lines = log(s, *night)
    header = HEADER + ",text"
    content = csv(
        *(f'{line},"two\nlines, {i % 2}"' if quoted and i % 3 == 0 else f"{line}," for i, line in enumerate(lines)),
        header=header,
    )
    begin = len(header) + 1
    ends = [*sorted({begin + c % max(1, len(content) - begin) for c in cuts}), len(content)]
    assert grown(content, ends) == grown(content, [len(content)])


def grown(content: bytes, ends: list[int]) -> tuple[object, ...]:
    folder, small = station()
    with folder:
        for end in ends:
            small.take(("night.log", content[:end]))
        (source,) = small.store.catalog.sources()
        return (
            small.signals([*CONTENT, "source_id", "line_no"]), small.origins(), small.rejects(),
            replace(source, name=""), small.store.catalog.source_lines(),
        )  # fmt: skip


def test_grown_byte_by_byte_is_one_shot():
    lines = log([(0, "1", "E130"), (0, "1", "E130"), (1, "2", "R130")])
    content = csv(*lines) + b'2026-11-02T10:00:00,1,1,"3",E301,01,001'
    assert grown(content, list(range(len(HEADER), len(content) + 1))) == grown(content, [len(content)])


@SETTINGS
@given(st.binary(max_size=300), st.booleans())
def test_any_bytes_end_in_rows_or_in_one_sentence(noise, headed):
    folder, small = station()
    with folder:
        content = csv() + noise if headed else noise
        try:
            result = small.take(("noise.csv", content))
        except SigauditError as problem:
            assert problem.message
            assert small.signals() == []
            return
        (source,) = small.store.catalog.sources()
        assert result.sum.closes and source.lines == result.sum.lines
        if b'"' not in noise:
            assert source.lines == content.count(b"\n") + (not content.endswith(b"\n"))


@SETTINGS
@given(
    st.lists(st.integers(0, 2400), min_size=1, max_size=20),
    st.integers(0, 20),
    st.sampled_from([1, 5, 60]),
)
def test_repeated_hour_is_never_wrong(gaps, at, jitter):
    """Lines carry their true UTC as text, so the outcome can be compared with it."""
    moment, lines = FOLD_NIGHT, []
    for i, gap in enumerate(gaps):
        moment += timedelta(seconds=gap)
        late = moment - timedelta(seconds=(i % 3) * jitter)
        lines.append(f"{wall(late)},1,1,{i},E130,{late:%Y-%m-%d %H:%M:%S}")
    header = "received_at,receiver,line,account,event,text"
    for batches in ([lines], [lines[:at], lines[at:]], [lines[:at], lines]):
        folder, small = station()
        with folder:
            for i, part in enumerate(batches):
                small.take((f"{i}.csv", csv(*part, header=header)))
            found = small.signals(["text", "received_utc", "time_doubt", "received_wall"])
            assert len(found) == len(lines)
            for truth, received, doubt, _ in found:
                true = datetime.fromisoformat(truth)
                assert doubt in ("exact", "fold")
                assert received == true or (doubt == "fold" and true - received == timedelta(hours=1))


@pytest.mark.parametrize("repeat", [1, 2])
def test_provisional_line_that_was_held_elsewhere(repeat):
    """A cut last line stood for a row that another source holds too; completing it changes nothing there."""
    lines = log([(0, "1", "E130"), (3, "1", "E130"), (3, "2", "E130")])
    full = csv(*lines)
    cut_off = full[: -len("1\n")]  # the last zone is 00 instead of 001
    folder, small = station()
    with folder:
        small.take(("a.csv", cut_off))
        small.take(("b.csv", csv(*lines, header=HEADER).replace(b"\n2026", b"\n\n2026", 1)))
        for _ in range(repeat):
            small.take(("a.csv", full))
        assert len(small.signals()) == 3
