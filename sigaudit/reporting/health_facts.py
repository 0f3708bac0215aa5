"""What a month's run says of each site, gathered from its tables for the health reports."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from sigaudit.reporting.health_model import (
    EXPECTED,
    MISSED,
    NOT_JUDGED,
    SILENT,
    WHY,
    Day,
    Kept,
    Month,
    Site,
    Trouble,
    Way,
)
from sigaudit.reporting.health_tables import advice, condition
from sigaudit.reporting.page import SEVERITIES, Clock, Row, RunLike, grouped, instant, rank, rows

__all__ = ["month_of", "read"]


def month_of(run: RunLike) -> Month:
    """The month of a run of kind ``month``."""
    meta = run.meta
    times = [instant(meta[name]) for name in ("from_utc", "until_utc", "as_of_utc")]
    days = [(row["local_day"], row["held"]) for row in rows(run, "month_held")]
    return Month(str(meta["label"]), Clock(meta["timezone"]), days, *[at for at in times if at is not None])


def read(run: RunLike) -> list[Site]:
    """Every monitored account of a month's run, in order of account key."""
    month = month_of(run)
    parts = ("paths", "requirements", "days", "misses", "episodes", "verdicts")
    of = {name: grouped(rows(run, f"month_{name}"), "account_key") for name in parts}
    on_test = {row["account_key"]: row["from_utc"] for row in rows(run, "month_on_test")}
    findings = grouped(rows(run, "findings"), "account_key")
    silent = {row["account_key"]: row["reason"] for row in rows(run, "unprotected")}
    sites = []
    for row in rows(run, "month_accounts"):
        key = row["account_key"]
        kept = _requirements(of["requirements"].get(key, []), of["days"].get(key, []), of["misses"].get(key, []))
        ways = _ways(of["paths"].get(key, []), kept)
        said = {(v["check_id"], v["subject"]): v for v in of["verdicts"].get(key, [])}
        sites.append(
            _site(
                row, month, ways, kept, said, of["episodes"].get(key, []), findings.get(key, []), silent.get(key, ""),
                on_test.get(key),
            )
        )  # fmt: skip
    return sites


def _site(
    row: Row, month: Month, ways: list[Way], kept: Mapping[tuple[str, str], Kept], said: Mapping[Any, Row],
    episodes: Sequence[Row], found: Sequence[Row], unprotected: str, on_test: datetime | None,
) -> Site:  # fmt: skip
    panel, whole = kept.get(("", "panel_test")), kept.get(("", "test"))
    told = sorted(found, key=lambda f: (rank(SEVERITIES, f["severity"]), f["check"], f["subject"]))
    told = [f for f in told if f["severity"] != "note" and not f.get("quiet")]
    advised, needs = advice(told)
    days = _days(month, row, [k for k in kept.values() if k.judged])
    panel_state = _panel(row, month, ways, panel, said)
    unproven = _unproven(ways, panel_state, days)
    checks = {f["check"] for f in told}
    advised += _watched(ways, panel, whole, advised)
    troubles = [_trouble(e) for e in episodes]
    state = "not_proven" if unproven else "healthy"
    if advised or on_test or panel_state == "degraded" or any(t.open for t in troubles):
        state = "degraded"
    if checks & SILENT or unprotected.startswith("never heard") or _all_overdue(ways, whole):
        state = "silent"
    return Site(
        row, ways, panel, whole, panel_state, troubles, advised, needs, days, state, told, on_test, unproven
    )  # fmt: skip


def _all_overdue(ways: Sequence[Way], whole: Kept | None) -> bool:
    """Every way that could be judged is overdue at the month's end."""
    judged = [k for way in ways for k in way.kept] + ([whole] if whole is not None and whole.judged else [])
    return any(k.overdue for k in judged) and not any(k.proven for k in judged)


def _watched(
    ways: Sequence[Way], panel: Kept | None, whole: Kept | None, advised: Sequence[tuple[str, str]]
) -> list[tuple[str, str]]:
    """What is overdue and no finding speaks of yet: a first miss, to be watched."""
    said = {key for key, _ in advised}
    if said & {"silent", "first_signal", "any_way", "tests"}:
        return []
    found = [("watch", way.path) for way in ways if way.overdue and ("way", way.path) not in advised]
    if panel is not None and panel.overdue and "panel" not in said:
        found.append(("watch", "panel"))
    if whole is not None and whole.overdue and not found and "way" not in said:
        found.append(("watch", ""))
    return found


def _unproven(ways: Sequence[Way], panel_state: str, days: Sequence[Day]) -> tuple[tuple[str, str], ...]:
    found = [("way", way.path) for way in ways if way.last_utc is None]
    found += [("overdue", way.path) for way in ways if way.lapsed]
    found += [("check_ins", way.path) for way in ways if way.last_utc is not None and way.unjudged_check_ins]
    found += [("panel", "")] if panel_state == "not_proven" else []
    found += [] if any(day.counts for day in days) else [("days", "")]
    return tuple(found)


def _panel(row: Row, month: Month, ways: Sequence[Way], panel: Kept | None, said: Mapping[Any, Row]) -> str:
    """Whether the control panel itself was proven: by its check, by its own word, or because nothing else dials."""
    verdict = said.get(("panel_silent", ""))
    if verdict is not None and verdict["verdict"] == "finding" and not verdict["reason"].startswith("nothing was due"):
        return "degraded"
    if panel is not None and panel.overdue:
        return "degraded"
    last = row["last_panel_utc"]
    if (verdict is not None and verdict["verdict"] == "sound") or (panel is not None and panel.proven):
        return "proven"
    if last is not None and last >= month.from_utc:
        return "proven"
    # A dialer is the panel's own: where every way is a telephone line, its test is the panel's.
    dials = bool(ways) and all(way.kind == "phone" for way in ways)
    return (
        "proven" if verdict is None and dials and any(way.tests and way.tests.proven for way in ways) else "not_proven"
    )


def _days(month: Month, row: Row, judged: Sequence[Kept]) -> list[Day]:
    return [Day(day, _day(month, row, judged, day, held)) for day, held in month.days]


def _day(month: Month, row: Row, judged: Sequence[Kept], day: date, held: str) -> str:
    if held != "yes":
        return held
    if row["installed_on"] is not None and day <= row["installed_on"]:
        return "new"
    states = [_state_on(month, kept, day) for kept in judged]
    if MISSED in states:
        return MISSED
    return next((state for state in states if state != EXPECTED), EXPECTED if states else NOT_JUDGED)


def _state_on(month: Month, kept: Kept, day: date) -> str:
    why = kept.not_kept.get(day)
    if why is not None:
        return (why if why in WHY else "other") if why else MISSED
    assert kept.first_utc is not None
    return "starting" if day < month.clock.local(kept.first_utc).date() else EXPECTED


def _requirements(
    asked: Sequence[Row], days: Sequence[Row], misses: Sequence[Row]
) -> dict[tuple[str, str], Kept]:  # fmt: skip
    not_kept: dict[tuple[str, str], dict[date, str]] = defaultdict(dict)
    for row in days:
        not_kept[row["path"], row["what"]][row["local_day"]] = "" if row["missed"] else row["why"]
    missing: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in misses:
        missing[row["path"], row["what"]].append(row)
    return {
        (row["path"], row["what"]): Kept(
            row["what"], row["path"], row["source"], row["visible"], row["proven"], row["n_received"], row["n_missed"],
            row["n_excused"], row["first_utc"], row["last_proof_utc"], not_kept[row["path"], row["what"]],
            tuple(missing[row["path"], row["what"]]),
        )
        for row in asked
    }  # fmt: skip


def _ways(paths: Sequence[Row], kept: Mapping[tuple[str, str], Kept]) -> list[Way]:
    ordered = sorted(paths, key=lambda p: (("primary", "", "backup").index(p["role"]), p["path"]))
    alike: dict[tuple[str, str], int] = defaultdict(int)
    total: dict[tuple[str, str], int] = defaultdict(int)
    for p in ordered:
        total[p["role"], p["kind"]] += 1
    found = []
    for p in ordered:
        look = (p["role"], p["kind"])
        alike[look] += 1
        # Where the roster names no way, whatever was heard came over it.
        last = p["last_utc"] if p["path"] else p["last_untold_utc"]
        tests = kept.get((p["path"], "test")) if p["path"] else None
        is_told = p["last_utc"] is not None or p["last_untold_utc"] is None or not p["path"]
        no = alike[look] if total[look] > 1 else 0
        found.append(
            Way(p["path"], p["kind"], p["role"], no, last, tests, kept.get((p["path"], "supervision")), is_told)
        )
    return found


def _trouble(row: Row) -> Trouble:
    return Trouble(
        condition(row["family"], row["code_group"]), row["label"], row["zone"], row["started_utc"],
        row["restored_utc"], row["restored_utc"] is None and row["would_tell"], row["shared"],
    )  # fmt: skip
