"""Parts of the run made by hand: what the invented station's log holds and what was due."""

from __future__ import annotations

import hashlib
from datetime import UTC, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pyarrow as pa
from run_tables import FORMULA, FROM, LINKED, SCRIPT, UNTIL, table

VIENNA = ZoneInfo("Europe/Vienna")


def meta() -> dict[str, Any]:
    return {
        "schema": 1,
        "run_id": "2026-W43-0a1b2c",
        "kind": "week",
        "label": "2026-W43",
        "from_utc": FROM.isoformat() + "Z",
        "until_utc": UNTIL.isoformat() + "Z",
        "as_of_utc": UNTIL.isoformat() + "Z",
        "timezone": "Europe/Vienna",
        "station": "Invented station",
        "edition": "",
        "sigaudit_version": "0.1.0",
        "settings": [
            {"key": "history_weeks", "value": 13, "where": "default"},
            {"key": "station.name", "value": SCRIPT, "where": "sigaudit.toml:3"},
        ],
        "roster": {"version": 2, "valid_from": "2026-10-01", "files": ["roster/accounts.csv"]},
        "sources": [
            {
                "name": "exports/night.csv",
                "sha256": hashlib.sha256(b"night").hexdigest(),
                "bytes": 1000,
                "lines": 1330,
                "signals": 1000,
                "repeats": 310,
                "rejects": 4,
                "skipped": 16,
                "first_utc": "2026-09-20T22:00:00Z",
                "last_utc": "2026-10-25T22:59:00Z",
                "layout": "plain",
            }
        ],
        "sum": {"lines": 1330, "signals": 1000, "repeats": 310, "rejects": 4, "skipped": 16},
        "checks": [
            {
                "id": "gone_silent",
                "title": "Gone silent",
                "question": "Who used to report and no longer does?",
                "state": "on",
            },
            {
                "id": "test_overdue",
                "title": "Test overdue",
                "question": "Whose test is late now?",
                "state": "re-rated",
            },
            {
                "id": "supervision_missed",
                "title": "Supervision missed",
                "question": "Whose link was lost?",
                "state": "on",
            },
        ],
        "previous": ["2026-W41", "2026-W42"],
    }


def incidents() -> list[dict[str, Any]]:
    start = FROM + timedelta(days=3)
    return [
        {
            "incident_id": "i1",
            "kind": "receiver_outage",
            "receiver": "2",
            "line": "",
            "from_utc": start,
            "until_utc": start + timedelta(hours=7),
            "accounts": 40,
            "expected": 31.5,
            "seen": 0,
            "p": 2.1e-14,
            "excused": 14,
            "why": "The receiver's own power trouble stands at its start and its backlog follows.",
        },
        {
            "incident_id": "i2",
            "kind": "export_gap",
            "receiver": "1",
            "line": "03",
            "from_utc": FROM + timedelta(days=5),
            "until_utc": FROM + timedelta(days=5, hours=12),
            "accounts": 12,
            "expected": 9.0,
            "seen": 0,
            "p": None,
            "excused": 4,
            "why": "No source holds these hours, and the sequence numbers jump.",
        },
        {
            "incident_id": "i3",
            "kind": "area_power_outage",
            "receiver": "",
            "line": "",
            "shared": "area North <bank>",
            "from_utc": FROM + timedelta(days=4),
            "until_utc": None,
            "accounts": 21,
            "expected": 0.04,
            "seen": 21,
            "p": 6.4e-20,
            "excused": 9,
            "why": "21 of 25 accounts that share area North <bank> reported mains power lost within 4 min.",
        },
    ]


def coverage() -> list[dict[str, Any]]:
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
            made.append(
                {
                    "receiver": receiver,
                    "line": line,
                    "hour_utc": at,
                    "n": 0 if state != "covered" else 3 + hour % 5,
                    "state": state,
                }
            )
    return made


def first_misses() -> list[dict[str, Any]]:
    """Three single misses: of an account without a finding, of one with a hostile name, of one with a page."""
    rows = (("201", "Sound site 1", "phone", "test", 1), ("202", SCRIPT, "", "panel_test", 1))
    rows += (("1003", "Invented site 3", "radio", "test", 2),)
    return [
        {
            "account_key": f"main/{account}", "account": account, "site": site, "path": path, "what": what,
            "k": k, "n": 7, "last_missed_utc": FROM + timedelta(days=3),
        }
        for account, site, path, what, k in rows
    ]  # fmt: skip


def figures() -> list[dict[str, Any]]:
    return [
        {
            "name": "single_misses",
            "value": 4.0,
            "of": 2.8,
            "unit": "misses",
            "sentence": "4 single misses of which no finding tells; by luck about 3 are expected (1.00% of 280 due).",
        },
        {
            "name": "unprotected",
            "value": 2.0,
            "unit": "accounts",
            "sentence": "Fire, medical and hold-up accounts that nothing proves reachable.",
        },
        {
            "name": "accounts_heard",
            "value": 291.0,
            "of": 300.0,
            "unit": "accounts",
            "sentence": "Heard at least once in the window.",
        },
        {
            "name": "tests_on_time_strict",
            "value": 231.0,
            "of": 280.0,
            "unit": "tests",
            "sentence": "By a test signal of that origin and path.",
        },
        {
            "name": "tests_on_time_lenient",
            "value": 238.0,
            "of": 280.0,
            "unit": "tests",
            "sentence": "By any signal of that origin on that path.",
        },
        {
            "name": "supervised_hours_lost",
            "value": 88.25,
            "unit": "hours",
            "sentence": "Hours a supervised path was down, reminders folded.",
        },
        {
            "name": "line_cuts",
            "value": 5.0,
            "unit": "cuts",
            "sentence": "Telephone line faults reported, resends folded.",
        },
        {
            "name": "incidents",
            "value": 3.0,
            "unit": "incidents",
            "sentence": "Disturbances shared by many accounts.",
        },
    ]


def meeting(findings: list[dict[str, Any]]) -> dict[str, pa.Table]:
    """Numbers of this week and two before, one account not back after the outage, what was weighed of a finding."""
    checks = {"silent_now": "gone_silent never_heard", "degraded_now": "test_overdue", "on_test_over_limit": "x"}
    weeks = [
        {"week": f"2026-W{43 - past}", "name": name, "value": float(value - past), "checks": checks.get(name, "")}
        for past in range(3)
        for name, value in (("silent_now", 3), ("degraded_now", 12), ("on_test_over_limit", 2), ("cured", 5))
    ]
    weeks.append({"week": "2026-W43", "name": "judged", "value": 31.0, "of": 40.0})
    away = {"incident_id": "i1", "account_key": "main/1001", "account": "1001", "site": "Invented site 1"}
    weighed = {"finding_id": findings[1]["finding_id"], "measure": "own_weeks", "value": 0.01}
    return {
        "weeks": table("weeks", weeks),
        "stragglers": table("stragglers", [{**away, "finding_id": "f", "title": "gone silent", "since": FROM}]),
        "weighed": table(
            "weighed",
            [
                {
                    **weighed,
                    "finding_id": findings[0]["finding_id"],
                    "words": "silences of this length: 1 of 400 sites",
                },
                {**weighed, "rank_no": 1, "words": "7 of 7 missed, 0 of 28 in four weeks before (Fisher, p 0.0002)"},
                {**weighed, "rank_no": 2, "words": "peers miss 0.5 % <b>of all</b>"},
            ],
        ),
    }


def evidence() -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = []
    kinds = (
        ("E602", "E", "602", "Periodic test report", "test"),
        ("E301", "E", "301", "AC loss", "trouble"),
        ("R301", "R", "301", "AC loss", "trouble"),
        ("E110", "E", "110", "Fire", "alarm"),
    )
    odd = {4: LINKED, 5: FORMULA}
    for page_no in range(1, 8):
        for i in range(40 if page_no != 4 else 900):
            event, qualifier, code, label, kind = kinds[0 if i % 9 else (i // 9) % 4]
            at = FROM - timedelta(days=27) + timedelta(hours=15 * i % 640 if page_no != 4 else i * 0.7)
            made.append(
                {
                    "page_no": page_no,
                    "account_key": f"main/{1000 + page_no}",
                    "received_utc": at,
                    "received_wall": f"{at.replace(tzinfo=UTC).astimezone(VIENNA):%Y-%m-%d %H:%M:%S}",
                    "receiver": "1",
                    "line": "01",
                    "event_raw": event,
                    "qualifier": qualifier,
                    "code": code,
                    "label": SCRIPT if i == 3 else label,
                    "event_class": kind,
                    "partition": "1",
                    "zone": "012" if code == "110" else "",
                    "path": "radio",
                    "origin": "panel",
                    "format": "contact_id",
                    "is_resend": i % 13 == 5,
                    "source": "exports/night.csv",
                    "line_no": 100 + i,
                    "raw": f"{at},1,01,{1000 + page_no},{event},1,012,{odd.get(i, '')}\x07",
                }
            )
    return made


def slots() -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = []
    for day in range(35):
        due = FROM - timedelta(days=28 - day) + timedelta(hours=5)
        state = "missed" if day >= 30 else "excused" if day in (22, 29) else "received"
        made.append(
            {
                "page_no": 1,
                "account_key": "main/1001",
                "path": "radio",
                "origin": "panel",
                "due_utc": due,
                "state": state,
                "excused_by": "i1" if state == "excused" else "",
            }
        )
    # A sound account has no page; its slots carry no page number.
    made += [
        {
            "page_no": None,
            "account_key": "main/201",
            "path": "radio",
            "origin": "panel",
            "due_utc": FROM + timedelta(days=day, hours=5),
            "state": "received",
        }
        for day in range(7)
    ]
    return made
