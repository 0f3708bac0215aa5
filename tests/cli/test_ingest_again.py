"""``ingest --again`` from the command line: what it says, what it refuses, and that hostile text stays text."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.demo_station import called
from tests.reading.mended_layouts import DAY, log, written

# Codes of the trade's terminals (ECMA-48): clear the screen, set the window's title, ring the bell.
HOSTILE = "\x1b[2J\x1b]0;owned\x07\x9b31m"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A workspace whose layout is too strict for two of its lines."""
    said = called("init", str(tmp_path / "ws"), "--timezone", "America/New_York")
    assert said.code == 0, said.err
    ws = tmp_path / "ws"
    layout(ws, written())
    (ws / "exports").mkdir(exist_ok=True)
    lines = [*DAY[:3], "2026-11-02 08.00.00;x;7;E130", "2026-11-02 08.00.01;x;8;E130", f"{HOSTILE};nonsense"]
    (ws / "exports" / "night.log").write_bytes(log(*lines))
    said = called("ingest", str(ws / "exports"), "-w", str(ws))
    assert said.code == 0 and "3 lines could not be used; see: sigaudit rejects" in said.err
    return ws


def layout(ws: Path, text: str) -> None:
    (ws / "layouts" / "own.toml").write_text(text, encoding="utf-8", newline="\n")


def test_what_now_parses_is_added(folder):
    layout(folder, written(form="%Y-%m-%d %H.%M.%S"))
    said = called("ingest", "--again", "-w", str(folder))
    assert (said.code, said.out) == (0, "")
    assert said.err.splitlines()[-1] == (
        "1 files, rejects read again: 3 lines = 2 signals + 0 held already + 1 rejects + 0 skipped"
    )
    document = json.loads(called("ingest", "--again", "--json", "-w", str(folder)).out)
    (source,) = document["sources"]
    assert (source["state"], source["lines"], source["signals"], source["rejects"]) == ("again", 1, 0, 1)


def test_nothing_rejected_is_a_message_and_no_fault(folder):
    layout(folder, written(form="%Y-%m-%d %H.%M.%S"))
    (folder / "exports" / "night.log").write_bytes(log(*DAY))
    other = folder.parent / "other"
    assert called("init", str(other), "--timezone", "America/New_York").code == 0
    layout(other, written())
    assert called("ingest", str(folder / "exports"), "-w", str(other)).code == 0
    said = called("ingest", "--again", "-w", str(other))
    assert (said.code, said.err) == (0, "nothing is rejected, so there is nothing to read again\n")


@pytest.mark.parametrize("words", [["exports"], ["--max-rejects", "3"]])
def test_what_makes_no_sense_together_is_refused(folder, words):
    said = called("ingest", "--again", *words, "-w", str(folder))
    assert said.code == 2 and "cannot be given with it" in said.err


def test_without_a_store_there_is_nothing_to_read_again(tmp_path):
    assert called("init", str(tmp_path / "ws"), "--timezone", "America/New_York").code == 0
    said = called("ingest", "--again", "-w", str(tmp_path / "ws"))
    assert said.code == 6 and "no store" in said.err


def test_a_layout_that_is_gone_is_named(folder):
    (folder / "layouts" / "own.toml").unlink()
    said = called("ingest", "--again", "-w", str(folder))
    assert said.code == 4
    assert "error[layout-unknown]" in said.err and "no such layout any more" in said.err
