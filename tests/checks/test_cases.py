"""Every check on its fixtures: it fires, it keeps quiet, and it says when it cannot tell."""

from __future__ import annotations

from pathlib import Path

import pytest

from sigaudit.judging.cards import read_all
from sigaudit.store.shipped import queries
from tests.checks.case import Case

HERE = Path(__file__).parent
CARDS = read_all(queries() / "checks")
FOLDERS = sorted(path.parent for path in HERE.glob("*/*/expect.toml"))
KINDS = {"fires", "sound", "on_the_limit", "clock_change", "log_missing"}


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_case(folder: Path) -> None:
    case = Case(folder)
    rows = {(row["account_key"].partition("/")[2], row["subject"]): row for row in case.run(CARDS[folder.parent.name])}
    for wanted in case.expected["rows"]:
        wanted = dict(wanted)
        key = wanted.pop("account"), wanted.pop("subject", "")
        if wanted.get("verdict") == "none":
            assert key not in rows, f"{key}: a row where the check does not apply"
            continue
        assert key in rows, f"no row for {key}; there are {sorted(rows)}"
        for name, value in wanted.items():
            got = rows[key][name]
            expected = pytest.approx(value, abs=0.01) if isinstance(value, float) else value
            assert got == expected, (key, name, rows[key])


def test_every_check_has_every_kind_of_case() -> None:
    found = {check: {path.name for path in FOLDERS if path.parent.name == check} for check in CARDS}
    missing = {check: sorted(KINDS - names) for check, names in found.items() if not names >= KINDS}
    assert not missing
