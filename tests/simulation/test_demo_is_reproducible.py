"""The committed demo is what the generator writes, byte for byte (gzip files: what they hold)."""

from __future__ import annotations

import csv
import gzip
from pathlib import Path

import pytest

from tests.simulation.build import build

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
BY_HAND = {"README.md"}


def contents(folder: Path) -> dict[str, bytes]:
    """Relative name -> content, decompressed: another zlib may press the same bytes otherwise."""
    found = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and name not in BY_HAND:
            data = path.read_bytes()
            found[name] = gzip.decompress(data) if path.suffix == ".gz" else data
    return found


@pytest.fixture(scope="module")
def rebuilt(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("demo")
    build(folder)
    return contents(folder)


def test_every_committed_file_is_rebuilt_unchanged(rebuilt: dict[str, bytes]) -> None:
    committed = contents(DEMO)
    assert sorted(committed) == sorted(rebuilt)
    assert [name for name in committed if committed[name] != rebuilt[name]] == []


def test_gzip_files_carry_no_time_of_writing() -> None:
    for path in DEMO.rglob("*.gz"):
        # RFC 1952 section 2.3: bytes 5 to 8 are the modification time, 0 for none
        assert path.read_bytes()[4:8] == b"\0\0\0\0", path.name


def test_line_sums_are_the_lines_of_the_files(rebuilt: dict[str, bytes]) -> None:
    text = rebuilt["lines_truth.csv"].decode("utf-8").splitlines()
    for row in csv.DictReader(text):
        content = rebuilt[f"exports/{row['file']}"]
        lines = content.count(b"\n") + (not content.endswith(b"\n"))
        parts = sum(int(row[name]) for name in ("signals", "repeats", "rejects", "skipped"))
        assert lines == int(row["lines"]) == parts, row["file"]


def test_whole_demo_stays_small() -> None:
    total = sum(path.stat().st_size for path in DEMO.rglob("*") if path.is_file())
    assert total < 3_000_000
