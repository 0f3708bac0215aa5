"""Which columns of an unknown export hold the receiver's time, and in which form it is written.

Forms are found by the shape of the values; where day and month cannot be told apart, both forms are answered.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

__all__ = ["TimeGuess", "times"]

_LEAST = 0.9  # share of the filled values that must have one form
_SAMPLE = 4000
_SEP = r"([-/. ])"
# (pattern of the date, its possible readings); {s} is the separator as found.
_DATES: tuple[tuple[re.Pattern[str], tuple[str, ...]], ...] = (
    (re.compile(rf"\d{{4}}{_SEP}\d\d?\1\d\d?"), ("%Y{s}%m{s}%d",)),
    (re.compile(rf"\d\d?{_SEP}\d\d?\1\d{{4}}"), ("%d{s}%m{s}%Y", "%m{s}%d{s}%Y")),
    (re.compile(rf"\d\d?{_SEP}\d\d?\1\d\d(?!\d)"), ("%d{s}%m{s}%y", "%m{s}%d{s}%y", "%y{s}%m{s}%d")),
    (re.compile(r"\d\d?([-/. ]?)[A-Za-z]{3}\1\d{4}"), ("%d{s}%b{s}%Y",)),
    (re.compile(r"\d\d?([-/. ]?)[A-Za-z]{3}\1\d\d(?!\d)"), ("%d{s}%b{s}%y",)),
    (re.compile(r"\d\d?([-/. ])[A-Za-z]{4,9}\1\d{4}"), ("%d{s}%B{s}%Y",)),
    (re.compile(r"[A-Za-z]{3}( )\d\d?, \d{4}"), ("%b %d, %Y",)),
    (re.compile(r"[A-Za-z]{3}( )\d\d? \d{4}"), ("%b %d %Y",)),
    (re.compile(rf"\d{{4}} \d\d?{_SEP}\d\d?(?!\d|\1)"), ("%Y %m{s}%d", "%Y %d{s}%m")),
    (re.compile(rf"\d{{4}} \d\d?{_SEP}\d\d?\1(?= |$)"), ("%Y %m{s}%d{s}", "%Y %d{s}%m{s}")),
    (re.compile(r"\d{4} \d\d?([-. ]?)[A-Za-z]{3}(?![A-Za-z])"), ("%Y %d{s}%b",)),
    (re.compile(r"\d{4} [A-Za-z]{3}( +)\d\d?(?!\d)"), ("%Y %b %d",)),
    (re.compile(r"\d{8}(?!\d)()"), ("%Y%m%d", "%d%m%Y", "%m%d%Y")),
    (re.compile(r"\d{8}(?=\d)()"), ("%Y%m%d",)),
    (re.compile(r"\d{6}(?!\d)()"), ("%y%m%d", "%d%m%y", "%m%d%y")),
    (re.compile(r"\d{6}(?=\d{6}$|\d{4}$)()"), ("%y%m%d",)),
)
_CLOCKS: tuple[tuple[re.Pattern[str], str], ...] = (
    (re.compile(r"\d\d?:\d\d:\d\d\.\d{1,9}"), "%H:%M:%S.%f"),
    (re.compile(r"\d\d?:\d\d:\d\d,\d{1,9}"), "%H:%M:%S,%f"),
    (re.compile(r"\d\d?:\d\d:\d\d"), "%H:%M:%S"),
    (re.compile(r"\d\d?:\d\d"), "%H:%M"),
    (re.compile(r"\d\d?:\d\d:\d\d [AaPp][Mm]"), "%I:%M:%S %p"),
    (re.compile(r"\d\d?:\d\d [AaPp][Mm]"), "%I:%M %p"),
    (re.compile(r"\d\d?:\d\d:\d\d[AaPp][Mm]"), "%I:%M:%S%p"),
    (re.compile(r"\d\d?:\d\d[AaPp][Mm]"), "%I:%M%p"),
    (re.compile(r"\d\d\.\d\d\.\d\d"), "%H.%M.%S"),
    (re.compile(r"\d\d\.\d\d"), "%H.%M"),
    (re.compile(r"\d{6}"), "%H%M%S"),
    (re.compile(r"\d{4}"), "%H%M"),
)
_BETWEEN = re.compile(r"( - |, |[ T,_-]|)")
_ISO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d([.,]\d{1,9})?)?( ?(Z|[+-]\d\d(:?\d\d)?))?")


@dataclass(frozen=True)
class TimeGuess:
    """columns: positions from 0, date before time; forms: fitting formats, the likeliest first; order: how far the

    values stand in the order of the lines, 0 to 1; filled: share of rows that have a value.
    """

    columns: tuple[int, ...]
    forms: tuple[str, ...]
    order: float
    filled: float


def times(rows: Sequence[Sequence[str]]) -> list[TimeGuess]:
    """Every column, and every pair of a date and a clock column, that holds times."""
    width = len(rows[0])
    step = max(1, len(rows) // _SAMPLE)
    columns = [[row[i] for row in rows[::step]] for i in range(width)]
    found = [guess for i in range(width) if (guess := _column((i,), columns[i])) is not None]
    whole = {guess.columns[0] for guess in found}
    dates = [i for i in range(width) if i not in whole and _all(columns[i], _is_date)]
    clocks = [i for i in range(width) if i not in whole and _all(columns[i], lambda v: bool(_clock(v)))]
    for date in dates:
        # A clock stands beside its date; one further away belongs to another one.
        for clock in sorted((c for c in clocks if c != date), key=lambda c: (abs(c - date), c < date))[:2]:
            joined = [f"{a} {b}".strip() for a, b in zip(columns[date], columns[clock], strict=True)]
            guess = _column((date, clock), joined)
            if guess is not None:
                found.append(guess)
                break
    return found


def _all(values: Sequence[str], test: object) -> bool:
    filled = [value for value in values if value]
    assert callable(test)
    return bool(filled) and sum(bool(test(value)) for value in filled) >= _LEAST * len(filled)


def _is_date(value: str) -> bool:
    return any(pattern.fullmatch(value) for pattern, _ in _DATES)


def _clock(value: str) -> str:
    return next((form for pattern, form in _CLOCKS if pattern.fullmatch(value)), "")


def _column(columns: tuple[int, ...], values: Sequence[str]) -> TimeGuess | None:
    filled = [value for value in values if value]
    if not filled:
        return None
    if sum(_ISO.fullmatch(value) is not None for value in filled) >= _LEAST * len(filled):
        read = [_iso(value) for value in filled]
        good = [one for one in read if one is not None]
        if len(good) >= _LEAST * len(filled):
            return TimeGuess(columns, ("iso",), _order(good), len(filled) / len(values))
        return None
    counted = Counter(form for value in filled[:200] for form in _forms(value))
    if not counted:
        return None
    likely = [form for form, n in counted.items() if n >= _LEAST * min(len(filled), 200)]
    ranked = []
    for form in likely:
        good = [one for value in filled if (one := _read(value, form)) is not None]
        if len(good) >= _LEAST * len(filled):
            ranked.append((form, len(good), good))
    if not ranked:
        return None
    most = max(n for _, n, _ in ranked)
    # The reading that most values allow; readings that a few values forbid are out.
    ranked = [one for one in ranked if one[1] == most]
    ranked.sort(key=lambda one: (_span(one[2]), _habit(one[0])))
    least = _span(ranked[0][2])
    # A reading under which the file would span many times longer has the year in the wrong place.
    forms = [form for form, _, good in ranked if _kin(form, ranked[0][0]) or _span(good) < 20 * max(least, 1.0)]
    return TimeGuess(columns, tuple(forms), _order(ranked[0][2]), len(filled) / len(values))


def _kin(form: str, other: str) -> bool:
    """Whether two readings differ only in day and month."""
    return form.replace("%d", "%m") == other.replace("%d", "%m")


def _habit(form: str) -> int:
    """Where nothing else decides: points are written day first, other marks month first (common practice)."""
    date = form.removeprefix("%Y ")
    return int(date.startswith("%d") != date.startswith(("%d.", "%m.")))


def _forms(value: str) -> Iterator[str]:
    """Every reading of one value as date and clock."""
    for pattern, readings in _DATES:
        date = pattern.match(value)
        if date is None:
            continue
        between = _BETWEEN.match(value, date.end())
        assert between is not None
        clock = _clock(value[between.end() :])
        if not clock or (not between[1] and not (value[: date.end()].isdigit() and clock in ("%H%M%S", "%H%M"))):
            continue
        for reading in readings:
            yield reading.replace("{s}", date[1]) + between[1] + clock


def _read(value: str, form: str) -> datetime | None:
    try:
        return datetime.strptime(value, form).replace(tzinfo=None)
    except ValueError:
        return None


def _iso(value: str) -> datetime | None:
    try:
        # Only the order of the lines is asked, so an offset that some lines have and others not is left out.
        return datetime.fromisoformat(value[:19].replace(" ", "T")).replace(tzinfo=None)
    except ValueError:
        return None


def _span(read: Sequence[datetime]) -> float:
    """Days from the first to the last."""
    return (max(read) - min(read)).total_seconds() / 86400


def _order(read: Sequence[datetime]) -> float:
    """Share of neighbours in the order of the lines, upward or downward."""
    steps = [(b - a).total_seconds() for a, b in pairwise(read)]
    if not steps:
        return 1.0
    return max(sum(s >= 0 for s in steps), sum(s <= 0 for s in steps)) / len(steps)
