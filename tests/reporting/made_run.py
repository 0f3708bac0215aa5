"""A run made by hand for the reporting tests: an invented station, invented sites, hostile texts.

Nothing in it was judged. It is the shape that an audit hands over, filled so that every part of a page
has something to show, over the night of 25 October 2026 on which Vienna's clocks go back.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pyarrow as pa

VIENNA = ZoneInfo("Europe/Vienna")
FROM = datetime(2026, 10, 18, 22)  # Monday 19 October 00:00 in Vienna (UTC+2), as UTC
UNTIL = datetime(2026, 10, 25, 23)  # Monday 26 October 00:00 in Vienna (UTC+1), as UTC
AS_OF = UNTIL
SCRIPT = "</script><img src=x onerror=\"document.title='run'\">"
FORMULA = '=HYPERLINK("file:///tmp/x","click")'
LINKED = '<a href="http://example.invalid/">pay here</a>'
LONG = "Very long site name without end " * 12

TYPES: dict[str, pa.DataType] = {
    **dict.fromkeys(("since", "until", "from_utc", "until_utc", "hour_utc", "received_utc", "due_utc",
                     "first_heard_utc", "last_heard_utc"), pa.timestamp("us")),
    **dict.fromkeys(("measured", "limit", "cause_probability", "expected", "p", "value", "of", "hours",
                     "max_gap_s"), pa.float64()),
    **dict.fromkeys(("evidence_count", "excused_count", "page_no", "weeks_on_list", "n", "signals", "accounts",
                     "seen", "excused", "due", "strict", "lenient", "missed"), pa.int32()),
    **dict.fromkeys(("heard", "monitored", "is_resend"), pa.bool_()),
    "line_no": pa.int64(), "local_day": pa.date32(),
}  # fmt: skip

COLUMNS = {
    "findings": "week account site dealer installer check severity confidence action status since until measured limit"
    " unit evidence_count excused_count cause cause_probability next_step finding_id subject receiver_group title sentence"
    " look_alikes limit_source limit_standing system_type account_key page_no weeks_on_list",
    "verdicts": "check verdict reason n",
    "accounts": "account_key account receiver_group site customer dealer installer system_type status heard"
    " first_heard_utc last_heard_utc signals monitored page_no",
    "incidents": "incident_id kind receiver line from_utc until_utc accounts expected seen p excused why",
    "coverage": "receiver line hour_utc n state",
    "tests_by_day": "local_day due strict lenient missed excused",
    "figures": "name value of unit sentence",
    "unprotected": "account site system_type since hours reason told_authority_at told_owner_at receiver_group mark account_key",
    "resolved": "finding_id account site check title last_week",
    "quality": "topic reason n sample source",
    "evidence": "page_no account_key received_utc received_wall receiver line event_raw qualifier code label event_class"
    " partition zone path origin format is_resend source line_no raw",
    "check_in_days": "page_no local_day path n max_gap_s",
    "slots": "page_no account_key path origin due_utc state excused_by",
    "spans": "page_no kind label from_utc until_utc",
}


@dataclass(frozen=True)
class MadeRun:
    """Stands in for a stored run: ``meta`` and ``table(name)``."""

    meta: dict[str, Any]
    tables: dict[str, pa.Table]

    def table(self, name: str) -> pa.Table:
        return self.tables[name]


def table(name: str, rows: Sequence[dict[str, Any]]) -> pa.Table:
    """A run table with the contract's columns and types from rows that may leave columns out (text: '')."""
    columns = COLUMNS[name].split()
    unknown = {key for row in rows for key in row} - set(columns)
    assert not unknown, f"{name}: no such columns {unknown}"
    arrays = []
    for column in columns:
        kind = TYPES.get(column, pa.string())
        # ``of`` and ``accounts`` mean the same in every table that has them; text columns are never NULL.
        blank = "" if kind == pa.string() else None
        arrays.append(pa.array([row.get(column, blank) for row in rows], kind))
    return pa.table(arrays, names=columns)


def finding(page_no: int, check: str, severity: str, **more: Any) -> dict[str, Any]:
    """One finding row; the id as the design says: SHA-256 over account key, check, subject."""
    account = more.pop("account", f"{1000 + page_no}")
    key = f"main/{account}"
    subject = more.get("subject", "")
    row: dict[str, Any] = {
        "week": "2026-W43", "account": account, "site": f"Invented site {page_no}", "dealer": "Dealer North",
        "installer": "Installer A", "check": check, "severity": severity, "confidence": "strong",
        "action": "visit", "status": "new", "since": FROM - timedelta(days=2), "measured": 62.5, "limit": 24.5,
        "unit": "h", "evidence_count": 14, "excused_count": 1, "cause": "primary_path_dead",
        "cause_probability": 0.62, "next_step": "Ask for a manual test over the radio path first.",
        "receiver_group": "main", "title": check.replace("_", " "), "sentence": "0 of 7 tests since 16 Oct; 7 of 7 in each of the four weeks before.",
        "look_alikes": "Site closed for the season; roster interval out of date.",
        "limit_source": "interval in the roster", "limit_standing": "handbook", "system_type": "fire",
        "account_key": key, "page_no": page_no, "weeks_on_list": 1,
        "finding_id": hashlib.sha256(f"{key}|{check}|{subject}".encode()).hexdigest()[:12],
    }  # fmt: skip
    return row | more


def small() -> MadeRun:
    """The small run: seven accounts with findings, two without, two incidents, hostile texts."""
    findings = [
        finding(1, "gone_silent", "critical"),
        finding(1, "test_overdue", "major", action="remote", status="continuing", weeks_on_list=5, subject="path=radio"),
        finding(2, "test_overdue", "major", site=SCRIPT, dealer=FORMULA, sentence=f"{SCRIPT} {LINKED}", action="desk"),
        finding(3, "ac_power_out_standing", "minor", system_type="burglary", dealer="Dealer South", status="returned",
                weeks_on_list=3, confidence="likely"),
        finding(4, "trouble_standing", "minor", site=LONG, next_step=LONG, dealer="Dealer South", status="continuing", weeks_on_list=2),
        finding(5, "roster_incomplete", "note", action="desk", measured=None, limit=None, unit="", limit_source="",
                limit_standing="", cause="", cause_probability=None, since=None, system_type=""),
        finding(6, "account_not_on_roster", "critical", account="00../x", site="", dealer="", installer="", system_type="",
                action="desk", confidence="possible"),
        finding(7, "line_cut_flapping", "major", site="-2+3", system_type="holdup", next_step="+49 call the owner", confidence="likely"),
    ]  # fmt: skip
    accounts = [
        {"account_key": f["account_key"], "account": f["account"], "receiver_group": "main", "site": f["site"],
         "customer": SCRIPT if f["page_no"] == 2 else f"Customer {f['page_no'] % 3}", "dealer": f["dealer"],
         "installer": f["installer"], "system_type": f["system_type"], "status": "active", "heard": True,
         "first_heard_utc": FROM - timedelta(days=200), "last_heard_utc": FROM - timedelta(days=2), "signals": 40,
         "monitored": True, "page_no": f["page_no"]}
        for f in {f["account_key"]: f for f in findings if f["page_no"] != 6}.values()
    ]  # fmt: skip
    accounts += [
        {"account_key": f"main/20{i}", "account": f"20{i}", "receiver_group": "main", "site": f"Sound site {i}",
         "customer": "Customer 1", "dealer": "Dealer North", "system_type": "burglary", "status": "active",
         "heard": i == 1, "last_heard_utc": UNTIL - timedelta(hours=3) if i == 1 else None, "signals": 14 if i == 1 else 0, "monitored": True}
        for i in (1, 2)
    ]  # fmt: skip
    return MadeRun(_meta(), {
        "findings": table("findings", findings),
        "accounts": table("accounts", accounts),
        "verdicts": table("verdicts", [
            {"check": "gone_silent", "verdict": "finding", "n": 1}, {"check": "gone_silent", "verdict": "sound", "n": 8},
            {"check": "test_overdue", "verdict": "finding", "n": 2},
            {"check": "test_overdue", "verdict": "not_judged", "reason": "no test interval known", "n": 3},
            {"check": "supervision_missed", "verdict": "not_judged", "reason": "check-ins are not in this log", "n": 9},
        ]),
        "incidents": table("incidents", _incidents()),
        "coverage": table("coverage", _coverage()),
        "tests_by_day": table("tests_by_day", [
            {"local_day": (FROM + timedelta(days=i, hours=6)).date(), "due": 40, "strict": 36 - i, "lenient": 37 - i,
             "missed": 1 + i, "excused": 2} for i in range(7)]),
        "figures": table("figures", _figures()),
        "unprotected": table("unprotected", [
            {"account": "1001", "site": "Invented site 1", "system_type": "fire", "since": FROM - timedelta(days=2),
             "hours": 217.0, "reason": "silent, no incident explains it", "receiver_group": "main", "mark": "8 h", "account_key": "main/1001"},
            {"account": "1007", "site": "-2+3", "system_type": "holdup", "since": UNTIL - timedelta(hours=5), "hours": 5.0,
             "reason": "inside the outage of receiver 2", "receiver_group": "main", "mark": "4 h", "account_key": "main/1007"},
        ]),
        "resolved": table("resolved", [{"finding_id": "abcdef012345", "account": "1042", "site": "Cured site",
                                        "check": "gone_silent", "title": "gone silent", "last_week": "2026-W42"}]),
        "quality": table("quality", [
            {"topic": "reject", "reason": "time not readable", "n": 4, "sample": f"{SCRIPT},2026", "source": "night.csv"},
            {"topic": "repeat", "reason": "line already held", "n": 310, "source": "night.csv"},
            {"topic": "doubtful_time", "reason": "repeated hour, order does not tell", "n": 6, "source": "night.csv"}]),
        "evidence": table("evidence", _evidence()),
        "check_in_days": table("check_in_days", [
            {"page_no": 1, "local_day": (FROM - timedelta(days=9 - i)).date(), "path": "radio", "n": 96, "max_gap_s": 900.0} for i in range(7)]),
        "slots": table("slots", _slots()),
        "spans": table("spans", [
            {"page_no": 1, "kind": "incident", "label": "outage of receiver 2", "from_utc": FROM + timedelta(days=3), "until_utc": FROM + timedelta(days=3, hours=7)},
            {"page_no": 1, "kind": "on_test", "label": LINKED, "from_utc": FROM - timedelta(days=20), "until_utc": FROM - timedelta(days=19)},
            {"page_no": 1, "kind": "coverage_hole", "label": "log missing", "from_utc": FROM - timedelta(days=6), "until_utc": FROM - timedelta(days=5)},
            {"page_no": 1, "kind": "episode", "label": "E301 without a restore", "from_utc": FROM - timedelta(days=3), "until_utc": None}]),
    })  # fmt: skip


def _meta() -> dict[str, Any]:
    return {
        "schema": 1, "run_id": "2026-W43-0a1b2c", "kind": "week", "label": "2026-W43",
        "from_utc": FROM.isoformat() + "Z", "until_utc": UNTIL.isoformat() + "Z", "as_of_utc": AS_OF.isoformat() + "Z",
        "timezone": "Europe/Vienna", "station": "Invented station", "edition": "", "sigaudit_version": "0.1.0",
        "settings": [{"key": "history_weeks", "value": 13, "where": "default"}, {"key": "station.name", "value": SCRIPT, "where": "sigaudit.toml:3"}],
        "roster": {"version": 2, "valid_from": "2026-10-01", "files": ["roster/accounts.csv"]},
        "sources": [{"name": "exports/night.csv", "sha256": hashlib.sha256(b"night").hexdigest(), "bytes": 1000, "lines": 1330,
                     "signals": 1000, "repeats": 310, "rejects": 4, "skipped": 16, "first_utc": "2026-09-20T22:00:00Z",
                     "last_utc": "2026-10-25T22:59:00Z", "layout": "plain"}],
        "sum": {"lines": 1330, "signals": 1000, "repeats": 310, "rejects": 4, "skipped": 16},
        "checks": [{"id": "gone_silent", "title": "Gone silent", "question": "Who used to report and no longer does?", "state": "on"},
                   {"id": "test_overdue", "title": "Test overdue", "question": "Whose test is late now?", "state": "re-rated"},
                   {"id": "supervision_missed", "title": "Supervision missed", "question": "Whose link was lost?", "state": "on"}],
        "previous": ["2026-W41", "2026-W42"],
    }  # fmt: skip


def _incidents() -> list[dict[str, Any]]:
    start = FROM + timedelta(days=3)
    return [
        {"incident_id": "i1", "kind": "receiver_outage", "receiver": "2", "line": "", "from_utc": start,
         "until_utc": start + timedelta(hours=7), "accounts": 40, "expected": 31.5, "seen": 0, "p": 2.1e-14, "excused": 14,
         "why": "The receiver's own power trouble stands at its start and its backlog follows."},
        {"incident_id": "i2", "kind": "export_gap", "receiver": "1", "line": "03", "from_utc": FROM + timedelta(days=5),
         "until_utc": FROM + timedelta(days=5, hours=12), "accounts": 12, "expected": 9.0, "seen": 0, "p": None, "excused": 4,
         "why": "No source holds these hours, and the sequence numbers jump."},
    ]  # fmt: skip


def _coverage() -> list[dict[str, Any]]:
    made = []
    first = FROM - timedelta(days=7)
    for receiver, line in (("1", "01"), ("1", "02"), ("1", "03"), ("2", "01")):
        for hour in range(int((UNTIL - first).total_seconds() // 3600)):
            at = first + timedelta(hours=hour)
            state = "quiet" if hour % 29 == 0 else "covered"
            if receiver == "2" and 240 <= hour < 247:
                state = "outage"
            if line == "03" and 288 <= hour < 300:
                state = "missing"
            if line == "02" and hour in (100, 101):
                state = "not_told_apart"
            made.append({"receiver": receiver, "line": line, "hour_utc": at, "n": 0 if state != "covered" else 3 + hour % 5, "state": state})  # fmt: skip
    return made


def _figures() -> list[dict[str, Any]]:
    return [
        {"name": "unprotected", "value": 2.0, "unit": "accounts", "sentence": "Fire, medical and hold-up accounts that nothing proves reachable."},
        {"name": "accounts_heard", "value": 291.0, "of": 300.0, "unit": "accounts", "sentence": "Heard at least once in the window."},
        {"name": "tests_on_time_strict", "value": 231.0, "of": 280.0, "unit": "tests", "sentence": "By a test signal of that origin and path."},
        {"name": "tests_on_time_lenient", "value": 238.0, "of": 280.0, "unit": "tests", "sentence": "By any signal of that origin on that path."},
        {"name": "supervised_hours_lost", "value": 88.25, "unit": "hours", "sentence": "Hours a supervised path was down, reminders folded."},
        {"name": "line_cuts", "value": 5.0, "unit": "cuts", "sentence": "Telephone line faults reported, resends folded."},
        {"name": "incidents", "value": 2.0, "unit": "incidents", "sentence": "Disturbances shared by many accounts."},
    ]  # fmt: skip


def _evidence() -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = []
    kinds = (("E602", "E", "602", "Periodic test report", "test"), ("E301", "E", "301", "AC loss", "trouble"),
             ("R301", "R", "301", "AC loss", "trouble"), ("E110", "E", "110", "Fire", "alarm"))  # fmt: skip
    for page_no in range(1, 8):
        for i in range(40 if page_no != 4 else 900):
            event, qualifier, code, label, kind = kinds[0 if i % 9 else (i // 9) % 4]
            at = FROM - timedelta(days=27) + timedelta(hours=15 * i % 640 if page_no != 4 else i * 0.7)
            made.append({
                "page_no": page_no, "account_key": f"main/{1000 + page_no}", "received_utc": at,
                "received_wall": f"{at.replace(tzinfo=UTC).astimezone(VIENNA):%Y-%m-%d %H:%M:%S}", "receiver": "1", "line": "01",
                "event_raw": event, "qualifier": qualifier, "code": code, "label": SCRIPT if i == 3 else label, "event_class": kind,
                "partition": "1", "zone": "012" if code == "110" else "", "path": "radio", "origin": "panel", "format": "contact_id",
                "is_resend": i % 13 == 5, "source": "exports/night.csv", "line_no": 100 + i,
                "raw": f"{at},1,01,{1000 + page_no},{event},1,012,{LINKED if i == 4 else FORMULA if i == 5 else ''}\x07"})  # fmt: skip
    return made


def _slots() -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = []
    for day in range(35):
        due = FROM - timedelta(days=28 - day) + timedelta(hours=5)
        state = "missed" if day >= 30 else "excused" if day in (22, 23) else "received"
        made.append({"page_no": 1, "account_key": "main/1001", "path": "radio", "origin": "panel", "due_utc": due,
                     "state": state, "excused_by": "i1" if state == "excused" else ""})  # fmt: skip
    # A sound account has no page; its slots carry no page number.
    made += [{"page_no": None, "account_key": "main/201", "path": "radio", "origin": "panel",
              "due_utc": FROM + timedelta(days=day, hours=5), "state": "received"} for day in range(7)]  # fmt: skip
    return made
