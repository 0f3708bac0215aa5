"""What visits say of the audits before them: was the cause named right, was it mended, was somebody sent again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sigaudit.judging.cause_stage import before_visit, first_day_unknown
from sigaudit.judging.learning import Visit
from sigaudit.judging.stats import clopper_pearson
from sigaudit.store.runs import Run

__all__ = ["AGAIN_DAYS", "Record", "record"]

AGAIN_DAYS = 90  # a second visit to the same account within so many days is a repeat (house)
_TELL_NOTHING = ("no_access", "not_checked", "could_not_reproduce")
_WORDS = ("strong", "likely", "possible", "unclear")


@dataclass(frozen=True)
class Record:
    """predicted: per word of the audit before: visits, right, share with its 95 % interval (Clopper-Pearson).

    resolved, mended: of the visits that say ``fixed`` (yes) with a weekly audit before and after, how many left none
    of the account's findings of before; again, visits: repeat visits within ``AGAIN_DAYS``, of all.
    """

    predicted: tuple[dict[str, Any], ...]
    resolved: int
    mended: int
    again: int
    visits: int


def record(visits: Sequence[Visit], runs: Iterable[Run], zone: ZoneInfo) -> Record:
    """The record of all visits known, against the weekly audits held."""
    held = [run for run in runs if run.meta["kind"] == "week" and run.has("cause_units")]
    named: dict[str, dict[str, Mapping[str, Any]]] = {}
    counts: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    resolved = mended = 0
    for visit in visits:
        run = before_visit(visit, held, zone)
        if run is None or not visit.found:
            continue
        if run.run_id not in named:
            first = [row for row in run.table("causes").to_pylist() if row["rank"] <= 1]
            named[run.run_id] = {row["account_key"]: row for row in reversed(first)}
        row = named[run.run_id].get(visit.account_key)
        if row is not None and not set(visit.found) & set(_TELL_NOTHING):
            word = row["confidence"] if row["shown"] else "unclear"
            counts[word][0] += 1
            counts[word][1] += bool({row["cause"], *row["pair"].split()} & set(visit.found))
        after = _after(visit, held, zone)
        if visit.fixed == ("yes",) and after is not None:
            before = _ids(run, visit.account_key)
            if before:
                mended += 1
                resolved += not before & _ids(after, visit.account_key)
    last: dict[str, Visit] = {}
    again = 0
    for visit in visits:
        earlier = last.get(visit.account_key)
        again += earlier is not None and visit.on - earlier.on <= timedelta(days=AGAIN_DAYS)
        last[visit.account_key] = visit
    return Record(tuple(_row(word, *counts[word]) for word in _WORDS if word in counts), resolved, mended, again,
                  len(visits))  # fmt: skip


def _row(word: str, n: int, right: int) -> dict[str, Any]:
    low, high = clopper_pearson([right], [n])
    return {"said": word, "visits": n, "right": right, "share": right / n, "low": float(low[0]),
            "high": float(high[0])}  # fmt: skip


def _after(visit: Visit, held: Iterable[Run], zone: ZoneInfo) -> Run | None:
    """The first weekly audit that begins after the day of a visit."""
    begun = [
        (run.meta["from_utc"], run)
        for run in held
        if first_day_unknown(datetime.fromisoformat(run.meta["from_utc"]), zone) > visit.on
    ]
    return min(begun, key=lambda item: item[0])[1] if begun else None


def _ids(run: Run, key: str) -> set[str]:
    rows = run.table("findings").select(["finding_id", "account_key", "severity"]).to_pylist()
    return {row["finding_id"] for row in rows if row["account_key"] == key and row["severity"] != "note"}
