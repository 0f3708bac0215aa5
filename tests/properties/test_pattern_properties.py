"""What must hold for any exports holds for pattern layouts too: order, repetition, splitting and growth."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests.properties.test_ingest_properties import FOLD_NIGHT, PLAIN_NIGHT, ZONE, slices, steps
from tests.reading.small_station import CONTENT, Station

LAYOUT = r"""
id = "printed"
kind = "pattern"
[text]
ignore = ['^PAGE [0-9]+']
[pattern]
line = '(?P<date>\S+) (?P<time>\S+) (?P<receiver>\d)/(?P<line>\d) (?P<account>\d+) (?P<event>\w{4})(?: Z(?P<zone>\d+))?'
[recognise]
first_line = '^PAGE 1'
[time]
format = "%d.%m.%Y %H:%M:%S"
timezone = "station"
"""
HEAD = b"PAGE 1\r\n"
SETTINGS = settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def printed(given_steps, start=PLAIN_NIGHT, unit=1):
    lines, at = [], start
    for i, (step, account, event) in enumerate(given_steps):
        at += timedelta(seconds=step * unit)
        lines.append(f"{at.astimezone(ZONE):%d.%m.%Y %H:%M:%S} 1/1 {account} {event} Z1")
        lines += [["PAGE 2"], ["JAM 0"], [], []][i % 4]
    return lines


def content(lines):
    return HEAD + "".join(f"{line}\r\n" for line in lines).encode()


def station():
    folder = tempfile.TemporaryDirectory()
    small = Station(Path(folder.name))
    (small.receivers.layouts_dir / "printed.toml").write_text(LAYOUT, encoding="utf-8", newline="\n")
    return folder, small


def ingested(batches):
    folder, small = station()
    with folder:
        for batch in batches:
            small.take(*batch)
        return small.signals(), small.origins(), small.rejects()


@SETTINGS
@given(steps, slices, st.randoms(use_true_random=False), st.sampled_from([(PLAIN_NIGHT, 1), (FOLD_NIGHT, 700)]))
def test_file_order_and_repetition_do_not_matter(s, spans, random, night):
    lines = printed(s, *night)
    files = [(f"f{i}.prn", content(lines[a : a + n])) for i, (a, n) in enumerate(spans)]
    shuffled = files[:]
    random.shuffle(shuffled)
    together = ingested([files])
    assert ingested([[file] for file in shuffled]) == together
    assert ingested([files, shuffled, files]) == together


@SETTINGS
@given(steps, st.integers(0, 20))
def test_split_file_is_the_whole_file(s, at):
    lines = printed(s)
    first, second = content(lines[:at]), content(lines[at:])
    # Two parts with the same bytes, or one that begins with the other, cannot be told from a file sent twice.
    assume(at == 0 or not lines[at:] or not (first.startswith(second) or second.startswith(first)))
    whole, _, _ = ingested([[("whole.prn", content(lines))]])
    parts, _, _ = ingested([[("a.prn", first)], [("b.prn", second)]])
    edge = CONTENT.index("edge_doubt")
    assert sorted(r[:edge] + r[edge + 1 :] for r in parts) == sorted(r[:edge] + r[edge + 1 :] for r in whole)


@SETTINGS
@given(
    steps,
    st.lists(st.integers(0, 10_000), min_size=1, max_size=4),
    st.sampled_from([(PLAIN_NIGHT, 1), (FOLD_NIGHT, 600)]),
)
def test_grown_in_pieces_is_one_shot(s, cuts, night):
    whole = content(printed(s, *night))
    ends = [*sorted({len(HEAD) + c % max(1, len(whole) - len(HEAD)) for c in cuts}), len(whole)]

    def grown(ends):
        folder, small = station()
        with folder:
            for end in ends:
                small.take(("night.prn", whole[:end]))
            (source,) = small.store.catalog.sources()
            assert source.lines == whole.count(b"\n")
            return (
                small.signals([*CONTENT, "source_id", "line_no"]), small.origins(), small.rejects(),
                replace(source, name=""), small.store.catalog.source_lines(),
            )  # fmt: skip

    assert grown(ends) == grown([len(whole)])
