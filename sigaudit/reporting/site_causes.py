"""Probable causes gathered by site: one entry per cause, whichever of the site's accounts it shows at."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from sigaudit.reporting.page import ACTIONS, Row, RunLike, rank, rows

__all__ = ["SiteCause", "by_account", "by_site", "place_of", "strays"]


@dataclass(frozen=True)
class SiteCause:
    """A cause, or causes that a log cannot tell apart, at one site.

    probability: the greatest over its accounts, of any of the causes; members: the rows of the run table behind it
    (one per cause, the likeliest first); accounts: where it shows.
    """

    probability: float
    confidence: str
    accounts: tuple[str, ...]
    members: tuple[Row, ...]

    @property
    def title(self) -> str:
        """``A``, or ``A or B`` where the log cannot tell them apart."""
        return " or ".join(row["title"] for row in self.members)

    @property
    def action(self) -> str:
        """The cheapest step of its members: at the desk before by remote before on site."""
        return str(min((row["action"] for row in self.members), key=lambda word: rank(ACTIONS, word)))

    @property
    def first(self) -> Row:
        """The likeliest member: its evidence, rival and note of a stray number."""
        return self.members[0]

    def listed(self, name: str) -> list[str]:
        """Texts of a column with several in one cell, of all members, each once."""
        return list(dict.fromkeys(text for row in self.members for text in row[name].split(" | ") if text))


def place_of(row: Mapping[str, str]) -> str:
    """The site of a row with ``site`` and ``account``; a number without one is a place of its own."""
    return row["site"] or f"account {row['account']}"


def strays(run: RunLike) -> dict[str, str]:
    """Stray number -> place of the account it is most probably of (more likely than not)."""
    best: dict[str, tuple[float, str]] = {}
    for row in rows(run, "causes"):
        if row["stray_key"] and (row["link"] or 0.0) >= 0.5:
            best[row["stray_key"]] = max(best.get(row["stray_key"], (0.0, "")), (row["link"], place_of(row)))
    return {stray: place for stray, (_, place) in best.items()}


def by_site(run: RunLike) -> dict[str, tuple[SiteCause, ...]]:
    """Place -> its named causes: cheapest step first, then the likeliest."""
    return _gathered(run, place_of)


def by_account(run: RunLike) -> dict[str, tuple[SiteCause, ...]]:
    """Account key -> its named causes, in the same order."""
    return _gathered(run, lambda row: str(row["account_key"]))


def _gathered(run: RunLike, where: Callable[[Row], str]) -> dict[str, tuple[SiteCause, ...]]:
    gathered: dict[tuple[str, frozenset[str]], list[Row]] = {}
    for row in rows(run, "causes"):
        if row["shown"]:
            held = frozenset((row["cause"], *row["pair"].split()))
            gathered.setdefault((where(row), held), []).append(row)
    found: dict[str, list[SiteCause]] = {}
    for (place, _), entries in sorted(gathered.items(), key=lambda item: (item[0][0], sorted(item[0][1]))):
        found.setdefault(place, []).append(_entry(entries))
    return {place: tuple(sorted(causes, key=_order)) for place, causes in found.items()}


def _entry(entries: Sequence[Row]) -> SiteCause:
    surest = max(entries, key=lambda row: (row["entry_probability"], row["account_key"]))
    members = sorted(
        (row for row in entries if row["account_key"] == surest["account_key"]), key=lambda row: -row["probability"]
    )
    accounts = tuple(sorted({row["account"] for row in entries}))
    return SiteCause(surest["entry_probability"], surest["confidence"], accounts, tuple(members))


def _order(cause: SiteCause) -> tuple[int, float, str]:
    return rank(ACTIONS, cause.action), -cause.probability, cause.title
