"""The demo's month of October recounted with pandas from its raw export lines, and nobody else's data in a report.

The recount knows the demo's file forms (``data/demo/README.md``) and nothing of sigaudit's reading or SQL. October ends
before the night in which the clocks go back, so local times can be compared as written.
"""

from __future__ import annotations

import csv
import re
from datetime import date, timedelta
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from sigaudit.reporting import health, health_facts
from sigaudit.reporting.health_customers import gather
from sigaudit.reporting.health_model import Site
from sigaudit.reporting.identity import Identity
from sigaudit.store import runs
from tests.demo_station import DEMO, DemoStation, called, sheet

MONTH = "2026-10"
DAYS = 20  # 12 to 31 October: the demo's exports begin on the 12th
NEW_YORK = timedelta(hours=4)  # UTC-4 until 1 November (tz database)
# Faults that a customer is told of and that stand on every day once they are there.
STEADY = {"never_heard", "gone_silent", "test_never_sent", "supervision_never_seen", "test_reports_trouble"}
NIGHT = pd.Timestamp("2026-11-01")


@lru_cache(maxsize=1)
def lines() -> pd.DataFrame:
    """Lines of the weeks 42 to 44 with local time, account, qualifier, code, zone and format, in order of time."""
    frames = []
    for path in sorted((DEMO / "exports").glob("*W4[234]*")):
        text = pd.read_csv(
            path, sep=";" if "-3-" in path.name else ",", dtype=str, keep_default_na=False, encoding="utf-8-sig"
        )
        if "-3-" in path.name:
            text = text.rename(
                columns={
                    "unit": "receiver",
                    "port": "line",
                    "subscriber": "account",
                    "point": "zone",
                    "message_format": "format",
                }
            )
            text["at"] = pd.to_datetime(text["stamp"], format="%m/%d/%Y %H:%M:%S")
            text["event"] = text["kind"].map({"1": "E", "3": "R", "6": "P"}) + text["number"]
        else:
            text["at"] = pd.to_datetime(text["received_at"])
        # Receiver 2 writes four digits: 1, 3 or 6 before the code (DC-05's event qualifiers).
        digits = text["event"].str.fullmatch(r"[136]\d{3}")
        text.loc[digits, "event"] = text["event"].str[0].map({"1": "E", "3": "R", "6": "P"}) + text["event"].str[1:]
        if "format" not in text:
            text["format"] = ""
        frames.append(text[["at", "receiver", "line", "account", "event", "zone", "format"]])
    found = pd.concat(frames).sort_values(["at"], kind="stable")
    own = found["account"].isin(["", "0000"])
    return found[(found["at"] < NIGHT) & ~own].reset_index(drop=True)


def heard_tests(account: str) -> pd.Series:
    """Times of an account's test signals (602, 603, 608: DC-05), on any line; one sent again within 60 s once."""
    mine = lines()[lines()["account"] == account]
    at = mine.loc[mine["event"].isin(["E602", "E603", "E608"]), "at"]
    return at[at.diff().dt.total_seconds().fillna(1e9) > 60]


def missing(at: pd.Series, seconds: float) -> list[pd.Timestamp]:
    """Due times that went by between two tests: a gap of g holds round(g / interval) - 1 of them."""
    found = []
    for before, after in pairwise(at):
        gap = (after - before).total_seconds()
        if gap > seconds + max(900.0, seconds / 24):
            found += [before + timedelta(seconds=seconds * n) for n in range(1, round(gap / seconds))]
    return found


def source(page: Path) -> str:
    """A page without its style sheet: every sign a reader or a program could find in it."""
    return re.sub(r"<style>.*?</style>", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)


@pytest.fixture(scope="module")
def made(demo_station: DemoStation) -> Any:
    return demo_station.run(MONTH)


@pytest.fixture(scope="module")
def sites(made: Any) -> dict[str, Site]:
    return {str(site.row["account"]): site for site in health_facts.read(made)}


@pytest.fixture(scope="module")
def single() -> list[dict[str, str]]:
    """Paths with a test interval on the roster, of accounts with that path alone, not on test and not new."""
    paths = sheet_of("paths")
    count = pd.Series([row["account"] for row in paths]).value_counts()
    busy = {row["account"] for row in sheet_of("on_test")}
    accounts = {row["account"]: row for row in sheet_of("accounts")}
    return [
        row
        for row in paths
        if count[row["account"]] == 1
        and row["test_interval"] in ("6h", "24h")
        and row["account"] not in busy
        and accounts[row["account"]]["installed_on"] < "2026-10-12"
        and accounts[row["account"]]["status"] in ("active", "")
    ]


def sheet_of(name: str) -> list[dict[str, str]]:
    with (DEMO / "workspace" / "roster" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_signals_of_each_account(sites: dict[str, Site]) -> None:
    counted = lines()[lines()["format"] != "check_in"].groupby("account").size()
    told = {account: site.row["signals"] for account, site in sites.items()}
    assert sum(told.values()) > 10_000
    assert told == {account: int(counted.get(account, 0)) for account in told}


def test_tests_received_of_expected(sites: dict[str, Site], single: list[dict[str, str]]) -> None:
    assert len(single) > 100
    wrong = []
    for row in single:
        kept = sites[row["account"]].ways[0].tests
        at = heard_tests(row["account"])
        seconds = 21600.0 if row["test_interval"] == "6h" else 86400.0
        if kept is None or not len(at):
            continue
        lost = len(missing(at, seconds))
        # The gap still open at the month's end is told too; the recount looks between tests only.
        closed = [m for m in kept.misses if m["due_utc"] - NEW_YORK < at.iloc[-1]]
        if (kept.received, lost) != (len(at), len([m for m in closed if m["state"] in ("missed", "excused")])):
            wrong.append((row["account"], kept.received, len(at), len(closed), lost))
    assert wrong == []


def test_days_as_expected(sites: dict[str, Site], single: list[dict[str, str]]) -> None:
    """On receiver 1, whose log has no hole in October: twenty days less those on which a due test did not come."""
    checked = 0
    for row in single:
        site = sites[row["account"]]
        at = heard_tests(row["account"])
        # Tests of the panel alone and check-ins would be days of their own; a first test late in the month too.
        if row["receiver"] != "1" or site.panel or not len(at) or at.iloc[0] > pd.Timestamp("2026-10-13"):
            continue
        seconds = 21600.0 if row["test_interval"] == "6h" else 86400.0
        lost = {due.date() for due in missing(pd.concat([at, pd.Series([NIGHT])]), seconds) if due < NIGHT}
        # The demo's signal storm, in the night of the 24th: a day that does not count (data/demo/incidents_truth.csv).
        storm = {day.day for day in site.days if day.state == "signal_storm"}
        assert storm <= {date(2026, 10, 24)}
        if at.iloc[-1] < NIGHT - timedelta(seconds=seconds):
            continue  # overdue at the end: what is due then is a matter of grace
        assert (site.n_counted, site.n_expected) == (DAYS - len(storm), DAYS - len(lost | storm)), row["account"]
        checked += 1
    assert checked > 60


def test_power_losses_with_their_lengths(sites: dict[str, Site]) -> None:
    mains = lines()[lines()["event"].isin(["E301", "R301"])]
    recounted: dict[str, list[tuple[Any, Any]]] = {}
    for account, events in mains.groupby("account"):
        begins = None
        for at, event in zip(events["at"], events["event"], strict=True):
            if event == "E301" and begins is None:
                begins = at
            elif event == "R301" and begins is not None:
                recounted.setdefault(str(account), []).append((begins, at))
                begins = None
    told = {
        account: [
            (t.from_utc - NEW_YORK, t.until_utc - NEW_YORK)
            for t in site.troubles
            if t.condition.word == "mains_off" and t.until_utc is not None
        ]
        for account, site in sites.items()
    }
    assert sum(map(len, told.values())) > 50
    assert {a: found for a, found in told.items() if found} == {a: f for a, f in recounted.items() if a in told}


def test_planted_faults_stand_where_they_belong(demo_station: DemoStation, sites: dict[str, Site]) -> None:
    truth = {row["account"]: row for row in sheet(DEMO / "truth.csv") if row["week"] and row["week"] <= "2026-W43"}
    states = {(row["fault"], sites[a].state) for a, row in truth.items() if a in sites}
    steady = {fault for fault, _ in states} & STEADY
    assert {"never_heard", "test_never_sent", "supervision_never_seen"} <= steady
    for fault, state in states:
        if fault in ("never_heard", "gone_silent"):
            assert state == "silent", fault
        if fault in steady:
            assert state in ("silent", "degraded"), (fault, state)
    healthy = {row["account"] for row in sheet(DEMO / "truth.csv") if row["fault"] == "healthy"}
    called = [a for a, site in sites.items() if a in healthy and site.state in ("silent", "degraded")]
    # One test in 200 is lost by luck, and the demo spares only the last tests of week 47, not those of October.
    assert len(called) < 0.03 * len(healthy) and len(healthy) > 200


def test_a_months_run_is_not_taken_for_an_audit(demo_station: DemoStation) -> None:
    """What asks for the latest audit, or for all of them, must not get a month: it has other tables."""
    assert runs.latest(demo_station.store(), MONTH) is not None
    assert MONTH not in runs.labels(demo_station.store()) and runs.labels(demo_station.store())
    assert called("causes", "--learnt", "--workspace", str(demo_station.folder)).code == 0
    assert demo_station.sql("select count(*) as n from findings where \"check\" = 'gone_silent'")["n"][0].as_py() > 0


def test_each_report_holds_that_customers_data_only(
    demo_station: DemoStation, made: Any, sites: dict[str, Site]
) -> None:
    folder = demo_station.folder / "reports" / f"health-{MONTH}"
    customers = [customer for dealer in gather(list(sites.values())) for customer in dealer.customers]
    files = {path.stem: path for path in folder.glob("*/*.html") if path.name != "index.html"}
    assert set(files) == {customer.stem for customer in customers} and len(files) > 200
    accounts = set(sites)
    for customer in customers:
        text = source(files[customer.stem])
        assert set(re.findall(r"Customer \d+", text)) == {customer.name}
        assert set(re.findall(r"Site \d+", text)) == {str(site.row["site"]) for site in customer.sites}
        assert not re.findall(r"Dealer \w+|Installer \w+|@", text)
        # No account number, of anybody: all of four digits here, and the year is none of them.
        assert not set(re.findall(r"\d{4}", text)) & accounts - {"2026"}
        assert not re.findall(r"\b[ERP]\d{3}\b", text)
        assert files[customer.stem].stat().st_size < 150_000


def test_dealers_see_their_own_customers_only(demo_station: DemoStation, sites: dict[str, Site]) -> None:
    folder = demo_station.folder / "reports" / f"health-{MONTH}"
    for dealer in gather(list(sites.values())):
        text = source(folder / dealer.folder / "index.html")
        assert set(re.findall(r"Customer \d+", text)) == {customer.name for customer in dealer.customers}
        assert set(re.findall(r"Dealer \w+", text)) == {dealer.name}
        assert {path.stem for path in (folder / dealer.folder).glob("*.html")} == {
            "index",
            *(customer.stem for customer in dealer.customers),
        }


def test_the_same_month_gives_the_same_pages_and_later_weeks_change_nothing(
    demo_station: DemoStation, made: Any, tmp_path: Path
) -> None:
    """The demo was written with weeks after October in the store; only what was received up to its end counts."""
    who = Identity(demo_station.settings.report_name, "", "#0f5873", "#4a8fab", "en", "a4")
    again = health.write(made, tmp_path, who, asked=health.Asked(dealer="Dealer Elm", with_pdf=False))
    assert len(again) > 10
    dates = {at for table in ("month_accounts", "month_paths") for name in made.table(table).column_names
             if name.endswith("_utc") for at in made.table(table)[name].to_pylist() if at}  # fmt: skip
    assert max(dates).isoformat() < made.meta["as_of_utc"]
