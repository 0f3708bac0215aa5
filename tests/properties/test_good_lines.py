"""A good line next to a bad one is never lost, whatever the bad one is made of and however the file is written."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sigaudit.errors import SigauditError
from tests.properties.test_pattern_properties import LAYOUT
from tests.reading.small_station import HEADER, Station

SETTINGS = settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
GOOD = {
    "plain": (HEADER, "2026-11-02T08:15:30,1,1,{},E130,01,001"),
    "printed": ("PAGE 1", "02.11.2026 08:15:30 1/1 {} E130 Z1"),
}


def outcome(layout: str, content: bytes) -> tuple[set[str], int]:
    """Accounts that were heard, and how many lines there were; that the sum closes is asserted on the way."""
    with tempfile.TemporaryDirectory() as folder:
        small = Station(Path(folder))
        (small.receivers.layouts_dir / "printed.toml").write_text(LAYOUT, encoding="utf-8", newline="\n")
        try:
            small.take(("a.log", content), layout_id=layout)
        except SigauditError as problem:
            # The head as a whole may be taken for something that is no text; nothing of it is then in the store.
            assert "no text" in problem.message or "NUL" in problem.message, problem.message
            return set(), -1
        (source,) = small.store.catalog.sources()
        return {account for (account,) in small.signals(["account"])}, source.lines


@pytest.mark.parametrize("layout", GOOD)
@SETTINGS
@given(st.lists(st.binary(max_size=40), max_size=6), st.sampled_from([b"\n", b"\r\n", b"\r"]))
def test_bytes_between_good_lines(layout, junk, end):
    # A quote may begin a field that runs over lines: that is tested in test_lines.py. CR ends lines only alone.
    bad = [one.translate(None, b"\n\r" + (b'"' if layout == "plain" else b"")) for one in junk]
    head, line = GOOD[layout]
    parts = [head.encode()]
    for i in range(60):
        parts += [line.format(i).encode(), *bad[i : i + 1]]
    heard, lines = outcome(layout, end.join(parts) + end)
    if lines >= 0:
        assert lines == len(parts)
        assert heard >= {str(i) for i in range(60)}


@pytest.mark.parametrize("layout", GOOD)
@SETTINGS
@given(
    st.lists(st.text(st.characters(exclude_characters='\n\r"', codec=None), max_size=20), max_size=6),
    st.sampled_from(["utf-16-le", "utf-16-be"]),
)
def test_text_and_halves_of_pairs_between_good_lines(layout, junk, encoding):
    head, line = GOOD[layout]
    parts = ["\ufeff" + head]
    for i in range(60):
        parts += [line.format(i), *junk[i : i + 1]]
    heard, lines = outcome(layout, "".join(f"{one}\n" for one in parts).encode(encoding, "surrogatepass"))
    assert lines == len(parts)
    assert heard >= {str(i) for i in range(60)}
