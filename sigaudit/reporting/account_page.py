"""One page per account with a finding: the findings, their limits, the timeline and the log lines."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.reporting.agenda import weighed_by
from sigaudit.reporting.files import write_text
from sigaudit.reporting.page import Clock, Row, RunLike, cautions, environment, instant, page_name, plain_rows
from sigaudit.reporting.raster import check_in_gaps, raster_of_tests
from sigaudit.reporting.site_causes import by_account
from sigaudit.reporting.timeline import timeline

# A page stays readable: of a longer log the newest lines are shown, and the page says how many are not.
MOST_LINES = 600
FEWEST_LINES = 60
MOST_BYTES = 300_000
_ALWAYS = ("C01", "C02", "C03", "C04", "C06", "C16", "C17", "C18", "C19", "C20", "C21")
_FIRE = ("C05", "C08", "C09", "C10", "C25")


class Pages:
    """A run table cut by ``page_no``: rows of one page at a time, without holding all as Python objects."""

    def __init__(self, table: Any, *order: str) -> None:
        keys = [("page_no", "ascending"), *((name, "ascending") for name in order)]
        kept = table.filter(pc.is_valid(table["page_no"]))
        self._table = kept.sort_by(keys) if kept.num_rows else kept
        self._place: dict[int, tuple[int, int]] = {}
        numbers = self._table["page_no"].combine_chunks() if self._table.num_rows else pa.array([], pa.int32())
        if len(numbers):
            # The sort made every page one run, so its runs are its pages.
            runs = pc.run_end_encode(numbers)
            start = 0
            for entry, end in zip(runs.values.to_pylist(), runs.run_ends.to_pylist(), strict=True):
                self._place[entry] = (start, end - start)
                start = end

    def rows(self, page_no: int) -> list[Row]:
        """Rows of one page in the order asked for; [] for a page without any."""
        start, length = self._place.get(page_no, (0, 0))
        return plain_rows(self._table.slice(start, length)) if length else []


def write_all(
    run: RunLike,
    folder: Path,
    findings: Sequence[Row],
    head: Row,
    clock: Clock,
    *,
    also: Iterable[int] = (),
    home: str = "../index.html#findings",
) -> Iterator[Path]:
    """Write ``accounts/NNNN.html`` for every account that has a finding; gives each path.

    ``findings`` are the run's findings in page order, ``head`` the shared head of ``page.read_what``; ``also``: numbers
    of pages to write without a finding; ``home``: where the page's head leads back to, '' for nowhere.
    """
    template = environment().get_template("account.html.j2")
    evidence = Pages(run.table("evidence"), "received_utc", "source", "line_no")
    slots = Pages(run.table("slots"), "due_utc", "path", "origin")
    held = Pages(run.table("spans"), "from_utc", "kind", "label")
    check_ins = Pages(run.table("check_in_days"), "local_day", "path")
    accounts = {row["page_no"]: row for row in plain_rows(run.table("accounts")) if row["page_no"] is not None}
    paths = Pages(run.table("path_rows"), "account_key", "path")
    causes = by_account(run)
    weighed = weighed_by(run)
    visits = Pages(run.table("visit_rows"), "visited_on")
    by_page: dict[int, list[Row]] = {number: [] for number in also}
    for row in findings:
        if row["page_no"] is not None:
            by_page.setdefault(row["page_no"], []).append(row)
    whole = holds_received(run)
    as_of = instant(run.meta["as_of_utc"]) or datetime(1970, 1, 1)
    numbers = sorted(by_page)
    for place, page_no in enumerate(numbers):
        lines = evidence.rows(page_no)
        spans = held.rows(page_no)
        found = by_page[page_no]
        account = accounts.get(page_no) or _from_finding(found[0])
        due, days = slots.rows(page_no), check_ins.rows(page_no)
        ways = paths.rows(page_no)
        shown = MOST_LINES
        context = dict(
            **head,
            account=account,
            on_roster=page_no in accounts,
            clock=clock,
            findings=found,
            causes=causes.get(account["account_key"], ()),
            weighed=weighed,
            home=home,
            chart=timeline(lines, due, spans, _by_path(days, ways), clock, as_of, whole=whole, findings=found),
            raster=raster_of_tests(lines, due, clock),
            gaps=check_in_gaps(days, ways, clock),
            paths=ways,
            visits=visits.rows(page_no),
            spans=spans,
            page_no=page_no,
            before=numbers[place - 1] if place else None,
            after=numbers[place + 1] if place + 1 < len(numbers) else None,
            cautions=cautions(*_ALWAYS, *(() if account["system_type"] == "burglary" else _FIRE)),
        )
        while True:
            text = template.render(context, lines=lines[-shown:], left_out=max(0, len(lines) - shown))
            if len(text.encode("utf-8")) <= MOST_BYTES or shown <= FEWEST_LINES:
                break
            shown = max(FEWEST_LINES, shown * 2 // 3)
        yield write_text(folder / "accounts" / page_name(page_no), text)


def _by_path(days: Sequence[Row], ways: Sequence[Row]) -> list[Row]:
    """Check-in days under the roster's name of the path that comes in on that receiver and line."""
    names = {f"{way['receiver']}/{way['line']}": way["path"] for way in ways}
    return [{**row, "path": names.get(row["path"], row["path"])} for row in days]


def holds_received(run: RunLike) -> bool:
    """True where the run's slots hold tests that came, so that a share of them can be told."""
    return bool(pc.any(pc.equal(run.table("slots")["state"], "received")).as_py())


def _from_finding(row: Row) -> Row:
    """An account that the roster does not know, as far as its finding knows it."""
    names = ("account_key", "account", "receiver_group", "site", "dealer", "installer", "system_type")
    blank = {"customer": "", "status": "", "heard": True, "first_heard_utc": None, "last_heard_utc": None}
    return {**blank, "signals": None, **{name: row[name] for name in names}}
