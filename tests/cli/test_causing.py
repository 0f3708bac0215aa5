"""The commands that name causes, on the demo: an invented station, whose truth file says what was planted."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.demo_station import DemoStation, called, sheet

WEEK = "2026-W47"
VISITS = ("account,visited_on,technician,found,fixed,note\n"
          "9695,{day},T1,account_mistyped,yes,\n5119,2026-11-10,T1,no_fault,,\n"
          "5119,2026-11-18,T2,test_timer_missing,yes,\n")  # fmt: skip


def document(*words: str) -> dict[str, Any]:
    said = called(*words, "--json")
    assert said.code == 0, said.err
    found: dict[str, Any] = json.loads(said.out)
    return found


def test_a_swapped_number_is_one_site_with_one_cause(demo_station: DemoStation) -> None:
    """data/demo/truth.csv: 9965 is 9695 with two digits swapped, and 9695 was never heard."""
    (site,) = document("causes", "--account", "9695", "-w", str(demo_station.folder))["sites"]
    assert site["accounts"] == ["9695", "9965"]
    first = site["causes"][0]
    assert first["causes"][0] == "account_mistyped" and first["probability"] > 0.8
    assert "main/9965 is probably this account's" in first["members"][0]["stray_note"]


def test_reference_numbers_alone_can_be_asked_for(demo_station: DemoStation) -> None:
    found = document("causes", "--week", WEEK, "--reference", "-w", str(demo_station.folder))
    assert found["reference"] is True and len(found["sites"]) > 50
    named = {cause for site in found["sites"] for entry in site["causes"] for cause in entry["causes"]}
    assert {"test_timer_wrong", "left_on_test", "account_mistyped"} <= named


def test_the_list_is_a_table_with_its_caution(demo_station: DemoStation) -> None:
    said = called("causes", "--week", WEEK, "-w", str(demo_station.folder))
    assert said.code == 0 and said.out.splitlines()[0].split()[:3] == ["site", "accounts", "severity"]
    assert "A cause is a lead, not a proof" in said.err


def test_the_card_of_a_cause() -> None:
    said = called("causes", "account_mistyped")
    assert said.code == 0 and said.out.startswith("account_mistyped: ")
    for word in ("how often", "makes fire", "apart from", "look first", "mend"):
        assert f"  {word}" in said.out
    card = document("causes", "account_mistyped")["cause"]
    assert card["id"] == "account_mistyped" and 0 < card["base"]["value"] < 0.1


@pytest.mark.parametrize(
    ("words", "told"),
    [(["causes", "acount_mistyped"], "nearest: account_mistyped"), (["causes", "roster_wrong", "--learnt"], "takes no"),
     (["causes", "--learnt", "--reference"], "takes neither")],
)  # fmt: skip
def test_what_cannot_be_asked(words: list[str], told: str) -> None:
    said = called(*words)
    assert said.code == 2 and told in said.err and "Traceback" not in said.err


def test_an_account_without_findings_is_said(demo_station: DemoStation) -> None:
    healthy = next(row["account"] for row in sheet(Path("data/demo/truth.csv")) if row["fault"] == "healthy")
    said = called("causes", "--account", healthy, "-w", str(demo_station.folder))
    assert said.code == 2 and "no finding" in said.err
    assert "no account 'xyz'" in called("causes", "--account", "xyz", "-w", str(demo_station.folder)).err


def test_why_ends_with_the_reckoning(demo_station: DemoStation) -> None:
    """A finding on a stray number is reckoned at the account it is probably of."""
    rows = demo_station.run(WEEK).table("findings").to_pylist()
    finding = next(row for row in rows if row["account"] == "9965")
    assert finding["cause"].startswith("account_mistyped")
    found = document("why", finding["finding_id"], "-w", str(demo_station.folder))["reckoning"]
    assert found["account_key"] == "main/9695" and found["stray"] == "main/9965"
    assert found["causes"]["account_mistyped"] == pytest.approx(
        next(r for r in demo_station.run(WEEK).table("causes").to_pylist()
             if r["account"] == "9695" and r["cause"] == "account_mistyped")["probability"]
    )  # fmt: skip
    said = called("why", finding["finding_id"], "-w", str(demo_station.folder)).out
    assert "reckoning of main/9695" in said and "sum over all" in said


def test_visits_teach_the_next_audit_and_none_before_them(demo_station: DemoStation, tmp_path: Path) -> None:
    """A visit on the Monday after W47 teaches that audit nothing; what a check showed comes from the week before."""
    folder = tmp_path / "station"
    shutil.copytree(demo_station.folder, folder)
    before = demo_station.run(WEEK).table("causes")
    visits = folder / "roster" / "visits.csv"

    def told(day: str) -> dict[str, Any]:
        visits.write_text(VISITS.format(day=day), encoding="utf-8", newline="\n")
        assert called("roster", str(folder / "roster"), "-w", str(folder)).code == 0
        return document("causes", "--learnt", "--week", WEEK, "-w", str(folder))

    late = told("2026-11-23")
    assert late["visits"] == 2  # the one of Monday 23 November is after the week
    numbers = {(n["cause"], n["check"]): n for n in late["numbers"]}
    assert ("account_mistyped", "") in numbers and numbers["account_mistyped", ""]["k"] == 0
    timer = numbers["test_timer_missing", ""]
    assert (timer["k"], timer["n"]) == (1, 2) and timer["before"] < timer["after"] < 0.2
    fired = numbers["test_timer_missing", "test_never_sent"]
    assert (fired["k"], fired["n"]) == (1, 1)  # W46 ended before the visit of 18 November, and the check fired there
    assert late["record"]["again"] == 1
    assert any(row["said"] in ("strong", "likely") and row["right"] == 1 for row in late["record"]["predicted"])
    assert any("Only visited sites teach" in text for text in late["sentences"])
    after = DemoStation(folder, {}).run(WEEK).table("causes")
    moved = {r["account"]: r["probability"] for r in after.to_pylist() if r["cause"] == "test_timer_missing"}
    was = {r["account"]: r["probability"] for r in before.to_pylist() if r["cause"] == "test_timer_missing"}
    assert moved["2091"] > was["2091"]
