"""Which rows of a run count at which account, and how a stray number joins. No source: the tool's own contract."""

from __future__ import annotations

from typing import Any

import pyarrow as pa
import pytest

from sigaudit.judging.cause_evidence import Evidence, from_tables, gather, traits_of
from sigaudit.judging.causes import FIRES, LEFT_OUT, SILENT
from sigaudit.judging.checks import ROWS

CHECKS = ("gone_silent", "test_overdue", "account_near_miss", "account_not_on_roster", "one_account_two_sites")
ON = (frozenset({"on_roster"}), frozenset[str]())
OFF = (frozenset[str](), frozenset({"on_roster"}))


def verdicts(*rows: tuple[str, str, str, str] | tuple[str, str, str, str, int]) -> pa.Table:
    """(check, account key, subject, verdict[, grade]) as rows of the contract."""
    made = [
        {"check_id": c, "account_key": k, "subject": s, "verdict": v,
         "reason": "too little" if v == "not_judged" else "",
         "grade": more[0] if more else 3, "inferred": 0, "doubtful": 0, "excused_count": 0}
        for c, k, s, v, *more in rows
    ]  # fmt: skip
    return pa.Table.from_pylist(made, schema=ROWS)


def gathered(*rows: Any, rostered: tuple[str, ...] = ("main/1", "main/2")) -> Evidence:
    traits = dict.fromkeys(rostered, ON)
    for row in rows:
        traits.setdefault(row[1], OFF)
    return gather(verdicts(*rows), CHECKS, rostered, traits)


def seen(evidence: Evidence, key: str, *, joined: bool = False) -> dict[str, int]:
    own, with_stray, _ = evidence.states(CHECKS)
    place = [unit.key for unit in evidence.units].index(key)
    return dict(zip(CHECKS, (with_stray if joined else own)[place].tolist(), strict=True))


def test_a_check_fires_on_any_subject_and_silence_needs_a_judgement() -> None:
    evidence = gathered(
        ("gone_silent", "main/1", "", "finding"),
        ("test_overdue", "main/1", "path=a", "not_judged"),
        ("test_overdue", "main/2", "path=a", "sound"),
        ("test_overdue", "main/2", "path=b", "finding"),
        ("gone_silent", "main/3", "", "sound"),
    )
    assert [unit.key for unit in evidence.units] == ["main/1", "main/2"]  # an account without findings is no case
    assert seen(evidence, "main/1") == {
        "gone_silent": FIRES, "test_overdue": LEFT_OUT, "account_near_miss": SILENT, "account_not_on_roster": SILENT,
        "one_account_two_sites": SILENT,
    }  # fmt: skip
    assert seen(evidence, "main/2")["test_overdue"] == FIRES
    assert evidence.reasons == {("main/1", "test_overdue"): "too little"}


def test_a_check_that_did_not_run_is_left_out() -> None:
    rows = verdicts(("gone_silent", "main/1", "", "finding"))
    evidence = gather(rows, ["gone_silent"], ["main/1"], {"main/1": ON})
    assert seen(evidence, "main/1")["test_overdue"] == LEFT_OUT


def test_a_stray_joins_the_account_it_is_probably_of() -> None:
    evidence = gathered(
        ("gone_silent", "main/1", "", "finding"),
        ("account_near_miss", "main/1", "peer=main/9", "finding", 2),
        ("account_not_on_roster", "main/9", "", "finding"),
    )
    (unit,) = evidence.units
    assert (unit.key, unit.stray, unit.link, unit.rivals) == ("main/1", "main/9", 0.7, ())
    assert seen(evidence, "main/1")["account_near_miss"] == SILENT  # without the stray there is nothing near
    with_stray = seen(evidence, "main/1", joined=True)
    assert with_stray["account_near_miss"] == with_stray["account_not_on_roster"] == FIRES


def test_a_stray_that_fits_two_is_shown_at_both_and_counted_once() -> None:
    evidence = gathered(
        ("account_near_miss", "main/1", "peer=main/9", "finding", 3),
        ("account_near_miss", "main/2", "peer=main/9", "finding", 2),
        ("account_not_on_roster", "main/9", "", "finding"),
    )
    first, second = evidence.units
    assert first.link == pytest.approx(0.9 / 1.6) and second.link == pytest.approx(0.7 / 1.6)
    assert first.link + second.link == pytest.approx(1.0)
    assert (first.rivals, second.rivals) == (("main/2",), ("main/1",))


def test_a_number_of_nobody_is_a_case_of_its_own() -> None:
    evidence = gathered(("account_not_on_roster", "main/9", "", "finding"))
    (unit,) = evidence.units
    assert unit.key == "main/9" and "on_roster" in unit.has_not
    assert seen(evidence, "main/9") == {
        "gone_silent": LEFT_OUT, "test_overdue": LEFT_OUT, "account_near_miss": LEFT_OUT,
        "account_not_on_roster": FIRES, "one_account_two_sites": LEFT_OUT,
    }  # fmt: skip


def test_two_rostered_accounts_named_by_one_finding_both_have_it() -> None:
    evidence = gathered(("one_account_two_sites", "main/1", "peer=main/2", "finding"),
                        ("gone_silent", "main/2", "", "finding"))  # fmt: skip
    assert seen(evidence, "main/1")["one_account_two_sites"] == FIRES
    assert seen(evidence, "main/2")["one_account_two_sites"] == FIRES


def test_the_evidence_of_a_saved_run_is_the_same() -> None:
    evidence = gathered(
        ("gone_silent", "main/1", "", "finding"),
        ("test_overdue", "main/1", "", "not_judged"),
        ("account_near_miss", "main/1", "peer=main/9", "finding"),
        ("account_near_miss", "main/2", "peer=main/9", "finding"),
        ("account_not_on_roster", "main/9", "", "finding"),
    )
    again = from_tables(*evidence.tables().values(), active=CHECKS)
    assert again.units == evidence.units and again.reasons == evidence.reasons
    for left, right in zip(evidence.states(CHECKS), again.states(CHECKS), strict=True):
        assert (left == right).all()


def test_traits_are_known_or_not_known() -> None:
    blank = {"has_contacts": "", "sends_openings": "", "panel_account": "", "system_type": ""}
    accounts = [{"account_key": f"main/{i}", **blank} for i in range(1, 4)]
    accounts[1] |= {"has_contacts": "yes", "sends_openings": "no", "system_type": "burglary"}
    paths = [{"account_key": "main/1", "kind": "phone", "role": "primary", "checks_in": ""},
             {"account_key": "main/2", "kind": "radio", "role": "primary", "checks_in": "yes"},
             {"account_key": "main/2", "kind": "phone", "role": "", "checks_in": ""}]  # fmt: skip
    traits = traits_of(accounts, paths, [("main/1", "test")], {"main/1": "fire"})
    assert traits["main/1"] == (
        frozenset({"on_roster", "phone", "tests_required", "fire"}),
        frozenset(
            {
                "radio",
                "internet_or_cellular",
                "two_paths",
                "supervised",
                "captured",
                "burglary",
                "two_phone_lines",
                "backup_not_phone",
            }
        ),
    )
    assert traits["main/2"] == (
        frozenset({"on_roster", "radio", "phone", "two_paths", "supervised", "contacts", "captured", "burglary"}),
        frozenset({"internet_or_cellular", "tests_required", "openings", "fire", "two_phone_lines"}),
    )
    assert traits["main/3"] == (frozenset({"on_roster"}), frozenset())


def test_a_second_line_is_told_from_a_second_path() -> None:
    blank = {"has_contacts": "", "sends_openings": "", "panel_account": "", "system_type": ""}
    ways = ((1, "phone", "primary"), (1, "phone", "backup"), (2, "internet", "primary"), (2, "cellular", "backup"))
    paths = [{"account_key": f"main/{i}", "kind": kind, "role": role, "checks_in": ""} for i, kind, role in ways]
    traits = traits_of([{"account_key": f"main/{i}", **blank} for i in (1, 2)], paths, [], {})
    assert "two_phone_lines" in traits["main/1"][0] and "backup_not_phone" in traits["main/1"][1]
    assert "two_phone_lines" in traits["main/2"][1] and "backup_not_phone" in traits["main/2"][0]
