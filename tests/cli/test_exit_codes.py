"""The table of exit codes: a failure of the tool and a finding never share a number."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from sigaudit import errors
from tests.demo_station import DemoStation, called

WEEK = "2026-W47"
# As the README prints it.
BY_CLASS = {
    errors.SigauditError: 1, errors.SumMismatch: 1, errors.UsageProblem: 2, errors.NothingToRead: 3,
    errors.InputProblem: 4, errors.LayoutUnknown: 4, errors.LayoutAmbiguous: 4, errors.LayoutFaulty: 4,
    errors.TextUndecodable: 4, errors.RosterFaulty: 4, errors.TooManyRejects: 4, errors.SettingsProblem: 5,
    errors.CheckFaulty: 5, errors.StoreProblem: 6, errors.StoreMissing: 6, errors.StoreBusy: 6,
    errors.StoreOtherVersion: 6,
}  # fmt: skip


@pytest.fixture(scope="module")
def station(demo_station: DemoStation, tmp_path_factory: pytest.TempPathFactory) -> DemoStation:
    folder = tmp_path_factory.mktemp("codes") / "station"
    shutil.copytree(demo_station.folder, folder)
    return DemoStation(folder, {})


def test_every_class_of_the_family_has_its_number() -> None:
    family = {
        value for value in vars(errors).values() if isinstance(value, type) and issubclass(value, errors.SigauditError)
    }
    assert family == set(BY_CLASS)
    assert {kind.__name__: kind.exit_code for kind in family} == {kind.__name__: n for kind, n in BY_CLASS.items()}
    codes = [kind.code for kind in family]
    assert len(codes) == len(set(codes))


def test_0_done_whatever_was_found(station: DemoStation) -> None:
    assert called("audit", "--week", WEEK, "-w", str(station.folder)).code == 0


def test_20_findings_at_or_above_the_level_asked_for(station: DemoStation) -> None:
    said = called("audit", "--week", WEEK, "--fail-on", "critical", "-w", str(station.folder))
    assert said.code == 20
    assert "index.html" in said.out, "the report is written all the same"


def test_6_no_store(tmp_path: Path) -> None:
    assert called("init", str(tmp_path / "new"), "--timezone", "Europe/Berlin").code == 0
    said = called("status", "-w", str(tmp_path / "new"))
    assert said.code == 6
    assert "error[store-missing]" in said.err


def test_6_store_of_another_version(station: DemoStation, tmp_path: Path) -> None:
    folder = tmp_path / "other"
    shutil.copytree(station.folder, folder)
    with sqlite3.connect(folder / "store" / "catalog.sqlite") as con:
        con.execute("update store set schema_version = 999")
    con.close()
    said = called("status", "-w", str(folder))
    assert said.code == 6
    assert "error[store-other-version]" in said.err and "999" in said.err


def test_6_store_in_use(station: DemoStation) -> None:
    with station.store().writing("a test"):
        said = called("ingest", str(station.folder / "sigaudit.toml"), "-w", str(station.folder))
        busy = called("roster", str(station.folder / "roster"), "-w", str(station.folder))
    assert 6 in (said.code, busy.code)
    assert "error[store-busy]" in said.err + busy.err
    assert "a test" in said.err + busy.err


def test_2_no_workspace(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    said = called("status")
    assert said.code == 2
    assert "error[usage]" in said.err and "init" in said.err


def test_130_interrupted(station: DemoStation, monkeypatch: pytest.MonkeyPatch) -> None:
    from sigaudit.reading import ingest

    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(ingest, "run", stopped)
    said = called("ingest", "anything.csv", "-w", str(station.folder))
    assert said.code == 130
    assert "Traceback" not in said.err


def test_1_a_sum_that_does_not_close_is_our_own_fault(station: DemoStation, monkeypatch: pytest.MonkeyPatch) -> None:
    from sigaudit.reading import ingest

    def mismatch(*_: object, **__: object) -> None:
        raise errors.SumMismatch("10 lines are not 9")

    monkeypatch.setattr(ingest, "run", mismatch)
    said = called("ingest", "anything.csv", "-w", str(station.folder))
    assert said.code == 1
    assert said.err.startswith("error[sum-mismatch]: 10 lines are not 9")


def test_the_shell_sees_the_same_number(tmp_path: Path) -> None:
    """Once through a process of its own: code, sentence, no traceback, no terminal colours."""
    done = subprocess.run(
        [sys.executable, "-m", "sigaudit.cli", "status", "--workspace", str(tmp_path)],
        capture_output=True, encoding="utf-8", cwd=Path(__file__).resolve().parents[2], check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("error[usage]: ") and "\x1b" not in done.stderr
    assert "Traceback" not in done.stderr


def test_debug_shows_the_traceback(tmp_path: Path) -> None:
    with pytest.raises(errors.UsageProblem):
        called("--debug", "status", "-w", str(tmp_path))
