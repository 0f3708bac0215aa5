"""What a planter takes and what it answers.

A planter takes a site that lives, its healthy life, dice and a strength, and spoils exactly one thing. It
works on any site whose archetype fits, not on the demo's alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from tests.simulation.dice import Dice
from tests.simulation.site import Signal, Site


@dataclass(frozen=True)
class Stray:
    """A number on no roster under which a planted fault makes a site speak, and what is found on it."""

    account: str
    fault: str = "account_not_on_roster"
    also: str = ""


@dataclass
class Planted:
    """A spoiled life.

    ``shows_at``: the instant by which enough of it is in the log to be seen. ``also``: ids of checks, by
    semicolon, that may rightly speak beside it. ``cause``: the id of the cause (sigaudit/data/causes.csv),
    empty where the log's own words are all there is. Signals under the numbers of ``strays`` are in ``signals``.
    ``fault``: what is found on the site itself, where the check planted for finds it on a stray.
    """

    signals: list[Signal]
    shows_at: int
    note: str
    also: str = ""
    cause: str = ""
    strays: list[Stray] = field(default_factory=list)
    fault: str = ""


Planter = Callable[[Site, list[Signal], Dice, str], Planted]
