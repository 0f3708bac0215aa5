"""The page of any account holds what the audit held of it: the same tables, measured for that account alone."""

from __future__ import annotations

from typing import Any

import pyarrow.compute as pc
import pytest

from sigaudit.errors import UsageProblem
from sigaudit.judging import one_site
from sigaudit.store import account_names
from tests.demo_station import DEMO, DemoStation, called, sheet

WEEK = "2026-W47"
TRUTH = {row["account"]: row for row in sheet(DEMO / "truth.csv")}
FAULTS = ("line_cut_flapping", "supervision_missed", "gone_silent", "on_test_too_long", "ac_power_out_standing")


def of(fault: str) -> str:
    return next(account for account, row in sorted(TRUTH.items()) if row["fault"] == fault)


def without_number(table: Any, key: str) -> list[dict[str, Any]]:
    return [
        {name: value for name, value in row.items() if name != "page_no"}
        for row in table.to_pylist()
        if row.get("account_key", key) == key
    ]


@pytest.mark.parametrize("fault", FAULTS)
def test_an_account_alone_is_measured_as_among_all(demo_station: DemoStation, fault: str) -> None:
    """The run measured all accounts in ranges of many; here one range holds one account."""
    account = of(fault)
    found = one_site.of_account(demo_station.store(), demo_station.settings, account, WEEK)
    key = found.account_keys[0]
    numbers = {row["account_key"]: row["page_no"] for row in found.run.table("accounts").to_pylist()}
    mine = next(r["page_no"] for r in found.table("accounts").to_pylist() if r["account_key"] == key)
    for name in ("evidence", "check_in_days", "spans", "path_rows", "visit_rows"):
        told = found.run.table(name)
        told = told.filter(pc.equal(told["page_no"], numbers[key]))
        here = found.table(name)
        here = here.filter(pc.equal(here["page_no"], mine))
        assert without_number(here, key) == without_number(told, key), name
    assert without_number(found.table("slots"), key) == without_number(found.run.table("slots"), key)


def test_an_account_without_a_finding_has_a_page(demo_station: DemoStation) -> None:
    spoken_of = set(demo_station.run(WEEK).table("findings")["account"].to_pylist())
    account = next(a for a, row in sorted(TRUTH.items()) if row["fault"] == "healthy" and a not in spoken_of)
    found = one_site.of_account(demo_station.store(), demo_station.settings, account, WEEK)
    assert found.table("findings").num_rows == 0
    rows = found.table("evidence").to_pylist()
    counted = demo_station.sql(
        f"select count(*) as n from signals where account = '{account}' and format <> 'check_in'"
        " and received_utc >= timestamp '2026-10-19 04:00' and received_utc < timestamp '2026-11-23 05:00'"
    ).to_pylist()[0]["n"]
    assert len([row for row in rows if row["account_key"] == found.account_keys[0]]) == counted > 0


def test_neighbours_of_one_site_come_along(demo_station: DemoStation) -> None:
    shared = [row["site"] for row in sheet(demo_station.folder / "roster" / "accounts.csv")]
    both = next(site for site in shared if shared.count(site) == 2)
    rows = [row for row in sheet(demo_station.folder / "roster" / "accounts.csv") if row["site"] == both]
    found = one_site.of_account(demo_station.store(), demo_station.settings, rows[0]["account"], WEEK)
    assert [key.partition("/")[2] for key in found.account_keys] == [row["account"] for row in rows]


@pytest.mark.parametrize(
    ("typed", "key"),
    [("0421", "main/0421"), ("main/0421", "main/0421"), ("77", "north/77"), (" 0421 ", "main/0421")],
)
def test_an_account_is_found_by_number_or_with_its_group(typed: str, key: str) -> None:
    assert account_names.account_key(typed, ["main/0421", "main/421", "north/77", "main/"]) == key


@pytest.mark.parametrize("typed", ["", "  ", "9999", "main/77", "main/", "'; drop table signals; --"])
def test_what_is_no_account_is_said(typed: str) -> None:
    with pytest.raises(UsageProblem, match="no account"):
        account_names.account_key(typed, ["main/0421", "north/77", "main/"])


def test_a_number_that_fits_two_groups_is_refused_with_both() -> None:
    with pytest.raises(UsageProblem, match=r"north/0421, south/0421"):
        account_names.account_key("0421", ["north/0421", "south/0421"])


def test_the_command_says_what_does_not_exist(demo_station: DemoStation) -> None:
    said = called("site", "no such", "-w", str(demo_station.folder))
    assert said.code == 2
    assert said.out == "" and "no account 'no such'" in said.err and "Traceback" not in said.err
