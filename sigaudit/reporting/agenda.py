"""The weekly meeting's own tables: numbers by week, who did not come back, act now, desk fixes, service, escalate."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sigaudit.reporting.page import SEVERITIES, Clock, Row, RunLike, instant, percent, rank, rows
from sigaudit.reporting.sites import Site, sites

__all__ = ["context", "held_lines", "numbers", "weighed_by"]

_NUMBERS = {
    "judged": ("judged by every check that applies", "accounts"),
    "silent_now": ("silent now", "accounts"),
    "degraded_now": ("degraded now: a path, test or supervision is missing", "accounts"),
    "on_test_over_limit": ("on test over the limit", "accounts"),
    "cured": ("cured since the week before", "findings"),
}
# Where the rows behind a number stand, when they are no findings of named checks.
_PLACES = {"judged": "#judged", "cured": "#resolved"}
# Weeks after which a fault is escalated in writing (practice of weekly meetings, no source).
ESCALATE_WEEKS = 4
# Entries with all their words; of a longer list each entry keeps one line, so that none is ever left out.
MOST_WORDY = 80
MOST_SENTENCES = 500
# Sites in the service list; the rest stand in revisit.xlsx, in the same order.
MOST_SERVICE = 200


def context(run: RunLike, findings: Sequence[Row], clock: Clock) -> Row:
    """What the meeting goes through, in its order. ``findings``: in page order, without those set aside."""
    places = sites(run, findings)
    urgent = [site for site in places if site.unprotected or site.severity == "critical"]
    done = {site.key for site in urgent}
    service = [s for s in places if s.key not in done and s.severity != "note" and s.needs in ("visit", "remote")]
    titles = {row["cause"]: row["title"] for row in rows(run, "causes")}
    weighed = weighed_by(run)
    entries = [_entry(site, weighed, titles, clock) for site in urgent]
    return {
        "numbers": numbers(run),
        "stragglers": _stragglers(run),
        "held_lines": held_lines(run),
        "act_now": _by_lead(entries),
        "act_now_sites": len(urgent),
        "wordy": len(urgent) <= MOST_WORDY,
        "spoken": len(urgent) <= MOST_SENTENCES,
        "desk": _desk(places, done),
        "service": [_entry(site, weighed, titles, clock) for site in service[:MOST_SERVICE]],
        "service_sites": len(service),
        "escalate": _escalate(places),
    }


def numbers(run: RunLike) -> list[Row]:
    """The five numbers of this week, each with the weeks before (oldest first) and where its rows stand."""
    held = rows(run, "weeks")
    made = []
    label = run.meta["label"]
    weeks = sorted({row["week"] for row in held})
    for name, (words, unit) in _NUMBERS.items():
        told = {row["week"]: row for row in held if row["name"] == name}
        if not told:
            continue
        now = told.get(label)
        past = [(week, told[week]["value"] if week in told else None) for week in weeks]
        highest = max((value for _, value in past if value), default=1.0)
        made.append(
            {
                "name": name,
                "label": words,
                "unit": unit,
                "value": now["value"] if now else None,
                "of": now["of"] if now else None,
                "share": percent(now["value"], now["of"]) if now else "",
                "checks": now["checks"] if now else "",
                "href": _PLACES.get(name, "#findings"),
                "weeks": past,
                "bars": [
                    {"x": 16 * i, "h": max(1.0, round(22 * value / highest, 1)), "now": week == label}
                    for i, (week, value) in enumerate(past)
                    if value is not None
                ],
                "width": 16 * len(past),
            }
        )
    return made


def held_lines(run: RunLike) -> Row:
    """Receiver lines of the window: how many are wholly held, and each that is not with its hours by state."""
    start, end = instant(run.meta["from_utc"]), instant(run.meta["until_utc"])
    states: dict[tuple[str, str], Counter[str]] = {}
    for row in rows(run, "coverage"):
        if start is not None and end is not None and start <= row["hour_utc"] < end:
            states.setdefault((row["receiver"], row["line"]), Counter())[row["state"]] += 1
    odd = [
        {"receiver": receiver, "line": line, "hours": counts.total(), **{s: counts[s] for s in _ODD}}
        for (receiver, line), counts in sorted(states.items())
        if any(counts[state] for state in _ODD)
    ]
    return {"all": len(states), "odd": odd}


_ODD = ("missing", "outage", "not_told_apart")


def weighed_by(run: RunLike) -> dict[str, list[str]]:
    """Finding id -> what the statistics say of it, in the order in which to tell it."""
    found: dict[str, list[str]] = {}
    for row in sorted(rows(run, "weighed"), key=lambda r: r.get("rank_no") or 0):
        found.setdefault(row["finding_id"], []).append(row["words"])
    return found


def _stragglers(run: RunLike) -> dict[str, list[Row]]:
    """Incident -> accounts that it excused and that are not back, each once with all that still stands."""
    found: dict[str, dict[str, Row]] = {}
    for row in sorted(rows(run, "stragglers"), key=lambda r: (r["account_key"], r["title"], r["finding_id"])):
        account = found.setdefault(row["incident_id"], {}).setdefault(row["account_key"], {**row, "titles": []})
        if row["title"] not in account["titles"]:
            account["titles"].append(row["title"])
    return {incident: list(accounts.values()) for incident, accounts in found.items()}


def _entry(site: Site, weighed: Mapping[str, Sequence[str]], titles: Mapping[str, str], clock: Clock) -> Row:
    """One site for the meeting: its worst finding in a sentence, what else, since when, rival, what would confirm."""
    found = sorted(site.steps, key=lambda row: rank(SEVERITIES, row["severity"]))
    lead = found[0]
    also = Counter(row["title"] or row["check"] for row in found[1:])
    more = also.pop(lead["title"] or lead["check"], 0)
    cause = site.causes[0] if site.causes else None
    rival = cause.first["rival"] if cause and cause.first["rival"] not in [m["cause"] for m in cause.members] else ""
    likeness = lead["look_alikes"].split(" | ")[0] if lead["look_alikes"] else ""
    telling = cause.first["next_observation"] if cause else ""
    confirm = telling or (cause.first["field_check"] if cause else "") or lead["next_step"]
    return {
        "site": site,
        "lead": lead,
        "also": ([f"{more} more of this kind"] if more else [])
        + [f"{title} ({n} times)" if n > 1 else title for title, n in also.items()],
        "keys": list(dict.fromkeys((row["account_key"], row["account"]) for row in found)),
        "weighed": (weighed.get(lead["finding_id"]) or [""])[0],
        "cause": cause,
        "rival": (titles.get(rival, rival.replace("_", " ")) or likeness).rstrip("."),
        "confirm": confirm.rstrip("."),
        "how": "Would tell most" if telling else "Would confirm",
        "since": clock.text(site.oldest),
        "weeks": max(row["weeks_on_list"] or 1 for row in found),
    }


def _by_lead(entries: Iterable[Row]) -> list[Row]:
    """Entries under what is wrong, groups in the order of their first entry; a way out common to all stands once."""
    groups: dict[str, list[Row]] = {}
    for entry in entries:
        groups.setdefault(entry["lead"]["title"] or entry["lead"]["check"], []).append(entry)
    return [{"title": title, "entries": held} for title, held in groups.items()]


def _desk(places: Sequence[Site], done: set[str]) -> list[Row]:
    """Steps at the desk, one row per kind: the next step once and every account it is for, those under act now too."""
    groups: dict[tuple[str, str], Row] = {}
    for site in places:
        for row in site.steps:
            if row["action"] == "desk":
                title = row["title"] or row["check"]
                group = groups.setdefault((row["check"], title), _group(title, row["severity"], site.step(row)))
                group["accounts"][row["account_key"]] = (row["account"], site.name, site.key in done)
        for cause in site.causes:
            if cause.action == "desk":
                step = next((text for text in cause.listed("field_check")), "")
                title = f"Probable cause: {cause.title}"
                group = groups.setdefault(("", title), _group(title, site.severity, step))
                for row in site.steps:
                    if row["account"] in cause.accounts:
                        group["accounts"][row["account_key"]] = (row["account"], site.name, site.key in done)
    made = [group for group in groups.values() if group["accounts"]]
    return sorted(made, key=lambda g: (rank(SEVERITIES, g["severity"]), -len(g["accounts"]), g["title"]))


def _group(title: str, severity: str, step: str) -> Row:
    return {"title": title, "severity": severity, "step": step, "accounts": {}}


def _escalate(places: Sequence[Site]) -> list[Row]:
    """Sites with a fault that came back or is on the list for over four weeks, by dealer: one letter each."""
    groups: dict[str, list[Row]] = {}
    for site in places:
        told: dict[tuple[Any, ...], Row] = {}
        for row in site.steps:
            long = (row["weeks_on_list"] or 0) > ESCALATE_WEEKS
            if row["severity"] != "note" and (row["status"] == "returned" or long):
                told.setdefault((row["title"] or row["check"], row["status"], row["weeks_on_list"]), row)
        if told:
            held = {"site": site, "rows": list(told.values()), "keys": _keys(site, told.values())}
            groups.setdefault(site.dealer, []).append(held)
    return [{"dealer": dealer, "sites": groups[dealer]} for dealer in sorted(groups, key=lambda d: (not d, d))]


def _keys(site: Site, told: Iterable[Row]) -> list[tuple[str, str]]:
    return list(dict.fromkeys((row["account_key"], row["account"]) for row in told))
