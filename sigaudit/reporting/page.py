"""What all pages share: the run as they see it, local time, words, templates, safe data blocks, assets.

Nothing here judges. A page may be opened from disk with the network off, may be printed, and may hold
text that a stranger wrote into a log: such text is shown, never run.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, Protocol
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from sigaudit.errors import StoreProblem
from sigaudit.store import shipped

TEMPLATES = Path(__file__).resolve().parent / "templates"

# Chromium accepts 'self' for a script beside a page opened from disk, but neither a bare hash nor
# integrity= there (measured with version 156). So no page holds a script of its own: all lie in assets/.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src data: blob:; form-action 'none'; base-uri 'none'"
)
PLAIN_POLICY = "default-src 'none'; style-src 'unsafe-inline'; form-action 'none'; base-uri 'none'"

Row = dict[str, Any]

SEVERITIES = ("critical", "major", "minor", "note")
STATUSES = ("new", "returned", "continuing")
ACTIONS = ("desk", "remote", "visit", "none")
CONFIDENCES = ("strong", "likely", "possible")
# Life at stake first; a system of unknown kind is treated as if lives hung on it.
SYSTEM_ORDER = ("fire", "medical", "holdup", "combined", "", "burglary", "environment")


class RunLike(Protocol):
    """A finished audit run: ``meta`` as written by the audit, ``table(name)`` a pyarrow.Table."""

    @property
    def meta(self) -> Mapping[str, Any]: ...

    def table(self, name: str) -> Any: ...


def rows(run: RunLike, name: str) -> list[Row]:
    """Rows of one run table as dicts, in stored order; a number that is none (NaN) is None."""
    return plain_rows(run.table(name))


def grouped(table: Sequence[Row], column: str) -> dict[Any, list[Row]]:
    """Rows by what stands in a column, in their order."""
    found: dict[Any, list[Row]] = {}
    for row in table:
        found.setdefault(row[column], []).append(row)
    return found


def plain_rows(table: Any) -> list[Row]:
    """Rows of a pyarrow.Table as dicts; a number that is none (NaN) is None."""
    return [{key: None if value != value else value for key, value in row.items()} for row in table.to_pylist()]


def rank(words: Sequence[str], word: str) -> int:
    """Place of a word in its order; an unknown one stands last."""
    return words.index(word) if word in words else len(words)


class Clock:
    """Instants (naive UTC) as the station's people read them; the zone's name is ``zone``."""

    def __init__(self, zone: str) -> None:
        try:
            self._zone = ZoneInfo(zone)
        except (ZoneInfoNotFoundError, ValueError) as fault:
            raise StoreProblem(
                f"the run names a time zone that this machine does not know: {zone!r}",
                next_step="install the tzdata package or correct the zone in sigaudit.toml",
            ) from fault
        self.zone = zone

    def local(self, instant: datetime) -> datetime:
        """Aware local time of a naive UTC instant."""
        return instant.replace(tzinfo=UTC).astimezone(self._zone)

    def noon(self, day: date) -> datetime:
        """Naive UTC instant of 12:00 local on a day."""
        local = datetime(day.year, day.month, day.day, 12, tzinfo=self._zone)
        return local.astimezone(UTC).replace(tzinfo=None)

    def text(self, instant: datetime | None) -> str:
        """``Mon 16 Nov 2026 06:00``; '' for none. In a repeated hour the offset is added."""
        if instant is None:
            return ""
        local = self.local(instant)
        twice = local.utcoffset() != local.replace(fold=1 - local.fold).utcoffset()
        return f"{local:%a} {local.day} {local:%b %Y %H:%M}" + (f" (UTC{local:%z})" if twice else "")

    def exact(self, instant: datetime | None) -> str:
        """``2026-11-16 06:00:00+0100``, for log lines; '' for none."""
        return "" if instant is None else f"{self.local(instant):%Y-%m-%d %H:%M:%S%z}"

    def short(self, instant: datetime | None) -> str:
        """``2026-11-16 06:00``, sorts as it reads; '' for none."""
        return "" if instant is None else f"{self.local(instant):%Y-%m-%d %H:%M}"

    def offsets(self, start: datetime, end: datetime) -> list[list[int]]:
        """Offsets in force over a span: ``[[unix ms from, seconds east], ...]``, the first at ``start``."""
        found: list[list[int]] = []
        step = start.replace(minute=0, second=0, microsecond=0)
        while step <= end:
            offset = self.local(step).utcoffset() or timedelta()
            seconds = int(offset.total_seconds())
            if not found or found[-1][1] != seconds:
                found.append([int(step.replace(tzinfo=UTC).timestamp() * 1000), seconds])
            step += timedelta(hours=1)
        return found


def instant(text: str | datetime | None) -> datetime | None:
    """Naive UTC instant from a meta.json text (``Z``, an offset or none = UTC); None for nothing."""
    if not text:
        return None
    read = text if isinstance(text, datetime) else datetime.fromisoformat(text)
    return read.astimezone(UTC).replace(tzinfo=None) if read.tzinfo else read


def day_text(day: date | None) -> str:
    """``Mon 16 Nov``; '' for none."""
    return "" if day is None else f"{day:%a} {day.day} {day:%b}"


def number(value: float | None, decimals: int = 1) -> str:
    """A figure for reading: thousands apart, no tail of zeros, a dash for none."""
    if value is None:
        return "–"
    if float(value).is_integer():
        return f"{int(value):,}"
    return f"{value:,.{decimals}f}".rstrip("0").rstrip(".")


def percent(part: float | None, whole: float | None) -> str:
    """``97.4 %``; '' without a whole. Never rounds up to 100 nor down to 0."""
    if part is None or not whole:
        return ""
    share = round(100 * part / whole, 1)
    if share >= 100 and part < whole:
        return "over 99.9 %"
    if share <= 0 < part:
        return "under 0.1 %"
    return f"{share:.1f} %"


def interval(seconds: float | None) -> str:
    """``6 h``, ``60 min``, ``90 s``, ``7 d``; ``none`` where nothing is required."""
    if seconds is None:
        return "none"
    if seconds < 120:
        return f"{number(seconds)} s"
    if seconds >= 172800:
        return f"{number(seconds / 86400)} d"
    return f"{number(seconds / 3600)} h" if seconds > 3600 else f"{number(seconds / 60)} min"


def counted(n: int, one: str, many: str = "") -> str:
    """``1 site``, ``2,104 sites``."""
    return f"{n:,} {one if n == 1 else many or one + 's'}"


def apart(text: str) -> str:
    """Several texts in one cell, told apart by `` | `` there, as one sentence."""
    return "; ".join(part.strip() for part in text.split(" | "))


_UNSEEN = {code: 0x2400 + code for code in range(32) if code not in (9, 10)}
_TURNS = (0x61C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A))
_UNSEEN |= {0x7F: 0x2421, **dict.fromkeys(_TURNS, 0xFFFD)}


def visible(value: Any) -> Any:
    """Text with control and direction-changing characters made visible; anything else unchanged."""
    if isinstance(value, Markup) or not isinstance(value, str):
        return value
    return value.translate(_UNSEEN)


def page_name(page_no: int) -> str:
    """File name of an account's page: our running number, never the account as typed."""
    return f"{page_no:04d}.html"


def data_block(value: Any) -> Markup:
    """JSON for ``<script type="application/json">``: no character in it can end the block."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in ("<", ">", "&", chr(0x2028), chr(0x2029)):
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)


def environment() -> Environment:
    """Template environment: everything escaped, a missing name is an error."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES, encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=visible,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters.update(hours=interval, number=number, data_block=data_block, apart=apart)
    made.globals.update(counted=counted, percent=percent, page_name=page_name, instant=instant)
    made.globals.update(policy=POLICY, plain_policy=PLAIN_POLICY)
    made.globals["plain_style"] = Markup((TEMPLATES / "page.css").read_text(encoding="utf-8"))
    return made


def cautions(*wanted: str) -> list[Row]:
    """Cautions from the shipped table, all or those named, in the order of the table."""
    with (shipped.data() / "cautions.csv").open(encoding="utf-8", newline="") as file:
        return [dict(row) for row in csv.DictReader(file) if not wanted or row["id"] in wanted]


def read_what(run: RunLike, clock: Clock) -> Row:
    """What was read, from when to when, and what was missing: the head of every page."""
    meta = run.meta
    holes = sorted(
        (row for row in rows(run, "incidents") if row["kind"] in ("export_gap", "not_told_apart")),
        key=lambda row: (row["from_utc"], row["receiver"], row["line"]),
    )
    states: dict[str, int] = {}
    start, end = instant(meta["from_utc"]), instant(meta["until_utc"])
    for row in rows(run, "coverage"):
        if start is None or end is None or start <= row["hour_utc"] < end:
            states[row["state"]] = states.get(row["state"], 0) + 1
    return {
        "meta": meta,
        "sum": meta["sum"],
        "from": clock.text(start),
        "until": clock.text(end),
        "as_of": clock.text(instant(meta["as_of_utc"])),
        "zone": clock.zone,
        "holes": holes,
        "states": states,
        "line_hours": sum(states.values()),
        "missing_hours": states.get("missing", 0),
        "first_utc": min((s["first_utc"] for s in meta["sources"] if s.get("first_utc")), default=""),
        "last_utc": max((s["last_utc"] for s in meta["sources"] if s.get("last_utc")), default=""),
    }
