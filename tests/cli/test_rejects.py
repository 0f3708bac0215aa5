"""``rejects``: the lines that could not be used as a list of work, in any terminal."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sigaudit.door.rejecting import NEXT
from sigaudit.reading.parse import REASONS
from tests.demo_station import called
from tests.reading.mended_layouts import DAY, log, written

# Control functions of terminals (ECMA-48) and an override of the writing direction (Unicode, UAX 9).
HOSTILE = "\x1b[2J\x1b]0;owned\x07\x9b31m\u202e"
LONG = "x" * 5000


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    ws = tmp_path / "ws"
    assert called("init", str(ws), "--timezone", "America/New_York").code == 0
    (ws / "layouts" / "own.toml").write_text(written(), encoding="utf-8", newline="\n")
    exports = ws / "exports"
    exports.mkdir(exist_ok=True)
    dotted = [line.replace(":", ".") for line in DAY[:5]]
    (exports / "b.log").write_bytes(log(DAY[0], *dotted, f"{HOSTILE};nonsense", DAY[1]))
    (exports / "a.log").write_bytes(log(DAY[7], LONG, ";;;"))
    plain = b"received_at,account,event\n2026-11-02T08:00:00,1,E130\n8h,1,E130\n"
    (exports / "c.csv").write_bytes(plain)
    assert called("ingest", str(exports), "-w", str(ws)).code == 0
    return ws


def test_a_list_of_work(folder):
    said = called("rejects", "-w", str(folder))
    assert said.code == 0 and said.err == "9 lines of 3 exports could not be used; they are kept\n"
    exports = (folder / "exports").as_posix()
    text = said.out.splitlines()
    assert text[:4] == [
        f"{exports}/a.log: 1 time_missing, line 4",
        f"  {REASONS['time_missing']}",
        "  a.log:4  ;;;",
        "  next: in layout own, see whether time.column is right; a line without a time stays rejected; "
        "then: sigaudit ingest --again",
    ]
    assert text[6] == f"  a.log:3  {'x' * 100} ... (4900 more)"
    at = text.index(f"{exports}/b.log: 5 time_unreadable, lines 3 to 7")
    assert text[at + 2 : at + 5] == [f"  b.log:{n}  2026-11-02 0{n - 3}.00.00;quiet;{997 + n};E602" for n in (3, 4, 5)]
    assert text[at + 5].startswith("  next: ")  # three samples, not five
    assert "in a layout of your own" in text[-1]
    assert said.out == called("rejects", "-w", str(folder)).out


@pytest.mark.parametrize("words", [[], ["--limit", "50"], ["--reason", "too_few_fields"]])
def test_hostile_lines_are_written_out(folder, words):
    said = called("rejects", *words, "-w", str(folder))
    assert r"\x1b[2J\x1b]0;owned\x07\x9b31m\x202e;nonsense" in said.out
    assert all(ch == "\n" or ch.isprintable() for ch in said.out + said.err)


def test_hostile_names_are_written_out(folder):
    name = "night\x1b[2J.log"
    (folder / "exports" / name).write_bytes(log(DAY[9], "nonsense"))
    for words in (["ingest", str(folder / "exports")], ["rejects"], ["rejects", "--limit", "50"]):
        said = called(*words, "-w", str(folder))
        assert said.code == 0
        assert r"night\x1b[2J.log" in said.out + said.err
        assert all(ch == "\n" or ch.isprintable() for ch in said.out + said.err)


def test_json_says_the_same_in_full(folder):
    document = json.loads(called("rejects", "--limit", "2", "--json", "-w", str(folder)).out)
    found = {(Path(row["source"]).name, row["reason"]): row for row in document["rejects"]}
    assert set(found) == {
        ("a.log", "time_missing"), ("a.log", "too_few_fields"), ("b.log", "time_unreadable"),
        ("b.log", "too_few_fields"), ("c.csv", "time_unreadable"),
    }  # fmt: skip
    row = found["b.log", "time_unreadable"]
    assert (row["n"], row["first_line"], row["last_line"], row["layout"]) == (5, 3, 7, "own")
    assert found["a.log", "too_few_fields"]["samples"] == [{"line_no": 3, "raw": LONG}]
    assert found["b.log", "too_few_fields"]["samples"][0]["raw"] == f"{HOSTILE};nonsense"
    assert [(Path(line["source"]).name, line["line_no"]) for line in document["lines"]] == [("a.log", 3), ("a.log", 4)]


def test_one_reason_or_one_export_only(folder):
    listed = called("rejects", "--reason", "time_unreadable", "--limit", "9", "-w", str(folder)).out
    assert listed.count("time_unreadable") == len(listed.splitlines()) == 6
    listed = called("rejects", "--source", "b.log", "--limit", "2", "-w", str(folder)).out
    assert [line.split("  ")[0].rpartition("/")[2] for line in listed.splitlines()] == ["b.log:3", "b.log:4"]
    said = called("rejects", "--reason", "ugly", "-w", str(folder))
    assert said.code == 2 and "reasons are too_few_fields" in said.err
    said = called("rejects", "--source", "z.log", "-w", str(folder))
    assert said.code == 2 and "with rejects are: a.log, b.log, c.csv" in said.err


def test_nothing_rejected(folder):
    said = called("rejects", "--source", "c.csv", "--reason", "no_match", "-w", str(folder))
    assert (said.code, said.out) == (0, "")
    assert said.err == "0 lines of 0 exports could not be used; they are kept\n"


def test_there_is_something_to_do_about_every_reason():
    frames = {reason for reason in REASONS if reason.startswith("frame_")}
    assert set(REASONS) - frames <= set(NEXT) <= set(REASONS)
