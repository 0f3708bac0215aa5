"""A new workspace is complete, readable, and never overwrites."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sigaudit.errors import SettingsProblem, UsageProblem
from sigaudit.settings import load
from sigaudit.workspace import create


def test_a_new_workspace_loads(tmp_path: Path) -> None:
    folder = tmp_path / "my station"
    assert create(folder, 'Hafen "West" \\ Süd', "Europe/Berlin", "") == folder / "sigaudit.toml"
    settings = load(folder)
    assert settings.station == 'Hafen "West" \\ Süd'
    assert settings.timezone == "Europe/Berlin"
    assert settings.edition == ""
    assert {path.name for path in folder.iterdir()} == {
        "sigaudit.toml",
        "layouts",
        "checks",
        "roster",
        "reports",
    }
    assert b"\r" not in (folder / "sigaudit.toml").read_bytes()


def test_roster_sheets_hold_their_headers_only(tmp_path: Path) -> None:
    create(tmp_path / "ws", "x", "Etc/UTC", "")
    sheets = {path.name for path in (tmp_path / "ws" / "roster").iterdir()}
    assert sheets == {"accounts.csv", "paths.csv", "zones.csv", "on_test.csv", "dealers.csv", "visits.csv"}
    for path in (tmp_path / "ws" / "roster").iterdir():
        rows = list(csv.reader(path.open(encoding="utf-8", newline="")))
        assert len(rows) == 1


def test_without_a_zone_the_settings_ask_for_it(tmp_path: Path) -> None:
    create(tmp_path, "x")
    with pytest.raises(SettingsProblem, match=r"station\.timezone: is empty"):
        load(tmp_path)


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "roster").mkdir()
    (tmp_path / "roster" / "accounts.csv").write_text("mine", encoding="utf-8")
    create(tmp_path, "x", "Europe/Berlin", "")
    assert (tmp_path / "roster" / "accounts.csv").read_text(encoding="utf-8") == "mine"
    before = (tmp_path / "sigaudit.toml").read_bytes()
    with pytest.raises(UsageProblem, match="is there already"):
        create(tmp_path, "y", "Europe/Paris", "")
    assert (tmp_path / "sigaudit.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("name", "zone", "said"),
    [
        ("x", "EST", "America/New_York"),
        ("a\nb", "Europe/Berlin", "printable"),
        ("\ud800", "Europe/Berlin", "printable"),
    ],
)
def test_wrong_values_make_nothing(tmp_path: Path, name: str, zone: str, said: str) -> None:
    with pytest.raises(UsageProblem, match=said):
        create(tmp_path / "ws", name, zone, "")
    assert not (tmp_path / "ws").exists()


def test_a_file_in_the_way(tmp_path: Path) -> None:
    (tmp_path / "ws").write_text("", encoding="utf-8")
    with pytest.raises(UsageProblem, match="no workspace can be made here"):
        create(tmp_path / "ws", "x", "Europe/Berlin", "")


@given(st.text(max_size=30).filter(str.isprintable))
def test_any_printable_name_comes_back(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    folder = tmp_path_factory.mktemp("ws")
    create(folder, name, "Europe/Berlin", "")
    assert load(folder).station == name.strip()
