"""Bytes to numbered lines: against Python's own bytes.split and hashlib."""

from __future__ import annotations

import gzip
import hashlib
from pathlib import Path

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sigaudit.errors import InputProblem, NothingToRead, TextUndecodable
from sigaudit.reading.lines import Digests, Lines, head_of
from sigaudit.reading.records import Dialect, Records

ALPHABET = st.sampled_from([b"a", b"\n", b"\r", b"\xff", b",", b'"', b"\0", "é".encode()])


def write(folder: Path, content: bytes, name: str = "x.log") -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


@settings(max_examples=300, deadline=None)
@given(st.lists(ALPHABET, max_size=60).map(b"".join), st.sampled_from([1, 3, 7, 1 << 20]))
def test_lines_are_those_of_split_whatever_the_block(tmp_path_factory, content, block):
    path = write(tmp_path_factory.getbasetemp(), content)
    if content[:-1].count(b"\r") - content.count(b"\r\n") > 9 * content.count(b"\n"):
        content = content.replace(b"\r", b"\n")  # line ends are CR alone, or nearly all
    lines = Lines(path, "x", block=block)
    raw, offsets = [], []
    for part in lines:
        assert part.first_line == len(raw) + 1
        raw += part.raw.to_pylist()
        offsets += part.byte_off.tolist()
    expected = content.split(b"\n")
    cut = expected[-1] != b""
    expected = expected if cut else expected[:-1]
    assert raw == [line.removesuffix(b"\r") for line in expected]
    assert offsets == [sum(len(line) + 1 for line in expected[:i]) for i in range(len(expected))]
    assert lines.unterminated == cut
    assert lines.crlf + lines.lf == content.count(b"\n")
    assert lines.digests.hexdigest() == hashlib.sha256(content).hexdigest()


@pytest.mark.parametrize("name", ["x.log", "x.log.gz", "x.log.zst"])
def test_compressed_content_is_the_same_content(tmp_path, name):
    content = b"\xef\xbb\xbfone\r\ntwo\n\nlast"
    packed = {".log": content, ".gz": gzip.compress(content[:9]) + gzip.compress(content[9:])}
    packed[".zst"] = pa.compress(content, codec="zstd", asbytes=True)
    path = write(tmp_path, packed[Path(name).suffix], name)
    lines = Lines(path, name, digests=Digests(wanted=[5]))
    found = [line for block in lines for line in block.raw.to_pylist()]
    assert found == [b"one", b"two", b"", b"last"]
    assert lines.bom and lines.crlf == 1 and lines.lf == 2
    assert lines.digests.hexdigest() == hashlib.sha256(content).hexdigest()
    assert lines.digests.found == {5: hashlib.sha256(content[:5]).hexdigest()}


def test_truncated_gz_is_one_sentence(tmp_path):
    path = write(tmp_path, gzip.compress(b"x\n" * 100_000)[:-20], "night.gz")
    with pytest.raises(InputProblem, match=r"night.gz: the compressed file is damaged or cut off"):
        list(Lines(path, "night.gz"))


@pytest.mark.parametrize(
    ("content", "error", "words"),
    [
        (b"", NothingToRead, "empty"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(range(256)) * 8, InputProblem, "no text"),
        ("received_at".encode("utf-16-le"), TextUndecodable, "UTF-16 without its mark"),
    ],
)
def test_what_is_no_log_is_refused(tmp_path, content, error, words):
    with pytest.raises(error, match=words):
        head_of(write(tmp_path, content), "x.log")


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(NothingToRead):
        head_of(tmp_path / "no.log", "no.log")
    with pytest.raises(InputProblem):
        head_of(tmp_path, "folder")


def records(folder: Path, content: bytes, block: int, **dialect: object) -> tuple[list[dict[str, object]], Records]:
    found = Records(Lines(write(folder, content), "x", block=block), Dialect(**dialect))  # type: ignore[arg-type]
    return [row for batch in found for row in batch.to_pylist()], found


@pytest.mark.parametrize("block", [1, 4, 1 << 20])
def test_quoted_line_breaks_stay_in_one_record(tmp_path, block):
    content = b'a,b\r\n"x\r\ny, ""z""",2\n1,2\n"open,3\n4,5\n'
    rows, found = records(tmp_path, content, block, fields=(2, 2))
    assert [(row["line_no"], row["raw"], row["cells"], row["fault"]) for row in rows] == [
        (1, "a,b", None, ""),
        (2, '"x\r\ny, ""z""",2', ["x\r\ny, " + '"z"', "2"], ""),
        (4, "1,2", None, ""),
        (5, '"open,3', None, "quote_unclosed"),
        (6, "4,5", None, ""),
    ]
    assert found.count == 5
    assert (found.open_line, found.open_byte) == (5, content.index(b'"open'))


def test_undecodable_line_keeps_its_bytes_and_the_others_are_read(tmp_path):
    content = "één\n".encode() + b"\xe9\x81n\n" + b"caf\xe9\n"
    rows, _ = records(tmp_path, content, 1 << 20, encodings=("utf-8", "cp1252"))
    assert [(row["raw"], row["fault"], row["raw_bytes"]) for row in rows] == [
        ("één", "", None),
        ("\\xe9\\x81n", "undecodable", b"\xe9\x81n"),  # 0x81 is no character of Windows-1252
        ("café", "", None),
    ]
