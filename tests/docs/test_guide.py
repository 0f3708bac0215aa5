"""DEVELOPERS.md and every hint in the program name things that exist."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from sigaudit.judging import checks, measures
from tests.cli.test_help import ALL

ROOT = Path(__file__).resolve().parents[2]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
# Texts in which somebody is told what to type.
TELLING = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    ROOT / "reports" / "README.md",
    ROOT / "data" / "demo" / "README.md",
    *sorted((ROOT / "sigaudit").rglob("*.py")),
    *sorted((ROOT / "sigaudit" / "data").rglob("*.toml")),
    *sorted((ROOT / "sigaudit" / "data").rglob("*.txt")),
    *sorted((ROOT / "queries").rglob("*.toml")),
]
COMMAND = re.compile(r"(?:`|\$ |: |next_step=f?\")sigaudit ([a-z][a-z-]*)(?: ([a-z][a-z-]*))?")


def test_paths_exist() -> None:
    words = re.findall(r"`([\w.-]+(?:/[\w.-]+)+/?)`", GUIDE)
    placeholders = [word for word in words if "ID" not in word and "layouts/" not in word[:8]]
    assert len(placeholders) > 30
    ignored = ("group/account",)
    missing = [word for word in placeholders if word not in ignored and not (ROOT / word).exists()]
    assert missing == []


def test_the_drawing_of_the_house_is_the_house() -> None:
    drawing = GUIDE[GUIDE.index("```text\nsigaudit/") : GUIDE.index("Imports run one way")]
    for name in re.findall(r"^  (\w+\.py|\w+/)(?:  (\w+\.py|\w+/))*", drawing, re.MULTILINE):
        for part in filter(None, name):
            assert (ROOT / "sigaudit" / part).exists() or (ROOT / "queries" / part).exists(), part


def test_tables_of_a_check_are_those_it_may_read() -> None:
    text = GUIDE[GUIDE.index("## What a check may read") : GUIDE.index("**The row contract.**")]
    rows = re.findall(r"^\| (`.+?) \| ", text, re.MULTILINE)
    named = {word for row in rows for word in re.findall(r"`(\w+)`", row)}
    assert named == {*measures.ROSTER, *measures.KEPT, *checks.STATION_TABLES}


def test_the_row_contract_is_the_one_held() -> None:
    text = GUIDE[GUIDE.index("**The row contract.**") : GUIDE.index("## Recipes")]
    rows = re.findall(r"^\| (`.+?) \| ", text, re.MULTILINE)
    named = [word for row in rows for word in re.findall(r"`(\w+)`", row)]
    assert named == [*checks.REQUIRED.names, *checks.OPTIONAL.names]


def test_recipes_are_short() -> None:
    text = GUIDE[GUIDE.index("## Recipes") : GUIDE.index("## Where the code differs")]
    recipes = re.split(r"^### ", text, flags=re.MULTILINE)[1:]
    assert [recipe.splitlines()[0] for recipe in recipes] == ["Add a check", "Add a layout", "Change a limit"]
    assert all(3 <= len(re.findall(r"^\d+\. ", recipe, re.MULTILINE)) <= 8 for recipe in recipes)


@pytest.mark.parametrize("path", TELLING, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_commands_told_exist(path: Path) -> None:
    groups = {words[0] for words in ALL if len(words) > 1}
    unknown = [
        f"sigaudit {first} {second}".strip()
        for first, second in COMMAND.findall(path.read_text(encoding="utf-8"))
        if (first, second) not in ALL and ((first,) not in ALL or first in groups)
    ]
    assert unknown == []


def test_the_changelog_puts_changed_findings_first() -> None:
    text = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    for version in re.split(r"^## ", text, flags=re.MULTILINE)[1:]:
        headings = re.findall(r"^### (.+)$", version, re.MULTILINE)
        assert headings[0] == "Findings that will change"
        assert set(headings) <= {"Findings that will change", "New", "Fixed", "Removed"}
