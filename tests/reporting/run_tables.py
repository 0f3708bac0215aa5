"""The tables a run is made of, as the reporting wing may expect them, for runs made by hand."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pyarrow as pa

FROM = datetime(2026, 10, 18, 22)  # Monday 19 October 00:00 in Vienna (UTC+2), as UTC
UNTIL = datetime(2026, 10, 25, 23)  # Monday 26 October 00:00 in Vienna (UTC+1), as UTC
SCRIPT = "</script><img src=x onerror=\"document.title='run'\">"
FORMULA = '=HYPERLINK("file:///tmp/x","click")'
LINKED = '<a href="http://example.invalid/">pay here</a>'
LONG = "Very long site name without end " * 12

TYPES: dict[str, pa.DataType] = {
    **dict.fromkeys(
        (
            "since",
            "until",
            "from_utc",
            "until_utc",
            "hour_utc",
            "received_utc",
            "due_utc",
            "first_heard_utc",
            "last_heard_utc",
            "last_missed_utc",
        ),
        pa.timestamp("us"),
    ),
    **dict.fromkeys(
        (
            "measured",
            "limit",
            "cause_probability",
            "expected",
            "p",
            "value",
            "of",
            "hours",
            "max_gap_s",
            "probability",
            "entry_probability",
            "rival_probability",
            "none_probability",
            "link",
            "test_s",
            "supervision_s",
            "within_s",
        ),
        pa.float64(),
    ),
    **dict.fromkeys(
        (
            "evidence_count",
            "excused_count",
            "page_no",
            "rank",
            "rank_no",
            "weeks_on_list",
            "n",
            "signals",
            "accounts",
            "seen",
            "excused",
            "due",
            "strict",
            "lenient",
            "missed",
            "k",
        ),
        pa.int32(),
    ),
    **dict.fromkeys(("heard", "monitored", "is_resend", "shown"), pa.bool_()),
    "line_no": pa.int64(),
    "step_no": pa.int64(),
    "local_day": pa.date32(),
    "visited_on": pa.date32(),
}

COLUMNS = {
    "findings": "week account site dealer installer check severity confidence action status since until"
    " measured limit unit evidence_count excused_count cause cause_probability next_step finding_id subject"
    " receiver_group title sentence look_alikes limit_source limit_standing system_type account_key page_no"
    " weeks_on_list",
    "causes": "account_key account receiver_group site dealer installer system_type rank cause title probability pair"
    " entry_probability confidence shown action sits says evidence_for evidence_against rival rival_probability apart"
    " next_observation field_check fix parts cautions standing none_probability stray_key link rival_key stray_note",
    "verdicts": "check verdict reason n",
    "accounts": "account_key account receiver_group site customer dealer installer system_type status heard"
    " first_heard_utc last_heard_utc signals monitored page_no area address",
    "incidents": "incident_id kind receiver line shared from_utc until_utc accounts expected seen p excused why",
    "coverage": "receiver line hour_utc n state",
    "tests_by_day": "local_day due strict lenient missed excused",
    "figures": "name value of unit sentence",
    "unprotected": "account site system_type since hours reason told_authority_at told_owner_at"
    " receiver_group mark account_key",
    "first_misses": "account_key account site path what k n last_missed_utc",
    "weighed": "finding_id rank_no measure value low high words",
    "weeks": "week name value of checks",
    "stragglers": "incident_id account_key account site finding_id title since",
    "resolved": "finding_id account site check title last_week",
    "quality": "topic reason n sample source",
    "evidence": "page_no account_key received_utc received_wall receiver line event_raw qualifier code label"
    " event_class test_kind partition zone path origin format is_resend source line_no raw",
    "check_in_days": "page_no local_day path n max_gap_s",
    "slots": "page_no account_key path origin due_utc state excused_by",
    "spans": "page_no kind label from_utc until_utc",
    "path_rows": "page_no account_key path kind role network receiver line reports_as_key test_s supervision_s"
    " checks_in",
    "signals_to_see": "page_no account_key step_no kind do event restore partition zone label path receiver line origin"
    " within_s watch",
    "visit_rows": "page_no visited_on technician found fixed note",
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
        "week": "2026-W43",
        "account": account,
        "site": f"Invented site {page_no}",
        "dealer": "Dealer North",
        "installer": "Installer A",
        "check": check,
        "severity": severity,
        "confidence": "strong",
        "action": "visit",
        "status": "new",
        "since": FROM - timedelta(days=2),
        "measured": 62.5,
        "limit": 24.5,
        "unit": "h",
        "evidence_count": 14,
        "excused_count": 1,
        "cause": "primary_path_dead",
        "cause_probability": 0.62,
        "next_step": "Ask for a manual test over the radio path first.",
        "receiver_group": "main",
        "title": check.replace("_", " "),
        "sentence": "0 of 7 tests since 16 Oct; 7 of 7 in each of the four weeks before.",
        "look_alikes": "Site closed for the season; roster interval out of date.",
        "limit_source": "interval in the roster",
        "limit_standing": "handbook",
        "system_type": "fire",
        "account_key": key,
        "page_no": page_no,
        "weeks_on_list": 1,
        "finding_id": hashlib.sha256(f"{key}|{check}|{subject}".encode()).hexdigest()[:12],
    }
    return row | more
