"""A delimited export understood: which of its columns is which, with or without a header line."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from sigaudit.reading import guess_toml
from sigaudit.reading.guess_columns import Roles, roles
from sigaudit.reading.guess_cut import Cut, cuts
from sigaudit.reading.guess_events import EventGuess, events
from sigaudit.reading.guess_times import TimeGuess, times
from sigaudit.reading.guess_tokens import LABELLED
from sigaudit.reading.guess_words import hint, said

__all__ = ["Draft", "Samples", "Sheet", "chosen", "delimited", "few", "received", "unclear", "understood"]

Samples = Sequence[tuple[str, Mapping[str, str]]]


@dataclass(frozen=True)
class Sheet:
    """name: '' where the first worksheet whose header fits is meant; within: among how many lines it is found, 0 =

    as usual; width: digits that an account has at least, 0 = as written.
    """

    name: str
    within: int = 0
    width: int = 0


@dataclass(frozen=True)
class Draft:
    """One way to understand a cut. names: header words by position, '' without; skipped: header kept as comment."""

    cut: Cut
    header: bool
    names: tuple[str, ...]
    time: TimeGuess
    event: EventGuess
    roles: Roles
    comment: str
    more: tuple[str, ...] = ()
    sheet: Sheet | None = None

    @property
    def doubts(self) -> list[str]:
        """What is doubtful, as sentences."""
        found = [*self.more, *self.event.doubts, *self.roles.doubts]
        return [*unclear(self.time.forms), *found, *few(len(self.cut.rows))]

    @property
    def labelled(self) -> bool:
        """Whether fields hold words of the trade in front of their values: then the lines are rather printed text."""
        if self.header:
            return False
        heads = [[LABELLED.match(row[i]) for row in self.cut.rows[:200]] for i in range(self.cut.width)]
        return any(sum(one is not None for one in column) > 0.8 * len(column) for column in heads)

    def toml(self, identity: str, encodings: Sequence[str], timezone: str, samples: Samples) -> str:
        """The layout as a file."""
        return guess_toml.written(self, identity, encodings, timezone, samples)


def unclear(forms: Sequence[str]) -> list[str]:
    """A sentence where a date has two readings."""
    both = " or as ".join(forms)
    return [f"The date can be read as {both}: {forms[0]} is taken; see which is right."] if len(forms) > 1 else []


def few(rows: int) -> list[str]:
    """A sentence where there is little to judge by."""
    return [f"There are only {rows} lines to judge by."] if rows < 12 else []


def delimited(text: str) -> Draft | str:
    """The first cut that has a time, an event and an account; else what was missing first, '' without any cut."""
    missing = ""
    for cut in cuts(text):
        found = understood(cut)
        if isinstance(found, Draft):
            return found
        missing = missing or found
    return missing


def understood(cut: Cut, *, sparse: bool = False) -> Draft | str:
    """The columns of a cut, or which field was not found. sparse: a header may leave columns without a name."""
    found = times(cut.rows)
    if not found:
        return "time"
    header, names, comment, doubts = _header(cut, found, sparse)
    rows = cut.rows if header or comment != cut.comment else (cut.first_cells, *cut.rows)
    rows = tuple(row for row in rows if len(row) == cut.width)
    time, other, open_ = received(found, names)
    busy = {at for one in found for at in one.columns}
    free = [at for at in range(cut.width) if at not in busy]
    best = chosen(rows, free, names, events(rows, free, names))
    if isinstance(best, str):
        return best
    event, which = best
    fields = dict(which.fields)
    if other is not None and len(other.columns) == 1:
        fields["panel_time"] = other.columns[0]
    return Draft(cut, header, names, time, event, replace(which, fields=fields), comment, (*doubts, *open_))


def chosen(
    rows: Sequence[Sequence[str]], free: Sequence[int], names: Sequence[str], found: Sequence[EventGuess]
) -> tuple[EventGuess, Roles] | str:
    """The event beside which the other columns fit best, with these; else which field was not found."""
    best: tuple[float, EventGuess, Roles] | None = None
    for event in found[:4]:
        left = [at for at in free if at not in event.columns.values()]
        which = roles(rows, left, names, event.columns.get("event", event.columns.get("code", 0)))
        worth = event.score + 0.1 * any(_hint_event(names[at]) for at in event.columns.values())
        if "account" in which.fields and (best is None or worth > best[0]):
            best = (worth, event, which)
    if best is None:
        return "account" if found else "event"
    return best[1:]


def _hint_event(name: str) -> bool:
    """Whether a header word speaks of events."""
    return any(word in name.casefold() for word in ("event", "code", "cid", "signal", "evt"))


def _header(cut: Cut, found: Sequence[TimeGuess], sparse: bool) -> tuple[bool, tuple[str, ...], str, list[str]]:
    """Whether the first line is a header, the names, how comments begin, doubts."""
    cells = [cell.strip() for cell in cut.first_cells]
    nothing = ("",) * cut.width
    at = [i for one in found for i in one.columns]
    # A header names the time's column in words; a time, even a damaged one, is mostly digits.
    dated = any(i < len(cells) and len(re.findall(r"\d", cells[i])) > 3 for i in at)
    named = [cell for cell in cells if re.search(r"[^\W\d_]", cell)]
    if dated or len(named) < 0.6 * (sum(map(bool, cells)) if sparse else len(cells)) or not named:
        return False, nothing, cut.comment, []
    if len(cells) == cut.width:
        return True, tuple(cells), cut.comment, []
    said_ = "The first line names fewer or more columns than the lines have; it is passed over as a comment."
    if cut.comment:
        said_ = "The first line names fewer or more columns than the lines have."
        return False, nothing, cut.comment, [said_]
    return False, nothing, cut.first[:40].rstrip(), [said_]


def received(found: Sequence[TimeGuess], names: Sequence[str]) -> tuple[TimeGuess, TimeGuess | None, list[str]]:
    """The receiver's time, a panel time beside it, doubts. The receiver's own runs on with the lines."""

    def worth(one: TimeGuess) -> float:
        words = [names[at] for at in one.columns]
        spoken = any(hint("received", word) for word in words) - any(hint("panel_time", word) for word in words)
        return one.order + 0.5 * (one.filled > 0.98) + 0.3 * spoken

    ranked = sorted(found, key=lambda one: (-worth(one), one.columns))
    best = ranked[0]
    if len(ranked) == 1:
        return best, None, []
    second = ranked[1]
    doubts = []
    if worth(best) - worth(second) < 0.1:
        doubts.append(
            f"{said(best.columns[0], names)} and {said(second.columns[0], names)} both hold times; "
            "the first is taken as the receiver's."
        )
    panel = next(
        (one for one in ranked[1:] if any(hint("panel_time", names[at]) for at in one.columns)),
        second if not names[second.columns[0]] and worth(best) - worth(second) >= 0.1 else None,
    )
    return best, panel, doubts
