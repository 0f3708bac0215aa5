"""Steps back of a clock: the query finds what a plain walk over each receiver's lines finds, in either direction."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

import pyarrow as pa
from hypothesis import given, settings
from hypothesis import strategies as st

from sigaudit.reading import order_breaks
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.clock_breaks import MOST

START = datetime(2026, 11, 17)
# Receiver and minutes to the next line: mostly on, sometimes just over and just under the step, sometimes far back.
walks = st.lists(
    st.tuples(st.sampled_from("12"), st.sampled_from([0, 1, 1, 2, 7, 30, -4, -5, -6, -90])), min_size=1, max_size=60
)
Line = tuple[int, str, datetime]


def lines_of(walk: list[tuple[str, int]]) -> list[Line]:
    at = {"1": START, "2": START + timedelta(hours=3)}
    lines = []
    for number, (receiver, minutes) in enumerate(walk, start=2):
        at[receiver] += timedelta(minutes=minutes)
        lines.append((number, receiver, at[receiver]))
    return lines


def found(lines: list[Line]) -> list[tuple[str, int, datetime, datetime, int]]:
    con = engine.connect(threads=1)
    try:
        table = pa.table(
            {
                "line_no": pa.array([line[0] for line in lines], pa.int64()),
                "receiver": [line[1] for line in lines],
                "received_utc": pa.array([line[2] for line in lines], pa.timestamp("us")),
                "pass": pa.array([0] * len(lines), pa.int8()),
                "time_doubt": ["exact"] * len(lines),
            }
        )
        engine.create(con, "lineage", table)
        return [
            (b.receiver, b.line_no, b.before_utc, b.after_utc, b.lines)
            for b in order_breaks.find(con, "lineage", source_id=1)
        ]
    finally:
        con.close()


def walked(lines: list[Line]) -> list[tuple[str, int, datetime, datetime, int]]:
    """The same by hand: which way does the file run, then along it, receiver by receiver, the calm ones left out."""
    mine = {name: [line for line in lines if line[1] == name] for name in sorted({line[1] for line in lines})}
    pairs = [pair for own in mine.values() for pair in pairwise(own)]
    on, back = (sum(a[2] < b[2] for a, b in pairs), sum(a[2] > b[2] for a, b in pairs))
    breaks = []
    for name, own in mine.items():
        if all(max(line[2] for line in own[: i + 1]) - own[i][2] <= timedelta(minutes=5) for i in range(len(own))):
            continue
        way = own if on >= back else own[::-1]
        steps = [
            (name, b[0], a[2], b[2], i)
            for i, (a, b) in enumerate(pairwise(way), start=2)
            if a[2] - b[2] > timedelta(minutes=5)
        ]
        breaks += steps[: MOST + 1]
    return breaks


@settings(max_examples=120, deadline=None)
@given(walks)
def test_query_and_walk_agree(walk: list[tuple[str, int]]) -> None:
    lines = lines_of(walk)
    assert found(lines) == walked(lines)


@settings(max_examples=60, deadline=None)
@given(walks)
def test_a_file_read_from_its_end_has_the_same_steps(walk: list[tuple[str, int]]) -> None:
    lines = lines_of(walk)
    times = [line[1:] for line in lines]
    turned = [(number, *rest) for (number, *_), rest in zip(lines, reversed(times), strict=True)]
    assert found(turned) == walked(turned)
