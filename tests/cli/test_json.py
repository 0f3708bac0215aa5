"""``--json`` gives one document that any parser takes, with its version, and nothing else on stdout."""

from __future__ import annotations

import gzip
import json
import shutil
from pathlib import Path
from typing import Any, NoReturn

import pytest

from tests.cli.test_help import ALL
from tests.demo_station import DEMO, DemoStation, called

WEEK = "2026-W47"
WORDS = {
    ("ingest",): [str(DEMO / "exports")],
    ("roster",): ["ROSTER"],
    ("status",): [],
    ("audit",): ["--week", WEEK],
    ("revisit",): ["--week", WEEK],
    ("health",): ["--month", "2026-10", "--dealer", "Dealer Elm"],
    ("send",): ["--month", "2026-10", "--dealer", "Dealer Elm"],
    ("site",): ["0490", "--week", WEEK],
    ("why",): ["FINDING"],
    ("checks",): ["gone_silent"],
    ("causes",): ["--week", WEEK],
    ("patterns",): ["--week", WEEK],
    ("set-aside",): [],
    ("rejects",): [],
    ("sql",): ["select account, count(*) as n, 'NaN'::double as odd from events group by account order by 1 limit 3"],
    ("line-load",): ["--from", "2026-11-16"],
    ("what-if",): ["--edition", "nfpa72-2013"],
    ("settings", "show"): [],
    ("layouts", "test"): [],
    ("layouts", "guess"): [str(min((DEMO / "exports").iterdir()))],
}
# init makes a workspace instead of reading one; its document has a test of its own below.
ANSWERING = {path for path, command in ALL.items() if any(p.name == "json" for p in command.params)} - {("init",)}


@pytest.fixture(scope="module")
def station(demo_station: DemoStation, tmp_path_factory: pytest.TempPathFactory) -> DemoStation:
    """A copy of the demo that these tests may write to."""
    folder = tmp_path_factory.mktemp("json") / "station"
    shutil.copytree(demo_station.folder, folder)
    with (folder / "sigaudit.toml").open("a", encoding="utf-8", newline="\n") as file:
        file.write('\n[mail]\nsender = "reports@station.invalid"\n')
    return DemoStation(folder, {})


def refuse(word: str) -> NoReturn:
    raise AssertionError(f"{word} is no JSON (RFC 8259 section 6)")


def strictly(text: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(text, parse_constant=refuse)
    return found


@pytest.mark.parametrize("path", sorted(ANSWERING - {("demo",)}), ids=" ".join)
def test_document(station: DemoStation, path: tuple[str, ...]) -> None:
    finding = station.run(WEEK).table("findings")["finding_id"][0].as_py()
    words = [word.replace("FINDING", finding) for word in WORDS[path]]
    words = [word.replace("ROSTER", str(station.folder / "roster")) for word in words]
    said = called(*path, *words, "--workspace", str(station.folder), "--json")
    assert said.code == 0, said.err
    document = strictly(said.out)
    assert document["document"] == path[0]
    assert document["version"] == 1
    assert len(document) > 2


def test_demo_names_three_files_that_are_there(demo_station: DemoStation) -> None:
    document = demo_station.document
    assert (document["document"], document["version"]) == ("demo", 1)
    files = [Path(value) for name, value in document.items() if name not in ("document", "version")]
    assert len(files) == 3
    for file in files:
        assert file.suffix == ".html" and file.stat().st_size > 1000, file


def test_ingest_again_adds_nothing(station: DemoStation) -> None:
    held = station.store().catalog.sources()
    said = called("ingest", str(DEMO / "exports"), "--workspace", str(station.folder), "--json")
    document = strictly(said.out)
    assert {source["state"] for source in document["sources"]} == {"held"}
    assert sum(source["signals"] for source in document["sources"]) == 0
    assert held == station.store().catalog.sources()


def test_why_walks_back_to_lines_of_the_export(station: DemoStation) -> None:
    """A standing line cut is shown with the very line that began it, by file and line number."""
    finding = next(f for f in station.run(WEEK).table("findings").to_pylist() if f["check"] == "line_cut_standing")
    document = strictly(called("why", finding["finding_id"], "-w", str(station.folder), "--json").out)
    began = [entry for entry in document["evidence"] if entry["event_raw"] in ("E351", "1351", "351")]
    assert began
    name, number = began[-1]["source"], began[-1]["line_no"]
    assert exported_line(name.rpartition("/")[2], number) == began[-1]["raw"]


def exported_line(name: str, number: int) -> str:
    data = (DEMO / "exports" / name).read_bytes()
    content = gzip.decompress(data) if name.endswith(".gz") else data
    return content.split(b"\n")[number - 1].removesuffix(b"\r").decode("utf-8-sig")


def test_stdout_is_the_answer_and_nothing_else(station: DemoStation) -> None:
    said = called("audit", "--week", WEEK, "--workspace", str(station.folder))
    assert said.code == 0
    files = [Path(line) for line in said.out.splitlines()]
    assert [file.name for file in files] == ["index.html", "findings.csv", "unprotected.csv", "revisit.xlsx"]
    assert all(file.exists() for file in files)
    assert WEEK in said.err


def test_init_names_the_settings_it_wrote(tmp_path: Path) -> None:
    said = called("init", str(tmp_path / "new"), "--timezone", "America/New_York", "--json")
    assert said.code == 0, said.err
    document = strictly(said.out)
    assert (document["document"], document["version"]) == ("init", 1)
    assert Path(str(document["settings"])).is_file()
