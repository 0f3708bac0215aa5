"""Which span an audit speaks for: ISO weeks, days and calendar months in the station's own zone."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sigaudit.errors import UsageProblem
from sigaudit.judging.desk import Window

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])")
_WEEK = re.compile(r"(\d{4})-W(\d{2})")
# A log that ends this close to the week's end is taken to speak for the whole week.
NEARLY = timedelta(hours=1)


def week(label: str, zone: ZoneInfo, first_signal_utc: datetime, last_signal_utc: datetime) -> Window:
    """The ISO week ``YYYY-Www``, Monday 00:00 to Monday 00:00 local, as naive UTC.

    ``as_of`` is the week's end, or the minute after the last signal held when the log ends more than an
    hour earlier. Raises UsageProblem for a label that is no week, or a week that the log does not reach.
    """
    monday = _monday(label)
    from_utc, until_utc = _midnight(monday, zone), _midnight(monday + timedelta(days=7), zone)
    if last_signal_utc < from_utc:
        raise UsageProblem(
            f"{label}: the log held ends before it, at {last_signal_utc:%Y-%m-%d %H:%M} UTC",
            next_step="ingest that week's exports, or audit an earlier week",
        )
    if first_signal_utc >= until_utc:
        raise UsageProblem(
            f"{label}: the log held begins after it, at {first_signal_utc:%Y-%m-%d %H:%M} UTC",
            next_step="ingest that week's exports, or audit a later week",
        )
    return Window(from_utc, until_utc, _as_of(until_utc, last_signal_utc))


def day(label: str, zone: ZoneInfo, first_signal_utc: datetime, last_signal_utc: datetime) -> Window:
    """The local day ``YYYY-MM-DD``, midnight to midnight, as naive UTC; ``as_of`` as for a week.

    Raises UsageProblem for a label that is no day, or a day that the log does not reach.
    """
    try:
        if not _DAY.fullmatch(label):
            raise ValueError
        begins = date.fromisoformat(label)
    except ValueError as error:
        raise UsageProblem(f"{label!r} is no day", next_step="write it like 2026-11-17") from error
    from_utc, until_utc = _midnight(begins, zone), _midnight(begins + timedelta(days=1), zone)
    if last_signal_utc < from_utc or first_signal_utc >= until_utc:
        raise UsageProblem(
            f"{label}: the log held runs from {first_signal_utc:%Y-%m-%d %H:%M} to {last_signal_utc:%m-%d %H:%M} UTC",
            next_step="ingest that day's exports, or name another day",
        )
    return Window(from_utc, until_utc, _as_of(until_utc, last_signal_utc))


def last_whole_day(zone: ZoneInfo, last_signal_utc: datetime) -> str:
    """Label of the last local day that the log held reaches the end of."""
    local = (last_signal_utc + NEARLY).replace(tzinfo=UTC).astimezone(zone)
    return (local.date() - timedelta(days=1)).isoformat()


def week_before(day_label: str) -> str:
    """Label of the ISO week before the one that a day lies in."""
    return label_of(date.fromisoformat(day_label) - timedelta(days=7))


def month(label: str, zone: ZoneInfo, first_signal_utc: datetime, last_signal_utc: datetime) -> Window:
    """The local calendar month ``YYYY-MM`` as naive UTC; ``as_of`` as for a week.

    Raises UsageProblem for a label that is no month, or a month that the log does not reach.
    """
    begins = _first_of(label)
    from_utc, until_utc = _midnight(begins, zone), _midnight(_next_month(begins), zone)
    if last_signal_utc < from_utc or first_signal_utc >= until_utc:
        raise UsageProblem(
            f"{label}: the log held runs from {first_signal_utc:%Y-%m-%d} to {last_signal_utc:%Y-%m-%d} UTC",
            next_step="ingest that month's exports, or name another month",
        )
    return Window(from_utc, until_utc, _as_of(until_utc, last_signal_utc))


def last_days(window: Window, zone: ZoneInfo, days: int = 7) -> Window:
    """The last whole local days of a window up to its ``as_of`` (the day of ``as_of`` counts as whole)."""
    local = window.as_of_utc.replace(tzinfo=UTC).astimezone(zone)
    end = local.date() if local.time() == time() else local.date() + timedelta(days=1)
    return Window(_midnight(end - timedelta(days=days), zone), _midnight(end, zone), window.as_of_utc)


def days_of(window: Window, zone: ZoneInfo) -> list[tuple[date, datetime, datetime]]:
    """The local days of a window: (day, midnight, next midnight), naive UTC."""
    day = window.from_utc.replace(tzinfo=UTC).astimezone(zone).date()
    found = []
    while (begins := _midnight(day, zone)) < window.until_utc:
        found.append((day, begins, _midnight(day + timedelta(days=1), zone)))
        day += timedelta(days=1)
    return found


def last_whole_month(zone: ZoneInfo, first_signal_utc: datetime, last_signal_utc: datetime) -> str:
    """Label of the last calendar month that the log held reaches the end of, or else the month it begins in."""
    local = (last_signal_utc + NEARLY).replace(tzinfo=UTC).astimezone(zone).date()
    before = local.replace(day=1) - timedelta(days=1)
    begins = first_signal_utc.replace(tzinfo=UTC).astimezone(zone).date()
    return f"{max(before, begins):%Y-%m}"


def month_before(label: str, count: int = 1) -> str:
    """Label of the month ``count`` months earlier. Raises UsageProblem for a label that is no month."""
    begins = _first_of(label)
    months = begins.year * 12 + begins.month - 1 - count
    return f"{months // 12:04d}-{months % 12 + 1:02d}"


def month_ends(label: str, zone: ZoneInfo) -> datetime:
    """When a month is over, naive UTC. Raises UsageProblem for a label that is no month."""
    return _midnight(_next_month(_first_of(label)), zone)


def ends(label: str, zone: ZoneInfo) -> datetime:
    """When a week is over, naive UTC. Raises UsageProblem for a label that is no week."""
    return _midnight(_monday(label) + timedelta(days=7), zone)


def last_whole_week(zone: ZoneInfo, first_signal_utc: datetime, last_signal_utc: datetime) -> str:
    """Label of the last ISO week that the log held reaches the end of, or else the week it begins in."""
    local = (last_signal_utc + NEARLY).replace(tzinfo=UTC).astimezone(zone)
    this_monday = local.date() - timedelta(days=local.weekday())
    begins = first_signal_utc.replace(tzinfo=UTC).astimezone(zone).date()
    return label_of(max(this_monday - timedelta(days=7), begins))


def before(label: str, count: int) -> list[str]:
    """Labels of the ``count`` weeks before one, the latest first."""
    monday = _monday(label)
    return [label_of(monday - timedelta(days=7 * i)) for i in range(1, count + 1)]


def label_of(day: date) -> str:
    year, number, _ = day.isocalendar()
    return f"{year}-W{number:02d}"


def _as_of(until_utc: datetime, last_signal_utc: datetime) -> datetime:
    if last_signal_utc < until_utc - NEARLY:
        return last_signal_utc.replace(second=0, microsecond=0) + timedelta(minutes=1)
    return until_utc


def _monday(label: str) -> date:
    found = _WEEK.fullmatch(label.strip())
    try:
        if found is None:
            raise ValueError
        return date.fromisocalendar(int(found[1]), int(found[2]), 1)
    except ValueError as error:
        raise UsageProblem(f"{label!r} is no ISO week", next_step="write it like 2026-W47") from error


def _first_of(label: str) -> date:
    found = _MONTH.fullmatch(label.strip())
    if found is None or not 1950 <= int(found[1]) <= 2100:
        raise UsageProblem(f"{label!r} is no month", next_step="write it like 2026-10")
    return date(int(found[1]), int(found[2]), 1)


def _next_month(begins: date) -> date:
    return (begins.replace(day=28) + timedelta(days=4)).replace(day=1)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone).astimezone(UTC).replace(tzinfo=None)
