"""Words, dates and numbers of one language, from a text catalogue (``sigaudit/data/texts``).

Every catalogue has the same keys with the same placeholders; a text with ``.one`` has a ``.other`` beside it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from functools import lru_cache
from typing import Any

from sigaudit.known_names import LANGUAGES
from sigaudit.reporting.page import Clock
from sigaudit.store import shipped

__all__ = ["Catalogue", "Place", "of", "texts"]


@lru_cache(maxsize=len(LANGUAGES))
def texts(language: str) -> Mapping[str, Any]:
    """Every entry of a catalogue by its full key (``days.missed.one``); lists stay lists."""
    with (shipped.data() / "texts" / f"{language}.toml").open("rb") as file:
        return dict(_flat("", tomllib.load(file)))


def _flat(above: str, table: Mapping[str, Any]) -> Iterable[tuple[str, Any]]:
    for name, value in table.items():
        key = f"{above}{name}"
        if isinstance(value, dict):
            yield from _flat(f"{key}.", value)
        else:
            yield key, value


def of(asked: str, fallback: str) -> Catalogue:
    """The catalogue of a language as a roster names it (``es``, ``es-MX``, ``fr_CA``), else the fallback's."""
    short = asked.strip().lower().replace("_", "-").split("-")[0]
    return Catalogue(short if short in LANGUAGES else fallback)


class Catalogue:
    """One language: ``say`` its sentences, ``day``, ``moment``, ``lasting`` and ``number`` its forms."""

    def __init__(self, language: str) -> None:
        self.language = language
        self._texts = texts(language)

    def say(self, key: str, /, **values: object) -> str:
        """The text of a key with its placeholders filled; values are text or whole numbers."""
        told = {name: self.number(v) if isinstance(v, int) else v for name, v in values.items()}
        return str(self._texts[key]).format_map(told)

    def has(self, key: str) -> bool:
        return key in self._texts

    def many(self, key: str, n: int, /, **values: object) -> str:
        """The text for one or for several; ``n`` is a placeholder of it. French says 0 as 1."""
        single = n <= 1 if self.language == "fr" else n == 1
        return self.say(f"{key}.{'one' if single else 'other'}", n=n, **values)

    def number(self, value: float) -> str:
        """A figure as this language writes it: at most one decimal."""
        whole = float(value).is_integer()
        plain = f"{int(value):,}" if whole else f"{value:,.1f}"
        least = int(self._texts["format.grouped_from"])
        if abs(value) < least:
            plain = plain.replace(",", "")
        swap = {",": self._texts["format.thousands"], ".": self._texts["format.decimal"]}
        return "".join(swap.get(sign, sign) for sign in plain)

    def percent(self, part: float, whole: float) -> str:
        """A share; never rounded up to all nor down to nothing."""
        share = 100 * part / whole if whole else 0.0
        if 99.9 < share < 100:
            share = 99.9
        if 0 < share < 0.1:
            share = 0.1
        return str(self._texts["format.percent"]).format(n=self.number(round(share, 1)))

    def month(self, first: date) -> str:
        """``October 2026``."""
        return str(self._texts["format.month"]).format(
            month=self._texts["calendar.months"][first.month - 1], year=first.year
        )

    def day(self, day: date) -> str:
        """``14 October``; the page's title says the year."""
        return str(self._texts["format.day"]).format(
            day=self._ordinal(day.day), month=self._texts["calendar.months"][day.month - 1]
        )

    def full_day(self, day: date) -> str:
        """``14 October 2026``."""
        return str(self._texts["format.full_day"]).format(
            day=self._ordinal(day.day), month=self._texts["calendar.months"][day.month - 1], year=day.year
        )

    def days(self, days: Sequence[date]) -> str:
        """Days of one month, neighbours drawn together: ``1–11, 14 and 29 October``."""
        runs: list[list[date]] = []
        for day in sorted(days):
            if runs and (day - runs[-1][-1]).days == 1:
                runs[-1].append(day)
            else:
                runs.append([day])
        said = [_run(run, self._ordinal) for run in runs]
        month = self._texts["calendar.months"][days[0].month - 1]
        return str(self._texts["format.day"]).format(day=self.listed(said), month=month)

    def listed(self, parts: Sequence[str]) -> str:
        """``a, b and c``."""
        if len(parts) < 2:
            return "".join(parts)
        return f"{', '.join(parts[:-1])} {self._texts['format.and']} {parts[-1]}"

    def lasting(self, seconds: float) -> str:
        """``under a minute``, ``25 min``, ``3 h 05 min``, ``4 days 6 h``."""
        minutes = round(seconds / 60)
        if minutes < 1:
            return self.say("lasting.short")
        if minutes < 60:
            return self.say("lasting.minutes", n=minutes)
        if minutes < 48 * 60:
            return self.say("lasting.hours", h=minutes // 60, m=f"{minutes % 60:02d}")
        hours = round(seconds / 3600)
        return self.say("lasting.days", d=hours // 24, h=hours % 24)

    def _ordinal(self, day: int) -> str:
        return str(self._texts["format.first"]) if day == 1 else str(day)


def _run(run: Sequence[date], ordinal: Any) -> str:
    if len(run) == 1:
        return str(ordinal(run[0].day))
    sign = "–" if len(run) > 2 else ", "
    return f"{ordinal(run[0].day)}{sign}{run[-1].day}"


class Place:
    """Instants as local people read them, in one language."""

    def __init__(self, clock: Clock, words: Catalogue) -> None:
        self.clock, self.words = clock, words

    def day_of(self, instant: datetime) -> date:
        """Local day of a naive UTC instant."""
        return self.clock.local(instant).date()

    def moment(self, instant: datetime, *, year: bool = False) -> str:
        """``14 October, 08:15``; in an hour that comes twice the offset is added."""
        local = self.clock.local(instant)
        twice = local.utcoffset() != local.replace(fold=1 - local.fold).utcoffset()
        day = self.words.full_day(local.date()) if year else self.words.day(local.date())
        return f"{day}, {local:%H:%M}" + (f" (UTC{local:%z})" if twice else "")

    def end(self, begins: datetime, ends: datetime) -> str:
        """The end of a span: the hour alone where it is the same day and no hour of it came twice."""
        first, last = self.clock.local(begins), self.clock.local(ends)
        same = first.date() == last.date() and first.utcoffset() == last.utcoffset()
        return f"{last:%H:%M}" if same else self.moment(ends)
