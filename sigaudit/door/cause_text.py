"""Causes as text for a terminal and as plain data."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from sigaudit.judging.cause_model import Cause, Model
from sigaudit.judging.learning import Learnt, Line
from sigaudit.judging.visit_record import AGAIN_DAYS, Record
from sigaudit.reporting.site_causes import SiteCause
from sigaudit.reporting.sites import Site


def card_lines(cause: Cause, model: Model) -> Iterator[str]:
    """A cause's card as lines of text."""
    yield f"{cause.id}: {cause.title}"
    yield f"  is           {cause.says}"
    yield f"  sits in      {cause.sits}; action {cause.action}"
    if cause.where:
        yield f"  only where   {', '.join(cause.where)} (an account of which that is not known may have it)"
    yield f"  how often    {cause.base.value:g} of sites have it at a time ({model.standings[cause.base.standing]})"
    for check, number in sorted(cause.fires.items(), key=lambda item: -item[1].value):
        leak = model.leak[check]
        standing = model.standings[number.standing]
        yield f"  makes fire   {check} {number.value:g}; {leak.value:g} without any cause ({standing})"
    for other in cause.pair:
        yield f"  like         {other}: a receiver log cannot tell them apart; they are named together"
    for name, told in (cause.apart or {}).items():
        yield f"  apart from   {name}: {told}"
    yield f"  look first   {cause.field_check}"
    yield f"  mend         {cause.fix}"
    if cause.parts:
        yield f"  bring        {', '.join(cause.parts)}"
    if cause.cautions:
        yield f"  cautions     {', '.join(cause.cautions)}"


def site_rows(site: Site) -> Iterator[dict[str, Any]]:
    """A site's causes as rows of a table; one row where none is named."""
    about = {"site": site.name or site.key, "accounts": ", ".join(site.accounts), "severity": site.severity}
    for cause in site.causes:
        yield {**about, "cause": _ids(cause), "probability": f"{cause.probability:.0%}", "word": cause.confidence,
               "step": cause.action, "rival": cause.first["rival"]}  # fmt: skip
    if not site.causes:
        yield {**about, "cause": "unclear", "probability": "", "word": "", "step": site.needs, "rival": ""}


def site_lines(site: Site) -> Iterator[str]:
    """A site's causes with their evidence."""
    for cause in site.causes:
        first = cause.first
        yield f"{cause.title}: {cause.confidence}, {cause.probability:.0%}"
        yield f"  none of the causes known: {first['none_probability']:.0%}"
        for name, text in (("for", "evidence_for"), ("against", "evidence_against"), ("apart from", "apart")):
            for told in cause.listed(text) if text == "apart" else first[text].split(" | "):
                if told:
                    yield f"  {name:<12} {told}"
        if first["rival"]:
            yield f"  {'rival':<12} {first['rival']} ({first['rival_probability']:.0%})"
        if first["next_observation"]:
            yield f"  {'tells most':<12} {first['next_observation']}"
        if first["stray_note"]:
            yield f"  {'number':<12} {first['stray_note']}"
        for row in cause.members:
            yield f"  {'look first':<12} {row['field_check']}"
        yield f"  {'standing':<12} {first['standing']}"


def site_dict(site: Site) -> dict[str, Any]:
    """A site as plain data."""
    return {
        "site": site.name, "accounts": list(site.accounts), "severity": site.severity, "needs": site.needs,
        "unprotected": site.unprotected, "bring": list(site.bring),
        "findings": [row["finding_id"] for row in site.steps],
        "causes": [
            {"causes": [row["cause"] for row in cause.members], "title": cause.title,
             "probability": cause.probability, "confidence": cause.confidence, "action": cause.action,
             "accounts": list(cause.accounts), "members": list(cause.members)}
            for cause in site.causes
        ],
    }  # fmt: skip


def learnt_row(line: Line) -> dict[str, Any]:
    """One number learnt as a row of a table."""
    return {
        "cause": line.cause, "what": f"{line.check} fires" if line.check else "share of visits",
        "before": f"{line.before:.3f}", "worth": f"{line.weight:g} visits", "found": f"{line.k:g} of {line.n:g}",
        "after": f"{line.after:.3f}",
    }  # fmt: skip


def predicted_row(row: Mapping[str, Any]) -> dict[str, Any]:
    """How often the audits were right when they used one word."""
    return {"said": row["said"], "visits": row["visits"], "right": row["right"], "share": f"{row['share']:.0%}",
            "95 %": f"{row['low']:.0%} to {row['high']:.0%}"}  # fmt: skip


def learnt_notes(told: Learnt, record: Record) -> list[str]:
    """What the numbers are, and what they are not."""
    if not told.visits:
        return ["No visit is known yet: every number is the built-in one. Visits come with visits.csv of the roster."]
    said = [
        f"{record.visits} visits; {record.again} of them to an account visited within {AGAIN_DAYS} days before.",
        f"{record.resolved} of {record.mended} visits that say fixed left none of the account's findings in the next"
        " weekly audit.",
        "Only visited sites teach, and sites are visited because something fired there: this is the mix of causes"
        " among them, not how many sites nobody visited are sound.",
    ]
    if not record.predicted:
        said.append(
            "No visit has a weekly audit before it, so nothing can be said of how often a cause was named right."
        )
    return said


def _ids(cause: SiteCause) -> str:
    return " or ".join(row["cause"] for row in cause.members)
