"""What a later audit must not do to an earlier one, and what missing log must not do to a site."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from sigaudit.errors import SettingsProblem, UsageProblem
from sigaudit.judging import audit, why
from sigaudit.settings import load
from sigaudit.store import runs
from sigaudit.store.opening import open_store
from tests.demo_station import DemoStation


@pytest.fixture
def station(demo_workspace: Path, tmp_path: Path) -> Path:
    """A copy of the demo that may be changed."""
    return Path(shutil.copytree(demo_workspace, tmp_path / "station"))


def test_auditing_another_week_keeps_the_evidence_of_the_first(station: Path) -> None:
    settings, store = load(station), open_store(station / "store")
    before = runs.latest(store, "2026-W47")
    assert before is not None
    finding = before.table("findings")["finding_id"][0].as_py()
    audit.weekly(store, settings, "2026-W46")
    after = runs.latest(store, "2026-W47")
    assert after is not None and after.run_id == before.run_id
    assert why.explain(store, settings, finding).evidence
    # W46 was judged before as a week behind W47; now it has pages, and keeps them when W47 is judged again.
    assert audit.weekly(store, settings, "2026-W47").run_id == before.run_id
    again = runs.latest(store, "2026-W46")
    assert again is not None and again.has("evidence")


@pytest.mark.parametrize("week", ["2026-W48", "2026-W30"])
def test_a_week_that_cannot_be_judged_changes_nothing(station: Path, week: str) -> None:
    settings, store = load(station), open_store(station / "store")
    held = [runs.latest(store, label) for label in runs.labels(store)]
    with pytest.raises(UsageProblem, match=week):
        audit.weekly(store, settings, week)
    assert [runs.latest(store, label) for label in runs.labels(store)] == held


@pytest.mark.parametrize("limit", ["intervals = -5", "chance = 2"])
def test_a_senseless_limit_is_refused(station: Path, limit: str) -> None:
    with (station / "sigaudit.toml").open("a", encoding="utf-8") as settings:
        settings.write(f"\n[limits.gone_silent]\n{limit}\n")
    with pytest.raises(SettingsProblem, match="out of range"):
        audit.weekly(open_store(station / "store"), load(station), "2026-W47")


def test_a_missing_export_makes_no_site_of_its_lines_silent(demo_station: DemoStation, tmp_path: Path) -> None:
    # Silent before the missing log begins, or silent where the log is held: these are told rightly.
    known = set()
    for week in ("2026-W46", "2026-W47"):
        held = runs.latest(open_store(demo_station.folder / "store"), week)
        assert held is not None
        known |= {row["account"] for row in held.table("findings").to_pylist() if row["check"] == "gone_silent"}
    exports = [
        path for path in sorted((demo_station.folder / "exports").iterdir()) if "receiver-1-2026-W47" not in path.name
    ]
    less = DemoStation.of(tmp_path / "less", exports)
    run = audit.weekly(open_store(less.folder / "store"), load(less.folder), "2026-W47")
    told = {row["account"] for row in run.table("findings").to_pylist() if row["check"] == "gone_silent"}
    paths = {row["account"] for row in run.table("accounts").to_pylist() if row["status"] == "active"}
    # 8063 has no paths on the roster: the program cannot know which of its lines carried the rhythm.
    assert told & paths - known - {"8063"} == set()
