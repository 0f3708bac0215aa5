"""What a site should be able to send, from its roster rows alone.

Codes are compared with an independent copy of the SIA DC-05 table (package siadc09); which step comes before which is
common practice, no source.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from siadc09 import dc05  # an independent reading of the DC-05 code table

from sigaudit.judging import repair, signal_plan
from sigaudit.store.roster_tables import SCHEMAS

CHECKS = {path.stem for path in (Path(__file__).resolve().parents[2] / "queries" / "checks").glob("*.sql")}


def account(**more: Any) -> dict[str, Any]:
    return {"account_key": "main/0421", "system_type": "fire", "sends_restores": "yes", "sends_openings": "no"} | more


def path(name: str, kind: str, role: str = "primary", **more: Any) -> dict[str, Any]:
    row = {"account_key": "main/0421", "path": name, "kind": kind, "role": role, "receiver": "1", "line": "2"}
    return {**row, "test_s": None, "supervision_s": None} | more


def zone(number: str, kind: str) -> dict[str, Any]:
    return {"account_key": "main/0421", "partition": "1", "zone": number, "kind": kind, "label": f"{kind} {number}"}


def codes(steps: list[signal_plan.Step], kind: str) -> list[tuple[str, str]]:
    return [(step.event, step.restore) for step in steps if step.kind == kind]


def test_every_kind_of_point_reports_by_a_code_of_the_table() -> None:
    known = set(dc05.EVENT)
    for kind in signal_plan.zone_kinds().values():
        assert kind.code in known, kind
    for code in {*signal_plan.LOSS_CODES.values(), signal_plan.SECOND_LINE, "301", "302", "401", "601", "602"}:
        assert code in known, code


def test_one_phone_line_cannot_tell_of_its_own_loss() -> None:
    steps = signal_plan.plan(account(), [path("phone", "phone", test_s=21600.0)], [])
    assert codes(steps, "path") == []
    assert codes(steps, "test") == [("E601", ""), ("E602", "")]
    timed = steps[1]
    assert timed.within_s == 21600.0 and timed.watch  # due later is not missing now


def test_of_two_lines_each_loss_comes_by_the_other_with_its_own_code() -> None:
    ways = [path("phone1", "phone", line="1"), path("phone2", "phone", "backup", line="2")]
    steps = [step for step in signal_plan.plan(account(), ways, []) if step.kind == "path"]
    assert [(s.event, s.restore, s.path, s.line) for s in steps] == [
        ("E351", "R351", "phone2", "2"),
        ("E352", "R352", "phone1", "1"),
    ]


def test_points_restore_at_reset_and_mains_loss_is_only_to_be_watched() -> None:
    steps = signal_plan.plan(account(), [path("radio", "radio")], [zone("002", "pull"), zone("001", "smoke")])
    assert codes(steps, "alarm") == [("E111", "R111"), ("E115", "R115")]  # in the order of the zone list
    power = next(step for step in steps if step.kind == "power")
    assert power.watch and power.within_s == 3 * 3600
    silent = signal_plan.plan(account(sends_restores="no"), [], [zone("001", "smoke")])
    assert codes(silent, "alarm") == [("E111", "")]


def test_contact_copies_have_no_code_of_their_own_and_users_are_no_points() -> None:
    zones = [zone("901", "contact_input"), zone("005", "user"), zone("006", "communicator"), zone("007", "sculpture")]
    steps = signal_plan.plan(account(), [path("radio", "radio")], zones)
    assert codes(steps, "contact") == [("E", "R")]
    assert codes(steps, "zone_without_code") == [("E", "R")]
    assert codes(steps, "alarm") == []


@pytest.mark.parametrize(("says", "n"), [("yes", 1), ("no", 0), ("", 0)])
def test_openings_are_asked_for_where_the_site_sends_them(says: str, n: int) -> None:
    assert len(codes(signal_plan.plan(account(sends_openings=says), [], []), "open_close")) == n


def test_every_check_says_what_shows_it_to_be_mended() -> None:
    assert set(signal_plan.proofs()) == CHECKS
    kinds = {"test", "path", "alarm", "contact", "power", "every_zone", "named_zone", "open_close"}
    assert {kind for wanted in signal_plan.proofs().values() for kind in wanted} == kinds


def test_what_is_needed_follows_from_the_findings() -> None:
    zones = [zone("001", "smoke"), zone("002", "smoke"), zone("003", "pull")]
    ways = [path("phone", "phone"), path("radio", "radio", "backup")]
    steps = signal_plan.plan(account(), ways, zones)

    def needed(*found: tuple[str, str]) -> list[tuple[str, str]]:
        return [(step.kind, step.zone) for step in signal_plan.needed(steps, found)]

    tests = [("test", ""), ("test", "")]
    assert needed(("gone_silent", "")) == [*tests, ("alarm", "001"), ("alarm", "003")]  # one of each kind
    assert needed(("line_cut_standing", "path=phone")) == [*tests, ("path", ""), ("path", "")]
    assert needed(("zone_chatter", "zone=1/002")) == [*tests, ("alarm", "002")]
    assert needed(("zone_chatter", "")) == [*tests, ("alarm", "001")]
    every = [("alarm", "001"), ("alarm", "002"), ("alarm", "003")]
    assert needed(("restores_missing", "")) == [*tests, ("power", ""), ("battery", ""), *every]


def test_accounts_off_the_roster_have_no_plan() -> None:
    roster = {
        name: pa.Table.from_pylist(rows, schema=SCHEMAS[name])
        for name, rows in {
            "accounts": [account()],
            "paths": [path("phone", "phone")],
            "zones": [],
        }.items()
    }
    findings = pa.table(
        {
            "page_no": pa.array([1, 2], pa.int64()),
            "account_key": ["main/0421", "main/7777"],
            "check": ["gone_silent", "account_not_on_roster"],
            "subject": ["", ""],
        }
    )
    rows = repair.signals_to_see(findings, roster).to_pylist()
    assert [(row["page_no"], row["step_no"], row["event"]) for row in rows] == [(1, 1, "E601")]
