"""Findings set aside: for how long, what stays visible, what brings them back. The rules are the station's own."""

from __future__ import annotations

import csv
import json
import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from sigaudit.errors import UsageProblem
from sigaudit.judging import set_aside
from sigaudit.settings import load
from sigaudit.store import set_asides
from sigaudit.store.opening import Store, open_store
from sigaudit.store.set_asides import SetAside, marks
from tests.demo_station import DemoStation, called

TODAY = date(2026, 11, 25)
ONE = SetAside(1, "a" * 12, "main/0042", "line_cut_flapping", "", "2026-W47", "minor", 6.0, "cuts", TODAY, "wait", "me",
               TODAY)  # fmt: skip


def finding(**changed: Any) -> dict[str, Any]:
    return {"finding_id": ONE.finding_id, "severity": "minor", "system_type": "burglary", "measured": 6.0,
            "unit": "cuts", **changed}  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "label", "day", "wanted"),
    [
        ({}, "2026-W47", TODAY, ("in force", True)),
        ({}, "2026-W48", TODAY + timedelta(days=1), ("expired", False)),
        ({}, "2026-W46", TODAY, None),  # made in a later week
        ({"severity": "major"}, "2026-W47", TODAY, ("worse", False)),
        ({"measured": 12.0}, "2026-W47", TODAY, ("in force", True)),
        ({"measured": 12.1}, "2026-W47", TODAY, ("worse", False)),
        ({"measured": 99.0, "unit": "h"}, "2026-W47", TODAY, ("in force", True)),  # another unit is no growth
    ],
)
def test_what_a_decision_means_for_a_run(
    changed: dict[str, Any], label: str, day: date, wanted: tuple[str, bool] | None
) -> None:
    found = marks([ONE], [finding(**changed)], label, day).get(ONE.finding_id)
    assert (None if found is None else (found.state, found.quiet)) == wanted


@pytest.mark.parametrize(
    ("severity", "system_type", "quiet"),
    [("critical", "fire", False), ("major", "medical", False), ("major", "", False), ("minor", "fire", True),
     ("critical", "burglary", True), ("major", "combined", False)],
)  # fmt: skip
def test_grave_findings_of_life_safety_stay_visible(severity: str, system_type: str, quiet: bool) -> None:
    one = SetAside(**{**vars(ONE), "severity": severity})
    found = marks([one], [finding(severity=severity, system_type=system_type)], "2026-W47", TODAY)
    assert found[ONE.finding_id].state == "in force"
    assert found[ONE.finding_id].quiet == quiet


@pytest.fixture(scope="module")
def station(demo_station: DemoStation, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("aside") / "station"
    shutil.copytree(demo_station.folder, folder)
    return folder


def first(folder: Path, **wanted: str) -> dict[str, str]:
    path = folder / "reports" / "audit-2026-W47" / "findings.csv"
    with path.open(encoding="utf-8", newline="") as lines:
        return next(row for row in csv.DictReader(lines) if all(row[k] == v for k, v in wanted.items()))


def opened(folder: Path) -> tuple[Store, Any]:
    return open_store(folder / "store"), load(folder)


def test_life_safety_is_set_aside_for_a_week_at_most(station: Path) -> None:
    store, settings = opened(station)
    row = first(station, severity="critical", system_type="fire")
    said = {"reason": "technician on the way", "by": "A. Nobody"}
    with pytest.raises(UsageProblem, match="is set aside for 7 days at most"):
        set_aside.make(store, settings, row["finding_id"], until="2026-12-03", today=TODAY, **said)
    made = set_aside.make(store, settings, row["finding_id"], until="2026-12-02", today=TODAY, **said)
    assert made.until == date(2026, 12, 2)
    assert set_aside.end(store, row["finding_id"], by="B", today=TODAY).finding_id == row["finding_id"]
    assert set_aside.standing(store) == []


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"until": "tomorrow"}, "--until 'tomorrow' is no date"),
        ({"until": "2026-11-24"}, "--until 2026-11-24: is over"),
        ({"until": "2028-01-01"}, "a finding is set aside for 366 days at most"),
        ({"reason": " "}, "--reason: expected up to 200 characters"),
        ({"by": "x\x1b[31m"}, "--by: expected up to 200 characters"),
        ({"finding": "zzz"}, "zzz"),
    ],
)
def test_what_is_refused_is_one_sentence(station: Path, changed: dict[str, str], said: str) -> None:
    store, settings = opened(station)
    given = {"finding": first(station, severity="minor")["finding_id"], "until": "2026-12-24", "reason": "r", "by": "b"}
    given |= changed
    with pytest.raises(UsageProblem) as caught:
        set_aside.make(store, settings, given["finding"], until=given["until"], reason=given["reason"],
                       by=given["by"], today=TODAY)  # fmt: skip
    assert said in caught.value.message
    assert set_asides.held(store) == [one for one in set_asides.held(store) if one.lifted_on]


def test_from_the_command_line_to_the_pages_and_back(station: Path) -> None:
    row = first(station, severity="minor")
    identity, at = row["finding_id"], ["--workspace", str(station)]
    until = str(date.today() + timedelta(days=30))
    said = called("set-aside", identity[:8], "--until", until, "--reason", "<b>parts</b> ordered", "--by", "C", *at)
    assert (said.code, said.out.strip()) == (0, identity), said.err
    listed = json.loads(called("set-aside", "--json", *at).out)["set_aside"]
    assert [one["finding_id"] for one in listed] == [identity]
    assert called("audit", "--week", "2026-W47", *at).code == 0
    assert first(station, finding_id=identity)["set_aside"] == f"set aside until {until} by C: <b>parts</b> ordered"
    page = (station / "reports" / "audit-2026-W47" / "index.html").read_text(encoding="utf-8")
    assert "Set aside: 1 finding" in page and "&lt;b&gt;parts&lt;/b&gt; ordered" in page
    data = page[page.index('id="findings-data"') : page.index("</script>", page.index('id="findings-data"'))]
    assert identity not in data
    assert f"set aside until {until}" in called("why", identity, *at).out
    revisit = called("revisit", "--week", "2026-W47", *at)
    text = Path(revisit.out.split()[0]).read_text(encoding="utf-8")
    assert "1 finding set aside by a decision is not listed here" in text
    assert called("set-aside", identity, "--lift", "--by", "C", *at).code == 0
    assert called("audit", "--week", "2026-W47", *at).code == 0
    assert first(station, finding_id=identity)["set_aside"] == ""
