"""The station's calendar: six whole ISO weeks around the autumn clock change of 2026-11-01.

Other scenarios borrow it with other days (``calendar``). Instants are whole seconds since 1970 in UTC; wall times
are local to America/New_York.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

ZONE_NAME = "America/New_York"
ZONE = ZoneInfo(ZONE_NAME)
FIRST_DAY = date(2026, 10, 12)  # Monday of 2026-W42
WEEKS = 6
MINUTE, HOUR, DAY, WEEK = 60, 3600, 86400, 604800


def instant(wall: datetime) -> int:
    """The instant of a naive wall time; in the repeated hour, its first pass."""
    return int(wall.replace(tzinfo=ZONE, fold=0).timestamp())


def at(text: str) -> int:
    """The instant of a wall time written ``2026-11-18 03:10``."""
    return instant(datetime.strptime(text, "%Y-%m-%d %H:%M"))


def wall(moment: int) -> datetime:
    """The naive wall time of an instant."""
    return datetime.fromtimestamp(moment, UTC).astimezone(ZONE).replace(tzinfo=None)


def local_day(day: date, seconds: float) -> int:
    """The instant at which a clock on the wall shows ``seconds`` after midnight of ``day``."""
    return instant(datetime(day.year, day.month, day.day) + timedelta(seconds=int(seconds)))


def days() -> list[date]:
    """All 42 local days."""
    return [FIRST_DAY + timedelta(days=n) for n in range(7 * WEEKS)]


def monday(week: int) -> int:
    """The instant at which week ``week`` (0 to 6) of the scenario begins; 6 is the end."""
    return local_day(FIRST_DAY + timedelta(days=7 * week), 0)


def week_label(moment: int) -> str:
    """The ISO week, ``2026-W47``, an instant lies in."""
    year, week, _ = wall(moment).isocalendar()
    return f"{year}-W{week:02d}"


@lru_cache(maxsize=16384)
def _hour(hour: int, pattern: str) -> str:
    return f"{wall(hour * HOUR):{pattern}}"


def stamp(moment: int, pattern: str = "%Y-%m-%dT%H") -> str:
    """The wall time of an instant as an export writes it; ``pattern`` ends with the hour (offsets are whole hours)."""
    return f"{_hour(moment // HOUR, pattern)}:{moment % HOUR // 60:02d}:{moment % 60:02d}"


START, END = monday(0), monday(WEEKS)


@contextmanager
def calendar(first_day: date, weeks: int) -> Iterator[None]:
    """Within it the scenario has ``weeks`` weeks from ``first_day``, a Monday."""
    names = ("FIRST_DAY", "WEEKS", "START", "END")
    before = {name: globals()[name] for name in names}
    globals().update(FIRST_DAY=first_day, WEEKS=weeks)
    globals().update(START=monday(0), END=monday(weeks))
    try:
        yield
    finally:
        globals().update(before)
