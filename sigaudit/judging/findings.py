"""Verdict rows become findings: named, rated, worded, and compared with earlier weeks."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.judging.cards import SEVERITIES, Card
from sigaudit.judging.checks import confidence, severity

_SURE = ("strong", "likely", "possible")
_TEXT, _TIME, _INT, _REAL = pa.string(), pa.timestamp("us"), pa.int64(), pa.float64()

SCHEMA = pa.schema(
    [
        ("week", _TEXT), ("account", _TEXT), ("site", _TEXT), ("dealer", _TEXT), ("installer", _TEXT),
        ("check", _TEXT), ("severity", _TEXT), ("confidence", _TEXT), ("action", _TEXT), ("status", _TEXT),
        ("since", _TIME), ("until", _TIME), ("measured", _REAL), ("limit", _REAL), ("unit", _TEXT),
        ("evidence_count", _INT), ("excused_count", _INT), ("cause", _TEXT), ("cause_probability", _REAL),
        ("next_step", _TEXT), ("finding_id", _TEXT), ("subject", _TEXT), ("receiver_group", _TEXT),
        ("title", _TEXT), ("sentence", _TEXT), ("not_proof", _TEXT), ("look_alikes", _TEXT),
        ("limit_source", _TEXT), ("limit_standing", _TEXT), ("limit_where", _TEXT), ("cautions", _TEXT),
        ("system_type", _TEXT), ("account_key", _TEXT), ("page_no", _INT), ("weeks_on_list", _INT), ("k", _INT),
        ("n", _INT), ("last_good", _TIME), ("evidence_from", _TIME), ("evidence_until", _TIME),
    ]
)  # fmt: skip

# How a required interval came about, in words a reader knows.
_STANDINGS = {
    "roster": ("interval on the roster", "contract or roster"),
    "standard": ("interval by the edition that applies", "standard"),
    "memory": ("interval by edition, figure not yet confirmed by the station", "memory"),
    "own past": ("interval this path has kept so far, inferred", "inferred"),
}


def finding_id(account_key: str, check: str, subject: str) -> str:
    """First 12 hex digits of SHA-256 over account key, check and subject: the same every week, everywhere."""
    return hashlib.sha256(f"{account_key}|{check}|{subject}".encode()).hexdigest()[:12]


def compose(
    rows: pa.Table,
    cards: Mapping[str, Card],
    accounts: Mapping[str, Mapping[str, Any]],
    limits: Mapping[tuple[str, str], Mapping[float, Mapping[str, Any]]],
    says: Mapping[str, str],
    week: str,
    zone: ZoneInfo,
    earlier: Sequence[set[str]],
) -> pa.Table:
    """Findings, worst and surest first, one row each (SCHEMA).

    accounts: by account key (columns of queries/report/accounts.sql); limits: (account key, check) ->
    the limits in force by value; says: severities the station set; earlier: finding ids of the weeks
    before, the latest first.
    """
    found = []
    rows = rows.filter(pc.equal(rows["verdict"], "finding"))
    for row, sure in zip(rows.to_pylist(), confidence(rows), strict=True):
        card = cards[row["check_id"]]
        account = accounts.get(row["account_key"], {})
        identity = finding_id(row["account_key"], card.id, row["subject"])
        status, weeks = history(identity, earlier)
        source, standing, where = _limit(row, limits.get((row["account_key"], card.id), {}))
        found.append(
            {
                "week": week,
                "account": account.get("account", row["account_key"].partition("/")[2]),
                "site": account.get("site", ""),
                "dealer": account.get("dealer", ""),
                "installer": account.get("installer", ""),
                "check": card.id,
                "severity": severity(row, card, account.get("ranks_as", ""), says.get(card.id, "")),
                "confidence": sure,
                "action": card.action,
                "status": status,
                "since": row["since_utc"],
                "until": row["until_utc"],
                "measured": row["measured"],
                "limit": row["limit_value"],
                "unit": row["unit"],
                "evidence_count": row["evidence_count"],
                "excused_count": row["excused_count"],
                "cause": "",
                "cause_probability": None,
                "next_step": card.next_step,
                "finding_id": identity,
                "subject": row["subject"],
                "receiver_group": account.get("receiver_group", row["account_key"].partition("/")[0]),
                "title": card.title,
                "sentence": sentence(row, card, zone),
                "not_proof": card.not_proof,
                "look_alikes": " | ".join(card.look_alikes),
                "limit_source": source,
                "limit_standing": standing,
                "limit_where": where,
                "cautions": " ".join(card.cautions),
                "system_type": account.get("system_type", ""),
                "account_key": row["account_key"],
                "page_no": None,
                "weeks_on_list": weeks,
                "k": row["k"],
                "n": row["n"],
                "last_good": row["last_good_utc"],
                "evidence_from": row["evidence_from_utc"],
                "evidence_until": row["evidence_until_utc"],
            }
        )
    found.sort(
        key=lambda f: (
            SEVERITIES.index(f["severity"]), _SURE.index(f["confidence"]), f["account_key"], f["check"], f["subject"]
        )
    )  # fmt: skip
    pages: dict[str, int] = {}
    for finding in found:
        finding["page_no"] = pages.setdefault(finding["account_key"], len(pages) + 1)
    return pa.Table.from_pylist(found, schema=SCHEMA)


def history(identity: str, earlier: Sequence[set[str]]) -> tuple[str, int]:
    """new, continuing or returned, and how many weeks running it has been on the list."""
    weeks = 1
    for ids in earlier:
        if identity not in ids:
            break
        weeks += 1
    if weeks > 1:
        return "continuing", weeks
    return ("returned", 1) if any(identity in ids for ids in earlier[1:]) else ("new", 1)


def weighed(said: pa.Table, found: pa.Table) -> pa.Table:
    """What was weighed of the findings listed, under their ``finding_id``; ``rank_no``: in which order to tell it."""
    listed = set(found["finding_id"].to_pylist())
    schema = pa.schema(
        [("finding_id", _TEXT), ("rank_no", pa.int64()), ("measure", _TEXT), ("value", _REAL), ("low", _REAL),
         ("high", _REAL), ("words", _TEXT)]
    )  # fmt: skip
    rows = [
        {"finding_id": identity, **{n: row[n] for n in schema.names[1:]}}
        for row in said.to_pylist()
        if (identity := finding_id(row["account_key"], row["check_id"], row["subject"])) in listed
    ]
    return pa.Table.from_pylist(rows, schema=schema)


def resolved(rows: pa.Table, before: pa.Table | None, now: set[str]) -> pa.Table:
    """Findings of the week before that are gone, and not merely unjudged this week."""
    schema = pa.schema([(n, _TEXT) for n in ("finding_id", "account", "site", "check", "title", "last_week")])
    if before is None:
        return schema.empty_table()
    asked = pc.is_in(rows["account_key"], before["account_key"].combine_chunks())
    silent = rows.filter(pc.and_(asked, pc.equal(rows["verdict"], "not_judged")))
    unjudged = {
        finding_id(row["account_key"], row["check_id"], row["subject"])
        for row in silent.select(["account_key", "check_id", "subject"]).to_pylist()
    }
    gone = [
        {**{n: row[n] for n in schema.names if n != "last_week"}, "last_week": row["week"]}
        for row in before.to_pylist()
        if row["finding_id"] not in now and row["finding_id"] not in unjudged
    ]
    return pa.Table.from_pylist(gone, schema=schema)


def sentence(row: Mapping[str, Any], card: Card, zone: ZoneInfo) -> str:
    """The card's sentence with this row's numbers: what, since when, how many of how many, compared with what."""
    words = {
        "measured": amount(row["measured"], row["unit"]),
        "limit": amount(row["limit_value"], row["unit"]),
        "since": moment(row["since_utc"], zone),
        "until": moment(row["until_utc"], zone),
        "last_good": moment(row["last_good_utc"], zone),
        "subject": spoken(row["subject"]),
        "k": str(row["k"]),
        "n": str(row["n"]),
    }
    told = card.sentence.format_map(words)
    return f"{told} ({row['reason'].rstrip('; ')})" if row["reason"] else told


def spoken(subject: str) -> str:
    """A subject as a sentence says it: ``peer=main/0421`` is ``0421``, ``path=radio`` is ``path radio``."""
    told = []
    for part in subject.split(","):
        name, _, what = part.partition("=")
        if name == "peer":
            group, _, account = what.rpartition("/")
            told.append(account if group in ("", "main") else f"{account} of group {group}")
        else:
            told.append(f"{name} {what}".strip())
    return ", ".join(told)


def amount(value: float | None, unit: str) -> str:
    """A number with its unit as a person says it: 53.1 h becomes ``2 d 5 h``."""
    if value is None:
        return "?"
    if unit == "h" and value >= 48:
        days, hours = divmod(round(value), 24)
        return f"{days} d {hours} h" if hours else f"{days} d"
    number = f"{value:.0f}" if abs(value) >= 100 or value == int(value) else f"{value:.1f}"
    return f"{number} %" if unit == "%" else f"{number} {unit}"


def moment(at: datetime | None, zone: ZoneInfo) -> str:
    """A naive UTC instant as local date and minute."""
    return "?" if at is None else at.replace(tzinfo=UTC).astimezone(zone).strftime("%Y-%m-%d %H:%M")


def _limit(row: Mapping[str, Any], limit: Mapping[float, Mapping[str, Any]]) -> tuple[str, str, str]:
    # Only a limit in hours is the required interval itself; others count intervals, tests or shares.
    if row["unit"] == "h" and row["standing"] in _STANDINGS:
        return (*_STANDINGS[row["standing"]], row["standing"])
    if row["unit"] == "%":
        return "miss rate of its sound peers", "measured", "test_odds"
    found = limit.get(row["limit_value"]) or next(iter(limit.values()), {})
    return found.get("source", ""), found.get("standing", ""), found.get("set_where", "")
