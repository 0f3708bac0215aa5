"""A month's run made by hand: invented sites, hostile texts, in the shape that judging hands over."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

import pyarrow as pa
from run_tables import FORMULA, LINKED, SCRIPT, MadeRun

FROM = datetime(2026, 9, 30, 22)  # 1 October 00:00 in Vienna (UTC+2, tz database), as UTC
UNTIL = datetime(2026, 10, 31, 23)  # 1 November 00:00 in Vienna (UTC+1), as UTC
DAYS = [date(2026, 10, day) for day in range(1, 32)]
HOSTILE = (SCRIPT, FORMULA, LINKED, "C:\\..\\con.", "a/../../b", "nul", "x\x00\x1b[2J", "\u202eevil", "% % {n} {way}")

_TIME, _TEXT, _BOOL, _INT = pa.timestamp("us"), pa.string(), pa.bool_(), pa.int64()
_KINDS: Mapping[str, pa.DataType] = {
    **dict.fromkeys(("local_day", "installed_on"), pa.date32()),
    **dict.fromkeys(("visible", "proven", "would_tell", "shared", "lenient", "quiet"), _BOOL),
    **dict.fromkeys(("signals", "n_received", "n_missed", "n_excused", "missed", "n_events"), _INT),
    "seconds": pa.float64(),
}
_COLUMNS = {
    "month_accounts": "account_key account receiver_group site customer customer_email dealer language send_report"
    " status installed_on system_type signals first_heard_utc last_heard_utc last_panel_utc",
    "month_paths": "account_key path kind role last_utc last_test_utc last_check_in_utc last_untold_utc",
    "month_requirements": "account_key path what seconds source standing visible n_received n_missed n_excused"
    " first_utc last_utc last_proof_utc proven",
    "month_days": "account_key path what local_day missed lenient why",
    "month_misses": "account_key path what due_utc until_utc state why lenient",
    "month_episodes": "account_key family code code_group event_class partition zone path origin started_utc"
    " restored_utc n_events would_tell shared label kind",
    "month_on_test": "account_key from_utc",
    "month_held": "local_day from_utc until_utc held",
    "month_verdicts": "account_key check_id subject verdict reason",
    "findings": "account_key check severity subject quiet",
    "unprotected": "account_key reason",
}


def table(name: str, rows: Sequence[Mapping[str, Any]]) -> pa.Table:
    """Rows of one table of a month's run; what a row leaves out is empty, or 0, or false."""
    kinds = {c: _KINDS.get(c, _TIME if c.endswith("_utc") else _TEXT) for c in _COLUMNS[name].split()}
    empty = {_TEXT: "", _INT: 0, _BOOL: False}
    filled = [{column: row.get(column, empty.get(kind)) for column, kind in kinds.items()} for row in rows]
    return pa.Table.from_pylist(filled, schema=pa.schema(list(kinds.items())))


def account(key: str, **changed: Any) -> dict[str, Any]:
    """An account that was heard to the end, of a customer and dealer named after it."""
    return {
        "account_key": f"main/{key}", "account": key, "receiver_group": "main", "site": f"Site {key}",
        "customer": f"Customer {key}", "customer_email": f"c{key}@example.invalid", "dealer": "Dealer North",
        "language": "en", "send_report": "yes", "status": "active", "installed_on": date(2020, 1, 1),
        "system_type": "burglary", "signals": 40, "first_heard_utc": FROM, "last_heard_utc": UNTIL,
        "last_panel_utc": UNTIL - timedelta(hours=5), **changed,
    }  # fmt: skip


def daily(key: str, path: str = "phone", **changed: Any) -> dict[str, Any]:
    """A daily test on a path that came on every day of the month."""
    return {
        "account_key": f"main/{key}", "path": path, "what": "test", "seconds": 86400.0, "source": "roster",
        "standing": "roster", "visible": True, "n_received": 31, "first_utc": FROM - timedelta(days=20),
        "last_utc": UNTIL - timedelta(hours=3), "last_proof_utc": UNTIL - timedelta(hours=3), "proven": True, **changed,
    }  # fmt: skip


def path(key: str, name: str = "phone", **changed: Any) -> dict[str, Any]:
    """A main way that was heard to the end."""
    return {
        "account_key": f"main/{key}", "path": name, "kind": name.rstrip("0123456789"), "role": "primary",
        "last_utc": UNTIL - timedelta(hours=3), "last_test_utc": UNTIL - timedelta(hours=3), **changed,
    }  # fmt: skip


def run(**tables: Sequence[Mapping[str, Any]]) -> MadeRun:
    """A month's run of these rows; every other table empty, every day held."""
    held = [
        {
            "local_day": day,
            "from_utc": FROM + timedelta(days=n),
            "until_utc": FROM + timedelta(days=n + 1),
            "held": "yes",
        }
        for n, day in enumerate(DAYS)
    ]
    meta = {
        "kind": "month", "label": "2026-10", "from_utc": FROM.isoformat(), "until_utc": UNTIL.isoformat(),
        "as_of_utc": UNTIL.isoformat(), "timezone": "Europe/Vienna", "station": "Invented station",
    }  # fmt: skip
    rows = {"month_held": held, **tables}
    return MadeRun(meta, {name: table(name, rows.get(name, [])) for name in _COLUMNS})


def sound(*keys: str, **changed: Any) -> dict[str, list[dict[str, Any]]]:
    """Tables of accounts with one telephone line, a daily test and nothing wrong."""
    return {
        "month_accounts": [account(key, **changed) for key in keys],
        "month_paths": [path(key) for key in keys],
        "month_requirements": [daily(key) for key in keys],
    }
