"""Setting a finding aside: what may be set aside, by whom, and for how long."""

from __future__ import annotations

from datetime import date, timedelta

from sigaudit.errors import UsageProblem
from sigaudit.judging.why import find
from sigaudit.settings import Settings
from sigaudit.store import set_asides
from sigaudit.store.opening import Store
from sigaudit.store.set_asides import SetAside

__all__ = ["LONGEST_DAYS", "LONGEST_GRAVE_DAYS", "end", "make", "standing"]

LONGEST_DAYS = 366  # house: whoever wants longer looks at it again
LONGEST_GRAVE_DAYS = 7  # critical or major on fire, medical or hold-up
_GRAVE, _LIFE = ("critical", "major"), ("fire", "medical", "holdup", "combined", "")
_LONGEST_TEXT = 200


def make(
    store: Store, settings: Settings, finding: str, *, until: str, reason: str, by: str, today: date
) -> SetAside:  # fmt: skip
    """Sets aside the finding whose id begins so, up to and with a day. Raises UsageProblem, StoreBusy."""
    run, row = find(store, finding)
    last = _day(until)
    if last < today:
        raise UsageProblem(f"--until {until}: is over", next_step="give a day from today on")
    grave = row["severity"] in _GRAVE and (row["system_type"] or "") in _LIFE
    most = LONGEST_GRAVE_DAYS if grave else LONGEST_DAYS
    if last > today + timedelta(days=most):
        what = f"a {row['severity']} finding on {row['system_type'] or 'an account of unknown type'}"
        raise UsageProblem(
            f"--until {until}: {what if grave else 'a finding'} is set aside for {most} days at most",
            next_step=f"give {today + timedelta(days=most)} or an earlier day",
        )
    made = SetAside(
        0, row["finding_id"], row["account_key"], row["check"], row["subject"], str(run.meta["label"]),
        row["severity"], row["measured"], row["unit"], last, _said("--reason", reason), _said("--by", by), today,
    )  # fmt: skip
    set_asides.add(store, made)
    return made


def end(store: Store, finding: str, *, by: str, today: date) -> SetAside:
    """Ends the set-aside of a finding before its day. Raises UsageProblem: it has none; StoreBusy."""
    wanted = finding.strip().lower()
    found = [one for one in standing(store) if wanted and one.finding_id.startswith(wanted)]
    if len(found) != 1:
        said = "is not set aside" if not found else "begins several that are set aside"
        raise UsageProblem(f"{finding!r} {said}", next_step="`sigaudit set-aside` lists those that are")
    set_asides.lift(store, found[0].number, _said("--by", by), today)
    return found[0]


def standing(store: Store) -> list[SetAside]:
    """Decisions that nobody has ended; those whose day is over as well, until they are decided again."""
    return [one for one in set_asides.held(store) if one.lifted_on is None]


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise UsageProblem(f"--until {text!r} is no date", next_step="write it like 2026-12-24") from error


def _said(option: str, text: str) -> str:
    told = " ".join(text.split())
    if not told or len(told) > _LONGEST_TEXT or not told.isprintable():
        raise UsageProblem(
            f"{option}: expected up to {_LONGEST_TEXT} characters of text", next_step="say it in a short sentence"
        )
    return told
