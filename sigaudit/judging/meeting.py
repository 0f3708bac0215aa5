"""What the weekly meeting compares: five numbers of this week and of the weeks before, and who did not come back."""

from __future__ import annotations

from collections.abc import Sequence

import pyarrow as pa

from sigaudit.judging.desk import Desk
from sigaudit.store.runs import Run
from sigaudit.store.shipped import query

__all__ = ["DEGRADED", "ON_TEST", "SILENT", "WEEKS", "stragglers", "weeks"]

# Nothing of the site comes in at all; a path, a test or a supervision is missing while something else comes in.
SILENT = ("gone_silent", "never_heard", "silent_after_power_loss")
DEGRADED = (
    "backup_path_silent", "capture_supervision_trouble", "contacts_missing", "contacts_only", "dialer_fails_to_report",
    "line_cut_always", "line_cut_blind", "line_cut_flapping", "line_cut_standing", "panel_silent",
    "path_lost_with_power", "paths_fail_together", "primary_path_silent", "supervision_flapping", "supervision_missed",
    "supervision_never_seen", "test_never_sent", "test_on_one_path_only", "test_overdue", "tests_missed_often",
)  # fmt: skip
ON_TEST = ("on_test_too_long",)
# Weeks before this one that stand beside each number (practice of weekly meetings, no source).
WEEKS = 4

_TEXT, _REAL, _TIME = pa.string(), pa.float64(), pa.timestamp("us")
_NUMBERS = pa.schema([("week", _TEXT), ("name", _TEXT), ("value", _REAL), ("of", _REAL), ("checks", _TEXT)])
_FINDINGS = pa.schema(
    [("label", _TEXT), ("is_latest", pa.bool_()), ("account_key", _TEXT), ("account", _TEXT), ("site", _TEXT),
     ("check_id", _TEXT), ("finding_id", _TEXT), ("title", _TEXT), ("since_utc", _TIME), ("until_utc", _TIME)]
)  # fmt: skip


def weeks(
    desk: Desk, label: str, found: pa.Table, figures: pa.Table, resolved: pa.Table, earlier: Sequence[Run]
) -> pa.Table:
    """Five numbers by week, the latest first: week, name, value, of (None where it is part of nothing), checks.

    judged: accounts in service of which every check that applies could judge; silent_now, degraded_now,
    on_test_over_limit: accounts; cured: findings gone since the week before, absent where that week was not judged.
    checks: ids, space between, of the checks whose findings are counted, '' for others.
    earlier: runs of the weeks before, the latest first; the same as for the status of a finding.
    """
    past = earlier[:WEEKS]
    held = [(label, found), *((str(run.meta["label"]), run.table("findings")) for run in past)]
    _put(desk, held)
    checks = {"silent_now": SILENT, "degraded_now": DEGRADED, "on_test_over_limit": ON_TEST}
    said = [(r[0], r[1], r[2], None, " ".join(checks[r[1]])) for r in desk.rows(query("report/week_numbers"))]
    tables = [(label, figures, resolved)]
    tables += [(str(run.meta["label"]), run.table("figures"), run.table("resolved")) for run in past]
    for place, (week, told, gone) in enumerate(tables):
        unjudged = next((row for row in told.to_pylist() if row["name"] == "not_judged_accounts"), None)
        if unjudged is not None:
            said.append((week, "judged", max(0.0, unjudged["of"] - unjudged["value"]), unjudged["of"], ""))
        if place < len(earlier):
            said.append((week, "cured", float(gone.num_rows), None, ""))
    said.sort(key=lambda row: row[1])
    said.sort(key=lambda row: row[0], reverse=True)
    return pa.Table.from_pylist([dict(zip(_NUMBERS.names, row, strict=True)) for row in said], schema=_NUMBERS)


def stragglers(desk: Desk, found: pa.Table, incidents: pa.Table) -> pa.Table:
    """Findings of accounts that an incident of the window excused and that are still not back (report/stragglers).

    Columns: incident_id, account_key, account, site, finding_id, title, since. An incident without an end has none.
    """
    _put(desk, [("", found)])
    desk.put("ended_incidents", incidents.filter(incidents["until_utc"].is_valid()))
    told = desk.run(query("report/stragglers"))
    return told.rename_columns(["since" if name == "since_utc" else name for name in told.column_names])


def _put(desk: Desk, held: Sequence[tuple[str, pa.Table]]) -> None:
    names = {"check_id": "check", "since_utc": "since", "until_utc": "until"}
    rows = [
        {"label": label, "is_latest": place == 0, **{n: row[names.get(n, n)] for n in _FINDINGS.names[2:]}}
        for place, (label, table) in enumerate(held)
        for row in table.to_pylist()
    ]
    desk.put("week_findings", pa.Table.from_pylist(rows, schema=_FINDINGS))
    desk.put("week_labels", pa.table({"label": pa.array([label for label, _ in held], _TEXT)}))
    families = [(c, f) for f, cs in (("silent", SILENT), ("degraded", DEGRADED), ("on_test", ON_TEST)) for c in cs]
    desk.put(
        "week_families",
        pa.table({"check_id": [check for check, _ in families], "family": [family for _, family in families]}),
    )
