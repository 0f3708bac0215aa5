"""The README says what the program does: its tables are the program's own, its walk is walked here."""

from __future__ import annotations

import os
import re
import shlex
import shutil
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from sigaudit import errors
from sigaudit.judging.cards import read_all
from sigaudit.reading import roster_columns
from sigaudit.reading.layouts import FIELDS
from sigaudit.reading.parse import REASONS
from sigaudit.settings_keys import KEYS, TABLES
from sigaudit.store import shipped, views
from tests.cli.test_help import ALL
from tests.demo_station import DemoStation, called

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
WEEK = "2026-W47"


def section(title: str) -> str:
    """Text under a heading, up to the next heading of its level or above."""
    found = re.search(rf"^(#+) {re.escape(title)}$", README, re.MULTILINE)
    assert found, f"README has no heading {title!r}"
    rest = README[found.end() :]
    end = re.search(rf"^#{{1,{len(found[1])}}} ", rest, re.MULTILINE)
    return rest[: end.start()] if end else rest


def cells(title: str, column: int = 0) -> list[str]:
    """A column of the first table under a heading."""
    rows = re.findall(r"^\|(.+)\|$", section(title), re.MULTILINE)[2:]
    return [row.split(" | ")[column].strip() for row in rows]


def coded(texts: list[str]) -> list[str]:
    """Every word in backticks."""
    return [word for text in texts for word in re.findall(r"`([^`]+)`", text)]


def fences() -> Iterator[tuple[str, str, str]]:
    """(language, text before it on the same paragraph, content) of every fenced block."""
    for found in re.finditer(r"^```(\w+)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL):
        before = README[: found.start()].rstrip().rpartition("\n\n")[2]
        yield found[1], before, found[2]


def test_it_opens_with_the_job() -> None:
    title, first, *_ = README.split("\n\n")
    assert title == "# sigaudit"
    for word in ("monitoring supervisor", "receiver", "roster", "week", "log lines"):
        assert word in first


def test_checks_are_those_there_are() -> None:
    cards = read_all(shipped.queries() / "checks")
    questions = dict(zip(coded(cells("What it checks")), cells("What it checks", 1), strict=True))
    assert questions == {card.id: card.question for card in cards.values()}


def test_commands_are_those_there_are() -> None:
    named = {" ".join(re.findall(r"^[a-z-]+(?: (?:show|test|guess))?", word)) for word in coded(cells("Commands"))}
    assert named == {" ".join(path) for path in ALL}


def test_exit_codes_are_those_of_the_family() -> None:
    family = {v.exit_code for v in vars(errors).values() if isinstance(v, type) and issubclass(v, errors.SigauditError)}
    assert {int(cell) for cell in cells("Exit codes")} == family | {0, 20, 130}


def test_settings_are_those_there_are() -> None:
    assert set(coded(cells("Settings"))) == {entry.name for entry in (*KEYS, *TABLES)}


def test_reject_reasons_are_those_there_are() -> None:
    reasons = dict(zip(coded(cells(TITLE_REASONS)), cells(TITLE_REASONS, 1), strict=True))
    assert reasons == REASONS


TITLE_REASONS = "Reasons for which a line is rejected"


def test_fields_of_a_layout_are_those_there_are() -> None:
    text = section("Layout files")
    assert set(coded([text[text.index("Fields:") : text.index("Exactly one layout")]])) == set(FIELDS)


def test_roster_columns_are_those_there_are() -> None:
    sheets = dict(zip(coded(cells("The roster")), cells("The roster", 1), strict=True))
    known = {sheet: set(columns) for sheet, columns in template_columns().items()}
    assert {sheet: set(coded([text])) for sheet, text in sheets.items()} == known


def template_columns() -> dict[str, list[str]]:
    """Columns of the sheets that ``init`` puts into a workspace."""
    folder = shipped.data() / "workspace" / "roster"
    return {path.stem: path.read_text(encoding="utf-8").strip().split(",") for path in folder.glob("*.csv")}


def test_roster_words_are_those_there_are() -> None:
    text = section("The roster")
    for word in (*roster_columns.STATUSES, *roster_columns.SYSTEM_TYPES, *roster_columns.PATH_KINDS):
        assert word in text


def test_views_are_those_there_are(demo_station: DemoStation) -> None:
    named = coded(cells("Views of `sql`"))
    assert set(named) == set(views.definitions(demo_station.store()))


def test_columns_of_views_exist(demo_station: DemoStation) -> None:
    for names, text in zip(cells("Views of `sql`"), cells("Views of `sql`", 1), strict=True):
        columns = {word for word in coded([text]) if re.fullmatch(r"[a-z_0-9]+", word)}
        for view in coded([names]):
            found = set(demo_station.sql(f"select * from {view} limit 0").column_names)
            assert columns <= found, (view, columns - found)


def test_the_test_command_is_what_the_reviewer_runs() -> None:
    """``.ci/run`` ends with exactly the README's test command, every skip turned into a failure."""
    install = next(text for language, _, text in fences() if language == "sh" and "pytest" in text)
    command = install.strip().rpartition(" && ")[2]
    last = (ROOT / ".ci" / "run").read_text(encoding="utf-8").strip().splitlines()[-2:]
    assert last == ["export SIGAUDIT_TEST_ALL=1", command]
    assert os.access(ROOT / ".ci" / "run", os.X_OK) or os.name == "nt"


def test_the_walk_is_walked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every file and command of the ten minutes, in order, in an empty folder.

    The export's first lines are those of the README; two weeks of the same shape follow, in which account
    0042 stops for good on Wednesday of W47. Its last audit must say so.
    """
    monkeypatch.chdir(tmp_path)
    finding = ""
    walk = section("Ten minutes: from an export and a spreadsheet to a weekly audit")
    steps = re.findall(r"((?:[^\n]+\n)+)\n```(\w+)\n(.*?)```", walk, re.DOTALL)
    assert len(steps) > 10
    for before, language, text in steps:
        if language == "console":
            for line in text.splitlines():
                words = shlex.split(line.removeprefix("$ ").replace("FINDING", finding))
                if words[0] == "cd":
                    monkeypatch.chdir(words[1])
                    continue
                said = called(*words[1:])
                assert said.code in ((0, 20) if "--fail-on" in words else (0,)), f"{line}\n{said.err}"
                if words[1] == "audit":
                    finding = silent_account()
        elif language == "python":
            monkeypatch.chdir(tmp_path)
            spoken: dict[str, object] = {}
            exec(compile(text, "README.md", "exec"), spoken)
            assert len(spoken["findings"]) and len(spoken["signals"])  # type: ignore[arg-type]
            monkeypatch.chdir(tmp_path / "my-station")
        else:
            path = Path(re.findall(r"`([a-z_]+/[a-z_]+\.[a-z]+)`", before)[-1])
            path.parent.mkdir(exist_ok=True)
            path.write_text(more(text) if language == "text" else text, encoding="utf-8", newline="\n")


def more(begin: str) -> str:
    """The export: the README's header, then two weeks before its first line and the week after it."""
    header = begin.splitlines()[0]
    at, lines = datetime(2026, 11, 2, 2, 0, 5), []
    while at < datetime(2026, 11, 23):
        if at < datetime(2026, 11, 18, 12):
            lines.append((at, "1;2;0042;1;602;00;000"))
        lines.append((at + timedelta(hours=4), "1;2;0117;1;602;00;000"))
        for minute in range(30, 24 * 60, 90):  # a neighbour that opens and closes keeps the line talking
            lines.append((at + timedelta(minutes=minute), "1;2;0117;1;401;01;003"))
        at += timedelta(days=1)
    rows = [f"{when:%m/%d/%Y %H:%M:%S};{rest}" for when, rest in sorted(lines) if when < datetime(2026, 11, 23)]
    return "\n".join([header, *rows, ""])


def silent_account() -> str:
    findings = DemoStation(Path.cwd(), {}).run(WEEK).table("findings").to_pylist()
    found = [f["finding_id"] for f in findings if f["account"] == "0042" and f["severity"] in ("critical", "major")]
    assert found, [(f["account"], f["check"]) for f in findings]
    assert "0042" in (Path("reports") / f"audit-{WEEK}" / "unprotected.csv").read_text(encoding="utf-8")
    return str(found[0])


def test_first_lines_of_the_export_are_read_by_the_layout(tmp_path: Path) -> None:
    station = tmp_path / "station"
    assert called("init", str(station), "--timezone", "America/New_York").code == 0
    blocks = list(fences())
    layout = next(text for language, before, text in blocks if language == "toml" and "our_export" in before)
    export = next(text for language, before, text in blocks if language == "text" and "night.txt" in before)
    (station / "layouts" / "our_export.toml").write_text(layout, encoding="utf-8", newline="\n")
    (tmp_path / "night.txt").write_text(export, encoding="utf-8", newline="\n")
    said = called("ingest", str(tmp_path / "night.txt"), "-w", str(station))
    assert said.code == 0, said.err
    assert "4 lines = 3 signals + 0 held already + 0 rejects + 1 skipped" in said.err
    shutil.rmtree(station)
