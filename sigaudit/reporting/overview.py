"""What the weekly page shows: every table in its order, and the findings as compact data."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

from sigaudit.reporting import agenda, charts
from sigaudit.reporting.page import (
    ACTIONS,
    CONFIDENCES,
    SEVERITIES,
    STATUSES,
    SYSTEM_ORDER,
    Clock,
    Row,
    RunLike,
    apart,
    cautions,
    number,
    percent,
    rank,
    rows,
)

# Without a script the table shows every critical and major finding, and others up to this many rows. Of a longer list
# the rows beyond the wordy ones keep what names the fault and leads to its page.
STATIC_ROWS = 60
WORDY_ROWS = 400
# Single misses listed under their fold; all stand in findings.json.
MOST_MISSES = 1000
# The page's data stay under 2 MB at 10,000 accounts: beyond this many bytes the sentences of the
# mildest findings are left to their account pages.
MOST_DATA = 1_700_000

_FIGURES = (
    ("accounts_heard", "accounts heard"),
    ("tests_on_time_strict", "tests on time, by a test"),
    ("tests_on_time_lenient", "tests on time, or other proof"),
    ("supervised_hours_lost", "supervised hours lost"),
    ("line_cuts", "line cuts"),
    ("incidents", "incidents, not our sites"),
    ("unprotected", "without a proven path"),
    ("findings_critical", "critical findings"),
    ("findings_major", "major findings"),
    ("not_judged_accounts", "accounts not judged"),
)
# Where the rows behind a figure stand; of the table of findings, which.
_ROWS: dict[str, tuple[str, tuple[str, str] | None]] = {
    "tests_on_time_strict": ("#figure-tests", None),
    "tests_on_time_lenient": ("#figure-tests", None),
    "supervised_hours_lost": ("#findings", ("check", "supervision_missed supervision_flapping")),
    "line_cuts": ("#findings", ("check", "line_cut_always line_cut_blind line_cut_flapping line_cut_standing")),
    "incidents": ("#incidents", None),
    "unprotected": ("#unprotected", None),
    "findings_critical": ("#findings", ("severity", "critical")),
    "findings_major": ("#findings", ("severity", "major")),
    "accounts_heard": ("#findings", ("check", "gone_silent never_heard silent_after_power_loss")),
    "not_judged_accounts": ("#judged", None),
}
# Figures that are a part of a whole; cuts at some accounts are not (``of`` counts another thing there).
_SHARES = {name for name, _ in _FIGURES} - {"line_cuts", "incidents"}
_WORDS: dict[str, Sequence[str]] = {
    "severity": SEVERITIES,
    "status": STATUSES,
    "action": ACTIONS,
    "confidence": CONFIDENCES,
}
_CODED = (
    "severity",
    "status",
    "action",
    "confidence",
    "dealer",
    "check",
    "title",
    "next_step",
    "look_alikes",
    "limit_text",
    "cause",
    "system_type",
)
_PLAIN = (
    "account",
    "site",
    "since",
    "sentence",
    "measured_text",
    "evidence_count",
    "excused_count",
    "weeks_on_list",
    "page_no",
    "finding_id",
    "subject",
)


def findings_in_order(run: RunLike) -> list[Row]:
    """Findings as every page lists them: severity, life at stake, confidence, then age."""
    return sorted(rows(run, "findings"), key=_order)


def _order(row: Row) -> tuple[Any, ...]:
    return (
        rank(SEVERITIES, row["severity"]),
        rank(SYSTEM_ORDER, row["system_type"] or ""),
        rank(CONFIDENCES, row["confidence"]),
        row["since"] is None,
        row["since"] or "",
        row["account_key"] or "",
        row["check"],
        row["subject"],
        row["finding_id"],
    )


def context(run: RunLike, findings: Sequence[Row], clock: Clock) -> Row:
    """Everything ``index.html.j2`` needs beside the shared head."""
    accounts = rows(run, "accounts")
    set_aside = [row for row in findings if row.get("set_aside")]
    findings = [row for row in findings if not row.get("quiet")]
    compact = compact_findings(findings, clock)
    incidents = sorted(rows(run, "incidents"), key=lambda r: (r["from_utc"], r["kind"], r["incident_id"]))
    return {
        "unprotected": unprotected(run),
        "pages": {row["account_key"]: row["page_no"] for row in findings if row["page_no"] is not None},
        "figures": headline(rows(run, "figures")),
        "incidents": incidents,
        "findings": findings,
        "first_rows": compact["rows"][: max(STATIC_ROWS, _cannot_wait(findings))],
        "wordy_rows": WORDY_ROWS,
        "compact": compact,
        "place": {name: i for i, name in enumerate(compact["columns"])},
        "choices": _choices(findings),
        "set_aside": set_aside,
        "changed": changed(findings, rows(run, "resolved")),
        "misses": single_misses(run),
        "charts": [
            charts.coverage(rows(run, "coverage"), clock),
            charts.tests_by_day(rows(run, "tests_by_day"), clock.zone),
            charts.by_kind(findings),
            charts.by_dealer(findings, accounts),
        ],
        "not_judged": _sorted_counts(rows(run, "verdicts"), lambda r: r["verdict"] == "not_judged"),
        "judged": _judged(rows(run, "verdicts"), run.meta["checks"]),
        "quality": sorted(rows(run, "quality"), key=lambda r: (r["topic"], -(r["n"] or 0), r["reason"], r["source"])),
        "limits": _limits(findings),
        "cautions": cautions(),
        "monitored": sum(1 for row in accounts if row["monitored"]),
        "escalate_weeks": agenda.ESCALATE_WEEKS,
        **agenda.context(run, findings, clock),
    }


def _cannot_wait(findings: Sequence[Row]) -> int:
    """How many findings are critical or major: the first ones, as the page lists them."""
    return sum(1 for row in findings if row["severity"] in SEVERITIES[:2])


def unprotected(run: RunLike) -> list[Row]:
    """Accounts without a proven path, those past a mark and longest out first."""
    return sorted(
        rows(run, "unprotected"),
        key=lambda r: (
            rank(("8 h", "4 h"), r["mark"]),
            rank(SYSTEM_ORDER, r["system_type"] or ""),
            -(r["hours"] or 0),
            r["account_key"],
        ),
    )


def single_misses(run: RunLike) -> Row:
    """Missed tests that no finding tells of: how many, how many luck explains, why, and the list, most first."""
    told = next((row for row in rows(run, "figures") if row["name"] == "single_misses"), None)
    found = sorted(rows(run, "first_misses"), key=lambda r: (-(r["k"] or 0), r["account_key"], r["path"], r["what"]))
    return {
        "n": sum(row["k"] or 0 for row in found),
        "expected": told["of"] if told else None,
        "sentence": told["sentence"] if told else "",
        "rows": found[:MOST_MISSES],
        "more": max(0, len(found) - MOST_MISSES),
    }


def headline(figures: Sequence[Row]) -> list[Row]:
    """Headline figures in fixed order with their labels; those of unknown name last."""
    labels = dict(_FIGURES)
    names = list(labels)
    # Single misses stand folded under the findings, not among the figures.
    figures = [row for row in figures if row["name"] != "single_misses"]
    ordered = sorted(figures, key=lambda row: (rank(names, row["name"]), row["name"]))
    return [
        {
            **row,
            "label": labels.get(row["name"], row["name"].replace("_", " ")),
            "share": percent(row["value"], row["of"]) if row["name"] in _SHARES else "",
            "href": _ROWS.get(row["name"], ("", None))[0],
            "only": _ROWS.get(row["name"], ("", None))[1],
        }
        for row in ordered
    ]


def changed(findings: Sequence[Row], resolved: Sequence[Row]) -> Row:
    """New, returned, long continuing and resolved findings since the run before."""
    by_status = {status: [row for row in findings if row["status"] == status] for status in STATUSES}
    continuing = sorted(by_status["continuing"], key=lambda r: (-(r["weeks_on_list"] or 0), _order(r)))
    return {
        **by_status,
        "continuing": continuing,
        "weeks": sorted(Counter(row["weeks_on_list"] or 0 for row in continuing).items()),
        "resolved": sorted(resolved, key=lambda r: (r["check"], r["site"], r["account"], r["finding_id"])),
    }


def compact_findings(findings: Sequence[Row], clock: Clock) -> Row:
    """Findings for the page's table: repeated texts once in ``words``, rows as lists of places and values."""
    shown = [
        {
            **row,
            "since": clock.short(row["since"]),
            "limit_text": limit_text(row),
            "measured_text": measured_text(row),
            "look_alikes": apart(row["look_alikes"]),
        }
        for row in findings
    ]
    words: dict[str, list[str]] = {}
    for name in _CODED:
        held = {str(row[name] or "") for row in shown}
        fixed = [word for word in _WORDS.get(name, ()) if word in held]
        words[name] = fixed + sorted(held - set(fixed))
    places = {name: {word: i for i, word in enumerate(found)} for name, found in words.items()}
    table = [[places[name][str(row[name] or "")] for name in _CODED] + [row[name] for name in _PLAIN] for row in shown]
    made: Row = {"columns": [*_CODED, *_PLAIN], "words": words, "rows": table, "left_out": []}
    sentence = len(_CODED) + _PLAIN.index("sentence")
    for severity in reversed(SEVERITIES):
        if len(json.dumps(made, ensure_ascii=False, separators=(",", ":")).encode()) <= MOST_DATA:
            break
        for place, row in enumerate(shown):
            if row["severity"] == severity:
                table[place][sentence] = ""
        made["left_out"].append(severity)
    return made


def limit_text(row: Row) -> str:
    """The limit with its source and standing: ``24.5 h (handbook: ..., seen)``; '' without a limit."""
    if row["limit"] is None and not row["limit_source"]:
        return ""
    value = f"{number(row['limit'], 2)} {row['unit']}".strip() if row["limit"] is not None else "none"
    source = ", ".join(part for part in (row["limit_source"], row["limit_standing"]) if part)
    return f"{value} ({source})" if source else value


def measured_text(row: Row) -> str:
    """``26.5 h``; '' when nothing was measured."""
    return "" if row["measured"] is None else f"{number(row['measured'], 2)} {row['unit']}".strip()


def _choices(findings: Sequence[Row]) -> list[Row]:
    """The filters above the table: name, label, and (value, words, count) of each choice."""
    made = []
    for name, label in (
        ("severity", "Severity"),
        ("check", "Check"),
        ("dealer", "Dealer"),
        ("status", "Status"),
        ("action", "Action"),
    ):
        counts = Counter(str(row[name] or "") for row in findings)
        known = _WORDS.get(name, ())
        titles = {row["check"]: row["title"] for row in findings} if name == "check" else {}
        ordered = sorted(counts, key=lambda word: (rank(known, word), titles.get(word) or word))
        options = [(word, titles.get(word) or word or "(none)", counts[word]) for word in ordered]
        made.append({"name": name, "label": label, "options": options})
    return made


def _sorted_counts(verdicts: Sequence[Row], wanted: Callable[[Row], bool]) -> list[Row]:
    return sorted(filter(wanted, verdicts), key=lambda r: (-(r["n"] or 0), r["check"], r["reason"]))


def _judged(verdicts: Sequence[Row], checks: Sequence[Row]) -> list[Row]:
    """Per check of the run: how many findings, sound and not judged, and whether it was off or re-rated."""
    counts: Counter[tuple[str, str]] = Counter()
    for row in verdicts:
        counts[row["check"], row["verdict"]] += row["n"] or 0
    return [
        {**check, **{name: counts[check["id"], name] for name in ("finding", "sound", "not_judged")}}
        for check in sorted(checks, key=lambda check: str(check["id"]))
    ]


def _limits(findings: Sequence[Row]) -> list[Row]:
    """The limits behind this week's findings, each source once per check, with how many findings use it."""
    counts = Counter((row["check"], row["title"], limit_text(row)) for row in findings if limit_text(row))
    return [{"check": c, "title": t, "text": text, "n": n} for (c, t, text), n in sorted(counts.items())]
