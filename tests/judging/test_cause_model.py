"""The cause file is refused whole, with the line, when a name or a number in it cannot be."""

from __future__ import annotations

from pathlib import Path

import pytest

from sigaudit.errors import CheckFaulty
from sigaudit.judging.cause_model import MAIN, MEASURED, Reading, read

CHECKS = ("gone_silent", "test_overdue", "account_near_miss")
TEXT = """
[standings]
practice = "common practice, no source"
simulator = "measured on the simulator"

[groups]
silence = ["gone_silent", "test_overdue"]

[leak]
gone_silent = [0.01, "practice"]
test_overdue = [0.02, "practice"]
account_near_miss = [0.005, "practice"]

[[cause]]
id = "account_mistyped"
title = "Account number mistyped"
says = "The number programmed is not the one given."
sits = "panel programming"
action = "remote"
base = [0.004, "practice"]
pair = ["roster_wrong"]
field_check = "Read the number in the panel."
fix = "Program the number that was given."
apart = { roster_wrong = "the number programmed is the one on the order" }
fires = { gone_silent = [0.5, "practice"], account_near_miss = [0.7, "practice"] }

[[cause]]
id = "roster_wrong"
title = "Roster wrong"
says = "The desk typed another number than the site has."
sits = "station data entry"
action = "desk"
base = [0.002, "practice"]
where = ["on_roster"]
field_check = "Compare roster and order."
fix = "Correct the roster."
fires = { gone_silent = [0.5, "practice"] }
"""


def written(folder: Path, text: str = TEXT, measured: str = "") -> Reading:
    (folder / MAIN).write_text(text, encoding="utf-8", newline="\n")
    if measured:
        (folder / MEASURED).write_text(measured, encoding="utf-8", newline="\n")
    found = read(folder, CHECKS)
    assert found is not None
    return found


def test_a_folder_without_the_file_names_no_causes(tmp_path: Path) -> None:
    assert read(tmp_path, CHECKS) is None


def test_numbers_groups_and_pairs(tmp_path: Path) -> None:
    model = written(tmp_path).model
    assert model.checks == ("gone_silent", "test_overdue", "account_near_miss")
    assert model.observations[0] == ("silence", ("gone_silent", "test_overdue"))
    mistyped, roster = model.causes
    assert (mistyped.base.value, mistyped.base.standing, mistyped.base.where) == (0.004, "practice", "causes.toml:20")
    assert mistyped.pair == ("roster_wrong",) and roster.pair == ("account_mistyped",)
    assert roster.where == ("on_roster",)


def test_measured_numbers_win_and_the_reference_stays(tmp_path: Path) -> None:
    measured = """
[leak]
gone_silent = 0.004
[[cause]]
id = "account_mistyped"
fires = { gone_silent = [0.61, "simulator"] }
[fires.roster_wrong]
test_overdue = 0.4
"""
    found = written(tmp_path, measured=measured)
    assert found.model.leak["gone_silent"].value == 0.004
    assert found.model.causes[0].fires["gone_silent"].value == 0.61
    assert found.model.causes[0].fires["account_near_miss"].value == 0.7
    assert found.model.causes[1].fires["test_overdue"].standing == "simulator"
    assert found.reference.leak["gone_silent"].value == 0.01
    assert found.reference.causes[0].fires["gone_silent"].value == 0.5
    assert TEXT in found.text and measured in found.text


@pytest.mark.parametrize(
    ("old", "new", "line", "word"),
    [
        ("base = [0.004,", "base = [0.7,", 20, "base = 0.7: expected 1e-06 to 0.5"),
        ('[0.7, "practice"]', '[0.99, "practice"]', 25, "0.99: expected 0.02 to 0.98"),
        ('[0.7, "practice"]', '["much", "practice"]', 25, "expected a number and its standing"),
        ('gone_silent = [0.01, "practice"]', 'gone_silent = [0.01, "practise"]', 10, "no standing 'practise'"),
        ('"gone_silent", "test_overdue"', '"gone_silent", "test_overdu"', 7, "(nearest: test_overdue)"),
        ('"gone_silent", "test_overdue"', '"gone_silent", "gone_silent"', 7, "stands in a group twice"),
        ('action = "remote"', 'action = "phone"', 19, "action = 'phone'"),
        ('sits = "panel programming"', 'sits = "panel"', 18, "sits = 'panel'"),
        ('where = ["on_roster"]', 'where = ["roster"]', 34, "no trait 'roster'"),
        ('pair = ["roster_wrong"]', 'pair = ["roster"]', 21, "pair of account_mistyped: no other cause 'roster'"),
        ('id = "roster_wrong"', 'id = "account_mistyped"', 28, "second time"),
        ('fix = "Correct the roster."', 'fixes = "Correct the roster."', 36, "missing: fix; unknown: fixes"),
        ('account_near_miss = [0.005, "practice"]\n', "", 24, "account_near_miss has no leak"),
        ("[standings]", "[standing]", 2, "unknown table 'standing'"),
    ],
)  # fmt: skip
def test_a_faulty_file_is_refused_with_its_line(tmp_path: Path, old: str, new: str, line: int, word: str) -> None:
    assert old in TEXT
    with pytest.raises(CheckFaulty) as caught:
        written(tmp_path, TEXT.replace(old, new, 1))
    assert caught.value.message.startswith(f"causes.toml, line {line}: "), caught.value.message
    assert word in caught.value.message
    assert caught.value.next_step


def test_no_toml_is_said(tmp_path: Path) -> None:
    with pytest.raises(CheckFaulty, match="cannot be read as TOML"):
        written(tmp_path, "[[cause]\n")


@pytest.mark.parametrize(
    ("text", "word"),
    [('[[cause]]\nid = "roster"\nfires = {}\n', "no cause 'roster'"), ("[leak]\nnever_heard = 0.1\n", "no leak of"),
     ("[fires.roster_wrong]\ngone_silent = 0.001\n", "expected 0.02 to 0.98")],
)  # fmt: skip
def test_measured_numbers_of_nothing_known_are_refused(tmp_path: Path, text: str, word: str) -> None:
    with pytest.raises(CheckFaulty) as caught:
        written(tmp_path, measured=text)
    assert caught.value.message.startswith("causes_measured.toml, line ") and word in caught.value.message
