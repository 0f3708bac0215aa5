"""Frames read by the batch read as they do one by one; the frames are made by arithmetic of their own."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sigaudit.reading import decoding, layout_files
from sigaudit.reading.binding import Bound, bind
from sigaudit.reading.codes import dc09_many
from sigaudit.reading.codes.dc09_many import Plain, read_plain
from tests.reading.dc09_frames import crc_bit_by_bit, framed
from tests.reading.test_layout_frames import AT, EXAMPLES, LAYOUT

TIMES = ["", "_08:15:28,11-02-2026", "_08:15:28,02-29-2024", "_08:15:28,02-30-2026", "_24:00:00,01-01-2026", "_x"]
REGIONS = st.builds(
    '"{}"{}{}L{}#{}[{}]{}{}'.format,
    st.sampled_from(["ADM-CID", "SIA-DCS", "NULL", "*NULL", "ACK", "adm-cid", "XNM", "ADM-CI"]),
    st.sampled_from(["0000", "0001", "9999", "00A1", "123"]),
    st.sampled_from(["", "R", "R1", "RFFFFFF", "R1234567", "r1"]),
    st.sampled_from(["", "0", "1a", "789ABC"]),
    st.sampled_from(["1234", "12345A", "12", "0123456789ABCDEF", "g"]),
    st.one_of(
        st.sampled_from(
            [
                "", "#1234|1130 01 015", "#12345A|3401 00 B02", "1234|1130 01 015", "#1234|2130 01 015",
                "#1234|1130 1 015", "#1234|1A30 01 015",
                "|Nri1/BA01", "#1234|Nri2/ti08:14/BA015^HALL^/id007/OP", "#1234|NBA01/BR02|AHALL",
                "#1234|Xnothing", "Nonsense", "#1234|NFA129][M1234567890AB",
            ]
        ),
        st.text(st.characters(min_codepoint=32, max_codepoint=255, exclude_characters="\r\n\x85"), max_size=12),
    ),
    st.sampled_from(["", "[H08:14:00,11-02-2026]"]),
    st.sampled_from(TIMES),
)  # fmt: skip


@pytest.fixture(scope="module")
def bound(tmp_path_factory: pytest.TempPathFactory) -> Bound:
    path: Path = tmp_path_factory.mktemp("layout") / "frames.toml"
    path.write_text(LAYOUT, encoding="utf-8")
    return bind(layout_files.read(path), AT, chosen=True)


def batch(frames: list[bytes]) -> pa.RecordBatch:
    n = len(frames)
    text = [AT.decode() + frame.decode("latin-1") for frame in frames]
    return pa.record_batch(
        [list(range(n)), [0] * n, text, pa.nulls(n, pa.binary()), pa.nulls(n, pa.list_(pa.string())), [""] * n,
         [False] * n],
        schema=decoding.BATCH,
    )  # fmt: skip


def none_read(messages: pa.Array) -> Plain:
    empty = pa.array([""] * len(messages), pa.string())
    no = np.zeros(len(messages), dtype=bool)
    return Plain(no, no, *([empty] * 11))


def by_one(bound: Bound, frames: list[bytes]) -> pa.RecordBatch:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(dc09_many, "read_plain", none_read)
        return decoding.Decoder(bound, {})(batch(frames))


def test_every_example_reads_the_same_both_ways(bound: Bound) -> None:
    frames = [one["frame"].encode("latin-1").strip(b"\r\n") for one in EXAMPLES]
    frames = [frame for frame in frames if b"\n" not in frame]
    assert decoding.Decoder(bound, {})(batch(frames)).to_pylist() == by_one(bound, frames).to_pylist()


@settings(max_examples=150)
@given(st.lists(st.tuples(REGIONS, st.sampled_from(["", "", "", "crc", "length", "small"])), max_size=8))
def test_any_frames_read_the_same_both_ways(bound: Bound, given: list[tuple[str, str]]) -> None:
    frames = []
    for region, wrong in given:
        frame = framed(region.encode("latin-1")).strip(b"\r\n")
        if wrong == "crc":
            frame = b"0000" + frame[4:]
        elif wrong == "length":
            frame = frame[:4] + b"0FFF" + frame[8:]
        elif wrong == "small":
            frame = frame[:4].lower() + frame[4:]
        frames.append(frame)
    assert decoding.Decoder(bound, {})(batch(frames)).to_pylist() == by_one(bound, frames).to_pylist()


def test_ordinary_frames_are_read_by_the_batch() -> None:
    regions = [
        '"ADM-CID"0007R2L0#1234[#1234|3401 02 015]_08:15:28,11-02-2026', '"SIA-DCS"0008L0#1234[#1234|Nri1/BA01]',
        '"NULL"0000R2L0#1234[]',
    ]  # fmt: skip
    found = read_plain(pa.array([framed(region).decode().strip() for region in regions]))
    assert found.read.tolist() == [True] * 3
    assert found.blocks.tolist() == [False, True, False]


@given(st.lists(st.binary(min_size=1, max_size=60), min_size=1, max_size=20))
def test_check_sums_by_the_batch(texts: list[bytes]) -> None:
    """Against the bitwise definition of CRC-16/ARC."""
    regions = pa.array([text.hex() for text in texts])
    assert dc09_many._checks(regions).tolist() == [crc_bit_by_bit(text.hex().encode()) for text in texts]
