"""The committed files themselves hold what the truth files say: read here with the csv module alone."""

from __future__ import annotations

import csv
import gzip
from collections import Counter
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

import pytest

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"


class Line(NamedTuple):
    wall: datetime
    receiver: str
    line: str
    account: str
    event: str
    zone: str


def sheet(name: str) -> list[dict[str, str]]:
    with (DEMO / name).open(encoding="utf-8", newline="") as source:
        return list(csv.DictReader(source))


@pytest.fixture(scope="module")
def lines() -> list[Line]:
    """Every undamaged line of every export but the one handed over twice."""
    found = []
    for path in sorted((DEMO / "exports").iterdir()):
        data = gzip.decompress(path.read_bytes()) if path.suffix == ".gz" else path.read_bytes()
        for text in data.decode("utf-8-sig", errors="replace").splitlines():
            line = _own(text.split(";")) if path.name.startswith("receiver-3") else _plain(text.split(","))
            if line and "night" not in path.name:
                found.append(line)
    return found


def _own(part: list[str]) -> Line | None:
    if len(part) != 9 or part[0] == "stamp":
        return None
    wall = datetime.strptime(part[0], "%m/%d/%Y %H:%M:%S")
    event = {"1": "E", "3": "R", "": ""}[part[4]] + part[5]
    return Line(wall, *part[1:3], "" if part[3] == "0000" else part[3], event, part[7] and f"{int(part[7]):03d}")


def _plain(part: list[str]) -> Line | None:
    fields = {"1": 7, "2": 10}.get(part[1]) if len(part) > 6 else None
    if len(part) != fields or "\ufffd" in part[0] or part[3].startswith('"'):  # a quote never closed
        return None
    try:
        wall = datetime.fromisoformat(part[0])
    except ValueError:
        return None
    event = {"1": "E", "3": "R"}.get(part[4][0], part[4][0]) + part[4][1:]
    return Line(wall, *part[1:4], event, part[6])


def test_every_account_has_one_truth() -> None:
    truth = Counter(row["account"] for row in sheet("truth.csv"))
    assert set(truth.values()) == {1}
    rostered = {row["account"] for row in sheet("workspace/roster/accounts.csv")}
    strays = ("account_not_on_roster", "default_account_in_use")
    unknown = {row["account"] for row in sheet("truth.csv") if row["fault"] in strays}
    assert set(truth) == rostered | unknown
    assert not rostered & unknown


def test_two_or_more_of_every_fault() -> None:
    faults = Counter(row["fault"] for row in sheet("truth.csv"))
    assert len(faults) > 40
    assert min(faults.values()) >= 2


def test_causes_are_those_of_the_catalogue() -> None:
    with (DEMO.parents[1] / "sigaudit" / "data" / "causes.csv").open(encoding="utf-8", newline="") as file:
        known = {row["cause"] for row in csv.DictReader(file) if row["place"] == "site"}
    told = Counter(row["cause"] for row in sheet("truth.csv"))
    del told[""]
    assert set(told) <= known and len(told) > 20
    assert all(row["cause"] == "" for row in sheet("truth.csv") if row["fault"] == "healthy")


def test_line_truth_counts_what_is_here(lines: list[Line]) -> None:
    # the same lines, told apart by another reader
    assert len(lines) == sum(int(row["signals"]) for row in sheet("lines_truth.csv"))


def test_incidents_are_silent_while_others_talk(lines: list[Line]) -> None:
    for row in sheet("incidents_truth.csv"):
        if not row["receiver"]:  # shared by sites, not by a receiver
            continue
        begin, end = datetime.fromisoformat(row["from"]), datetime.fromisoformat(row["until"])
        during = [x for x in lines if begin <= x.wall < end]
        hit = [x for x in during if x.receiver == row["receiver"] and row["line"] in ("", x.line)]
        assert hit == [], row["kind"]
        assert len(during) > 100, row["kind"]


def test_strangers_speak_and_the_never_heard_do_not(lines: list[Line]) -> None:
    heard = {x.account for x in lines}
    for row in sheet("truth.csv"):
        if row["fault"] in ("never_heard", "account_not_on_roster"):
            assert (row["account"] in heard) == (row["fault"] != "never_heard"), row


def test_healthy_accounts_leave_nothing_open(lines: list[Line]) -> None:
    healthy = {row["account"] for row in sheet("truth.csv") if row["fault"] == "healthy"}
    state: dict[tuple[str, str, str], str] = {}
    for x in lines:
        if x.account in healthy and x.event[1:2] in "123":
            state[(x.account, x.event[1:], x.zone)] = x.event[0]
    assert len(state) > 200
    # E1#0 is the damaged code of one odd line
    assert [key for key, edge in state.items() if edge == "E" and key[1].isdigit()] == []


def test_standing_conditions_stand(lines: list[Line]) -> None:
    for row in sheet("truth.csv"):
        if row["fault"] in ("ac_power_out_standing", "trouble_standing", "line_cut_standing"):
            code = row["note"][1:4]
            edges = [x.event[0] for x in lines if x.account == row["account"] and x.event[1:] == code]
            assert edges[-1] == "E" and "R" in edges, row
