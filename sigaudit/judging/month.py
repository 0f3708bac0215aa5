"""What a month holds of each account, for the health reports: facts with their rows, beside the judgement.

Conditions are judged over the last seven days before ``as_of``, by the very limits of a week, for a limit like
"more than four a week" says nothing of a month. Days, tests, paths and troubles are counted over the whole month.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import pyarrow as pa

from sigaudit.judging import windows
from sigaudit.judging.desk import Desk, Window
from sigaudit.judging.judge import Judged
from sigaudit.settings import Settings
from sigaudit.store.shipped import query

# Worked out range by range beside the measures; the order is that of work.
ALSO = ("80_month_received", "81_month_gaps")
TABLES = (
    "month_accounts",
    "month_paths",
    "month_requirements",
    "month_days",
    "month_misses",
    "month_episodes",
    "month_on_test",
)
# The checks that say whether path, panel and supervision were judged at all.
SAYS_JUDGED = (
    "gone_silent", "never_heard", "test_overdue", "test_never_sent", "primary_path_silent", "backup_path_silent",
    "panel_silent", "supervision_missed", "supervision_never_seen",
)  # fmt: skip


def prepare(desk: Desk, month: Window, settings: Settings) -> None:
    """Puts the month's span and its local days on the desk, for the queries of ``ALSO`` and ``TABLES``."""
    desk.put("month_span", _instants([(month.from_utc, min(month.until_utc, month.as_of_utc))]))
    days = windows.days_of(month, settings.zone)
    desk.put(
        "local_days",
        _instants([(a, b) for _, a, b in days]).append_column(
            "local_day", pa.array([day for day, _, _ in days], pa.date32())
        ),
    )


def tables(desk: Desk, judged: Judged, month: Window, settings: Settings) -> dict[str, pa.Table]:
    """The month's tables from what the judgement left on the desk (``queries/report/month_*``)."""
    first = desk.rows("select data_first_utc from station")[0][0]
    found = {name: desk.run(query(f"report/{name}")) for name in TABLES}
    found["month_held"] = held(month, settings, first)
    rows = judged.rows.select(["account_key", "check_id", "subject", "verdict", "reason"])
    said = [row for row in rows.to_pylist() if row["check_id"] in SAYS_JUDGED]
    said.sort(key=lambda row: (row["account_key"], row["check_id"], row["subject"]))
    found["month_verdicts"] = pa.Table.from_pylist(said, schema=rows.schema)
    return found


def held(month: Window, settings: Settings, data_first_utc: datetime) -> pa.Table:
    """The month's local days: ``held`` yes, ``before`` the log begins, or ``after`` it ends.

    A day on which the log begins or ends is not wholly held and does not count.
    """
    rows: list[Mapping[str, Any]] = [
        {"local_day": day, "from_utc": a, "until_utc": b, "held": _held(a, b, data_first_utc, month.as_of_utc)}
        for day, a, b in windows.days_of(month, settings.zone)
    ]
    time = pa.timestamp("us")
    schema = pa.schema([("local_day", pa.date32()), ("from_utc", time), ("until_utc", time), ("held", pa.string())])
    return pa.Table.from_pylist(rows, schema=schema)


def _held(from_utc: datetime, until_utc: datetime, first_utc: datetime, as_of_utc: datetime) -> str:
    if until_utc - windows.NEARLY > as_of_utc:
        return "after"
    # A log that begins or ends within an hour of midnight is taken to speak for the whole day.
    return "yes" if first_utc <= from_utc + windows.NEARLY else "before"


def _instants(spans: list[tuple[datetime, datetime]]) -> pa.Table:
    time = pa.timestamp("us")
    return pa.table(
        {"from_utc": pa.array([a for a, _ in spans], time), "until_utc": pa.array([b for _, b in spans], time)}
    )
