"""`settings show`: every limit with who set it, for the station and for one account. The order is the tool's own."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sigaudit.errors import UsageProblem
from sigaudit.judging import limits_told
from sigaudit.judging.audit import read_cards
from sigaudit.settings import load
from sigaudit.store.opening import open_store
from tests.demo_station import DemoStation

OWN = """
[limits.gone_silent]
intervals = 3
[limits_by_type.fire.gone_silent]
intervals = 1.5
[limits_by_dealer."{dealer}".gone_silent]
intervals = 4
[limits_by_account."{account}".gone_silent]
intervals = 5
"""


def told(demo_station: DemoStation, folder: Path, text: str, account: str = "") -> dict[str, tuple[float, str]]:
    """Value and who set it of gone_silent's limits, by limit."""
    (folder / "sigaudit.toml").write_text(
        (demo_station.folder / "sigaudit.toml").read_text(encoding="utf-8") + text, encoding="utf-8"
    )
    settings = load(folder)
    cards = read_cards(settings)
    _, rows = limits_told.of_account(open_store(demo_station.folder / "store"), cards, settings, account)
    assert (
        len({(row["check"], row["limit"]) for row in rows}) == len(rows) == sum(len(c.limits) for c in cards.values())
    )
    return {row["limit"]: (row["value"], row["set_by"]) for row in rows if row["check"] == "gone_silent"}


def test_the_narrowest_setting_wins_and_is_named(demo_station: DemoStation, tmp_path: Path) -> None:
    roster = (demo_station.folder / "roster" / "accounts.csv").read_text(encoding="utf-8").splitlines()
    head = roster[0].split(",")
    rows = [dict(zip(head, line.split(","), strict=False)) for line in roster[1:]]
    fire = next(row for row in rows if row["system_type"] == "fire")
    other = next(row for row in rows if row["system_type"] == "burglary" and row["dealer"] != fire["dealer"])
    parts = OWN.format(dealer=fire["dealer"], account=fire["account"]).split("[limits")

    def with_parts(n: int, account: str) -> tuple[float, str]:
        return told(demo_station, tmp_path, "[limits".join(parts[: n + 1]), account)["intervals"]

    assert with_parts(0, fire["account"])[1] == "card"
    assert with_parts(1, fire["account"]) == (3.0, "station")
    assert with_parts(2, fire["account"]) == (1.5, "system type")
    assert with_parts(3, fire["account"]) == (4.0, "dealer")
    assert with_parts(4, fire["account"]) == (5.0, "account")
    assert with_parts(4, other["account"]) == (3.0, "station")


def test_an_account_that_nobody_knows_is_one_sentence(demo_station: DemoStation) -> None:
    settings = load(demo_station.folder)
    store = open_store(demo_station.folder / "store")
    with pytest.raises(UsageProblem, match="no account 'x; drop' on the roster"):
        limits_told.of_account(store, read_cards(settings), settings, "x; drop")


def test_of_the_station_only_what_can_apply_is_listed(demo_station: DemoStation, tmp_path: Path) -> None:
    (tmp_path / "sigaudit.toml").write_text(
        (demo_station.folder / "sigaudit.toml").read_text(encoding="utf-8")
        + "[limits.on_test_too_long]\non_test_h = 12\n[limits_by_type.fire.test_overdue]\nmisses = 2\n",
        encoding="utf-8",
    )
    settings = load(tmp_path)
    rows = limits_told.of_station(read_cards(settings), settings)
    said = [(r["for"], r["value"], r["set_by"]) for r in rows if r["limit"] == "on_test_h"]
    assert said == [("all", 12.0, "station")]  # what the card says of system types is hidden by the station's word
    misses = {
        r["for"]: (r["value"], r["set_by"]) for r in rows if (r["check"], r["limit"]) == ("test_overdue", "misses")
    }
    assert misses["system type fire"] == (2.0, "system type")
    assert misses["system type medical"] == (1.0, "card, by system type")
    assert all(row["from"] and row["source"] and row["standing"] for row in rows)
    json.dumps(rows, allow_nan=False)
