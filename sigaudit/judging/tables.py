"""The tables of one run that the reports read, made from what a judgement left on the desk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.judging import coverage
from sigaudit.judging.cards import Card
from sigaudit.judging.desk import Desk
from sigaudit.judging.judge import Judged
from sigaudit.store.shipped import query

_WHY = {
    "export_gap": "No export speaks for these hours: whatever the sites sent is not in the log we hold.",
    "receiver_outage": "The receiver fell silent on all lines and said so itself, or a backlog came afterwards.",
    "receiver_line_outage": "This line fell silent while its receiver's other lines went on.",
    "not_told_apart": "The receiver shows nothing on any line; an outage and a hole in the export look alike"
    " here. Ask the station's log which it was.",
    "clock": "As long as a step back of this receiver's clock in the same days: most likely hours that the clock"
    " jumped over, in which nothing was lost. See the order breaks under data quality.",
}
# Out of service at one stretch, and in all of the last 24 h (cautions C10, C09).
_LONG_H, _DAY_H = 8.0, 4.0
# Checks whose finding tells of missed tests already, by its own name or as part of a longer silence.
TELL_OF_MISSES = (
    "tests_missed_often", "test_overdue", "test_interval_too_long", "test_never_sent", "test_on_one_path_only",
    "gone_silent", "never_heard", "primary_path_silent", "backup_path_silent", "panel_silent",
    "silent_after_power_loss", "paths_fail_together",
)  # fmt: skip


def accounts(desk: Desk) -> pa.Table:
    """Every account, on the roster or heard (queries/report/accounts)."""
    return desk.run(query("report/accounts"))


def verdicts(rows: pa.Table) -> pa.Table:
    """How often each check came to which verdict, and why it could not judge."""
    counted = rows.group_by(["check_id", "verdict", "reason"]).aggregate([([], "count_all")])
    counted = counted.rename_columns(["check", "verdict", "reason", "n"])
    named = counted.to_pylist()
    for row in named:
        if row["verdict"] == "finding":
            row["reason"] = ""
    merged: dict[tuple[str, str, str], int] = {}
    for row in named:
        key = (row["check"], row["verdict"], row["reason"])
        merged[key] = merged.get(key, 0) + row["n"]
    ordered = sorted(merged.items())
    return pa.table(
        {
            "check": pa.array([k[0] for k, _ in ordered], pa.string()),
            "verdict": pa.array([k[1] for k, _ in ordered], pa.string()),
            "reason": pa.array([k[2] for k, _ in ordered], pa.string()),
            "n": pa.array([n for _, n in ordered], pa.int64()),
        }
    )


def incidents(desk: Desk, judged: Judged) -> pa.Table:
    """Incidents that reach into the window, with the accounts behind them and what they excuse."""
    counts = {row[0]: row[1:] for row in desk.rows(query("report/incident_counts"))}
    from_s, until_s = _seconds(desk.window.from_utc), _seconds(desk.window.until_utc)
    listed = [*judged.coverage.incidents, *judged.incidents.incidents]
    listed.sort(key=lambda i: (i["from_s"], i["kind"], i["receiver"], i["line"], i["incident_id"]))
    rows = [
        {
            "incident_id": i["incident_id"], "kind": i["kind"], "receiver": i["receiver"], "line": i["line"],
            "shared": i.get("shared", ""),
            "from_utc": _instant(i["from_s"]), "until_utc": None if i["is_open"] else _instant(i["until_s"]),
            "accounts": i.get("members", counts.get(i["incident_id"], (0, 0))[0]), "expected": i["expected"] or None,
            "seen": i.get("seen", 0), "p": i["p"], "excused": counts.get(i["incident_id"], (0, 0))[1],
            "why": i.get("why") or _WHY["clock" if i["clock"] else i["kind"]],
        }
        for i in listed
        if i["from_s"] < until_s and i["until_s"] > from_s
    ]  # fmt: skip
    time, text, real = pa.timestamp("us"), pa.string(), pa.float64()
    return pa.Table.from_pylist(
        rows,
        schema=pa.schema(
            [("incident_id", text), ("kind", text), ("receiver", text), ("line", text), ("shared", text),
             ("from_utc", time), ("until_utc", time), ("accounts", pa.int64()), ("expected", real),
             ("seen", pa.int64()), ("p", real), ("excused", pa.int64()), ("why", text)]
        ),
    )  # fmt: skip


def covered_hours(desk: Desk, judged: Judged) -> pa.Table:
    """Receiver lines by hour, from a week before the window to its end."""
    first = desk.window.from_utc - timedelta(days=7)
    return coverage.hours(judged.coverage, _seconds(first), _seconds(desk.window.as_of_utc))


def tests_by_day(desk: Desk) -> pa.Table:
    """Required tests per local day: due, received (strict), received or stood in for (lenient), missed, excused."""
    return desk.run(query("report/tests_by_day"))


def requirements(desk: Desk) -> pa.Table:
    """Required intervals as judged (queries/report/requirements)."""
    return desk.run(query("report/requirements"))


def first_misses(desk: Desk, rows: pa.Table) -> pa.Table:
    """Tests missed in the window that no finding tells of: account, site, path, what, k of n, the last one due.

    rows: verdict rows of all checks, before a daily list leaves some out. One row per account, path and
    required test (queries/report/first_misses), k at least 1.
    """
    tells = pc.and_(
        pc.equal(rows["verdict"], "finding"), pc.is_in(rows["check_id"], value_set=pa.array(TELL_OF_MISSES))
    )
    desk.put("told_of", rows.filter(tells).select(["account_key", "subject"]))
    return desk.run(query("report/first_misses"))


def unprotected(desk: Desk) -> pa.Table:
    """Life-safety accounts without a proven path at ``as_of``, longest first."""
    for name in ("accounts", "paths"):
        desk.view(name, f"select * from all_{name}")
    for name in (
        "life",
        "heard",
        "ranks_as",
        "requirements",
        "visible_requirements",
        "account_line_facts",
        "excuses",
        "check_in_gaps",
    ):
        desk.view(name, f"select * from kept_{name}")
    desk.view(
        "proof_limits",
        "select account_key, value * 3600 as limit_s from kept_limits"
        " where check_id = 'never_heard' and name = 'first_signal_h'",
    )
    rows = desk.run(query("report/unprotected")).to_pylist()
    for row in rows:
        row["hours"] = round((desk.window.as_of_utc - row["since_utc"]).total_seconds() / 3600, 2)
        row["since"] = row.pop("since_utc")
        row["mark"] = _mark(row["hours"], row.pop("earlier_h"))
        row["told_authority_at"] = row["told_owner_at"] = ""
    text, real = pa.string(), pa.float64()
    schema = pa.schema(
        [("account", text), ("site", text), ("system_type", text), ("since", pa.timestamp("us")), ("hours", real),
         ("reason", text), ("told_authority_at", text), ("told_owner_at", text), ("receiver_group", text),
         ("mark", text), ("account_key", text)]
    )  # fmt: skip
    return pa.Table.from_pylist(rows, schema=schema)


def _mark(hours: float, earlier_h: float) -> str:
    """The mark of an account out for ``hours`` now, after ``earlier_h`` of the last 24 h that are over."""
    if hours >= _LONG_H:
        return "8 h"
    return "4 h" if hours + earlier_h >= _DAY_H else ""


def figures(
    desk: Desk, judged: Judged, findings: pa.Table, open_accounts: int, all_incidents: int, single: pa.Table
) -> pa.Table:
    """Headline figures: value of how many, each with one sentence. single: the table of ``first_misses``."""
    made_of = desk.run(query("report/figures")).to_pylist()[0]
    heard, monitored, life_safety = (made_of[name] for name in ("n_heard", "n_monitored", "n_life_safety"))
    got, lost = made_of["n_received"], made_of["n_lost"]
    due = got + made_of["n_missed"]
    lost_h = made_of["lost_h"]
    watched_h = made_of["n_supervised"] * (desk.window.as_of_utc - desk.window.from_utc).total_seconds() / 3600
    cuts, cut_sites = made_of["n_cuts"], made_of["n_cut_accounts"]
    severities = findings["severity"].to_pylist()
    disturbances = f"{all_incidents} {'disturbance' if all_incidents == 1 else 'disturbances'} away from the sites."
    unjudged = {
        row["account_key"]
        for row in judged.rows.select(["account_key", "verdict"]).to_pylist()
        if row["verdict"] == "not_judged"
    }  # fmt: skip
    rows: Sequence[tuple[str, float, float | None, str, str]] = (
        ("accounts_heard", heard, monitored, "accounts", f"{heard} of {monitored} accounts in service were heard."),
        ("tests_on_time_strict", got, due, "tests", f"{got} of {due} due tests came as tests."),
        ("tests_on_time_lenient", due - lost, due, "tests",
         f"{due - lost} of {due} due tests came, or another signal of the same path stood in."),
        ("supervised_hours_lost", round(lost_h, 1), round(watched_h, 1), "h",
         f"{lost_h:.1f} of {watched_h:.0f} supervised path hours were lost."),
        ("line_cuts", cuts, None, "line cuts", f"{cuts} line cuts at {cut_sites} accounts."),
        ("incidents", all_incidents, None, "incidents", disturbances),
        ("unprotected", open_accounts, life_safety, "accounts",
         f"{open_accounts} of {life_safety} life-safety accounts have no proven path now."),
        ("findings_critical", severities.count("critical"), len(severities), "findings",
         "Bad for life or property if true."),
        ("findings_major", severities.count("major"), len(severities), "findings", "To be dealt with this week."),
        ("not_judged_accounts", len(unjudged), monitored, "accounts",
         f"{len(unjudged)} accounts could not be judged by at least one check."),
        ("single_misses", *_misses(desk, single)),
    )  # fmt: skip
    return pa.table(
        {
            "name": pa.array([r[0] for r in rows], pa.string()),
            "value": pa.array([float(r[1]) for r in rows], pa.float64()),
            "of": pa.array([None if r[2] is None else float(r[2]) for r in rows], pa.float64()),
            "unit": pa.array([r[3] for r in rows], pa.string()),
            "sentence": pa.array([r[4] for r in rows], pa.string()),
        }
    )


def _misses(desk: Desk, single: pa.Table) -> tuple[int, float, str, str]:
    """Missed tests of which no finding tells, and ``of``: how many luck alone explains."""
    luck = desk.run(query("report/luck")).to_pylist()[0]
    missed, expected = sum(single["k"].to_pylist()), round(luck["expected"], 1)
    one = "1 single miss" if missed == 1 else f"{missed:,} single misses"
    rate = f" ({luck['healthy_rate']:.2%} of {luck['n_due']:,} tests due)" if luck["n_due"] else ""
    said = f"{one} of which no finding tells; by luck about {expected:,.0f} are expected{rate}."
    return missed, expected, "misses", said


def quality(desk: Desk, rejects: str, sources: pa.Table) -> pa.Table:
    """Rejects, repeats, doubtful times, resends, unknown codes (queries/report/quality).

    rejects: the select over the store's rejects; sources: source_id, name, n_repeats of the sources seen.
    """
    desk.view("rejects", rejects)
    desk.put("seen_sources", sources)
    return desk.run(query("report/quality"))


def pages(desk: Desk, findings: pa.Table, visits: pa.Table) -> dict[str, pa.Table]:
    """Evidence, check-in days, slots, spans, paths and visits of the accounts that have a page.

    findings: at least the columns page_no and account_key; visits: the roster's, known at ``as_of``.
    """
    desk.put("all_visits", visits)
    keys = sorted(set(zip(findings["page_no"].to_pylist(), findings["account_key"].to_pylist(), strict=True)))
    owner = pa.table(
        {
            "page_no": pa.array([k[0] for k in keys], pa.int64()),
            "account_key": pa.array([k[1] for k in keys], pa.string()),
        }
    )
    desk.put("asked", owner)
    desk.make(
        "asked_keys",
        "select page_no, account_key, account_key as heard_key from asked union"
        " select a.page_no, a.account_key, p.reports_as_key from asked as a inner join all_paths as p"
        " on a.account_key = p.account_key where p.reports_as_key <> a.account_key",
    )
    first = desk.window.from_utc - timedelta(days=28)
    desk.make(
        "page_signals",
        "select * from signals where account_key in (select heard_key from asked_keys)"
        f" and format <> 'check_in' and received_utc >= timestamp '{first}'",
    )
    desk.make("page_events", f"with signals as (select * from page_signals) select * from ({query('events/events')})")
    named = ("evidence", "check_in_days", "slots", "spans", "path_rows", "visit_rows")
    return {name: desk.run(query(f"report/{name}")) for name in named}


def check_states(cards: Mapping[str, Card], says: Mapping[str, str]) -> list[dict[str, Any]]:
    """Each check with its question and whether the station switched it off or re-rated it."""
    states = {check: "off" if value == "off" else "re-rated" for check, value in says.items()}
    return [
        {"id": c.id, "title": c.title, "question": c.question, "state": states.get(c.id, "on"), "own": c.own}
        for c in cards.values()
    ]


def _seconds(at: datetime) -> float:
    return (at - datetime(1970, 1, 1)).total_seconds()


def _instant(at_s: float) -> datetime:
    return datetime.fromtimestamp(at_s, UTC).replace(tzinfo=None)
