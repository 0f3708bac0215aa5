"""revisit.xlsx: the sites to go to, one row each, and all findings, for a spreadsheet program."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import xlsxwriter

from sigaudit.reporting.files import starts_formula
from sigaudit.reporting.page import Clock, Row, RunLike, instant, rows
from sigaudit.reporting.sites import Site, sites

# A sheet ends at 1,048,576 rows and a cell at 32,767 characters (limits of the open format's usual readers;
# from memory, checked by xlsxwriter itself, which refuses more).
MOST_CHARACTERS = 32_000

_SITE_COLUMNS = (
    ("order", 7),
    ("site", 34),
    ("accounts", 16),
    ("system", 13),
    ("no proven path", 26),
    ("severity", 10),
    ("since", 17),
    ("furthest step", 12),
    ("probable causes", 44),
    ("tell apart", 44),
    ("at the desk", 44),
    ("by remote", 44),
    ("on site", 44),
    ("what was found", 60),
    ("bring", 24),
    ("customer", 24),
    ("dealer", 22),
    ("installer", 22),
    ("found on site (for the desk)", 30),
)
_VISIT_COLUMNS = (
    ("account", 14),
    ("visited_on", 14),
    ("technician", 22),
    ("found", 30),
    ("fixed", 10),
    ("note", 60),
)
# The words that the roster's visit sheet takes besides causes.
FOUND = ("no_fault", "could_not_reproduce", "no_access", "not_checked", "other")
MOST_VISITS = 5000
_FINDING_COLUMNS = (
    ("severity", 10),
    ("confidence", 11),
    ("account", 11),
    ("group", 9),
    ("site", 34),
    ("finding", 34),
    ("sentence", 70),
    ("since", 17),
    ("status", 11),
    ("weeks", 7),
    ("action", 9),
    ("next step", 50),
    ("measured", 11),
    ("limit", 11),
    ("unit", 10),
    ("limit source", 34),
    ("standing", 16),
    ("excused", 9),
    ("log lines", 9),
    ("dealer", 22),
    ("installer", 22),
    ("check", 24),
    ("finding id", 15),
)


def write(run: RunLike, path: Path, findings: Sequence[Row], clock: Clock) -> Path:
    """Write the workbook (sheets ``revisit``, ``findings``, ``about``); the same run gives the same bytes.

    Text is stored as text, never as a formula or link, and marked so that it stays text when edited.
    Times are local and written as text with the zone in the heading.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "default_date_format": "yyyy-mm-dd hh:mm",
    }
    book = xlsxwriter.Workbook(str(path), options)
    as_of = instant(run.meta["as_of_utc"]) or datetime(1980, 1, 1)
    # Without a fixed date the file would carry the moment of writing, and two runs would differ.
    book.set_properties({"title": f"Revisit list {run.meta['label']}", "created": as_of})
    sheet = _Sheets(book)
    sheet.fill(
        "revisit",
        _zoned(_SITE_COLUMNS, clock),
        (_site_row(i, site, clock) for i, site in enumerate(sites(run, findings), start=1)),
    )
    sheet.fill("findings", _zoned(_FINDING_COLUMNS, clock), (_finding_row(row, clock) for row in findings))
    listed = sites(run, findings)
    sheet.fill("visits", _VISIT_COLUMNS, [(account,) for site in listed for account in site.accounts])
    sheet.choices("visits", _chosen(run))
    meta = run.meta
    sheet.fill(
        "about",
        (("what", 24), ("value", 90)),
        [
            ("audit", f"{meta['label']} of {meta['station']}"),
            (
                "window",
                " to ".join(clock.text(instant(meta[key])) for key in ("from_utc", "until_utc")) + f" ({clock.zone})",
            ),
            ("as of", clock.text(as_of)),
            (
                "order",
                "no proven path, life at stake, severity, age; desk steps come before remote ones and visits",
            ),
            (
                "caution",
                "Signals only; not an inspection. On test before any work; qualified persons only.",
            ),
            (
                "visits",
                "one row per cause found; save the sheet as visits.csv and load it with the roster: it teaches",
            ),
            (
                "text cells",
                "are text even where they begin with = + - @; nothing in this file is a formula or a link",
            ),
        ],
    )
    book.close()
    return path


def _chosen(run: RunLike) -> dict[str, list[str]]:
    """What the columns of a visit may hold: the causes of this run and the words of the roster's visit sheet."""
    causes = sorted({row["cause"] for row in rows(run, "causes")})
    return {"found": [*FOUND, *causes], "fixed": ["yes", "no", "partly"]}


class _Sheets:
    """Writes tables into sheets with the same look."""

    def __init__(self, book: Any) -> None:
        self._book = book
        base = {"valign": "top", "text_wrap": True}
        self._head = book.add_format({"bold": True, "bottom": 1, "valign": "vcenter", "text_wrap": True})
        self._text = book.add_format(base)
        self._kept = book.add_format({**base, "quote_prefix": True})
        self._number = book.add_format({"valign": "top", "num_format": "#,##0.##"})

    def choices(self, name: str, allowed: Mapping[str, Sequence[str]]) -> None:
        """Drop-down lists for columns of a sheet already filled; their words stand on the sheet ``words``."""
        sheet, words = self._book.get_worksheet_by_name(name), self._book.add_worksheet("words")
        labels = [label for label, _ in _VISIT_COLUMNS]
        for place, (label, entries) in enumerate(allowed.items()):
            words.write_string(0, place, label, self._head)
            for row, entry in enumerate(entries, start=1):
                words.write_string(row, place, entry, self._text)
            letter = "ABCDEFGH"[place]
            column = labels.index(label)
            sheet.data_validation(
                1, column, MOST_VISITS, column,
                {"validate": "list", "source": f"=words!${letter}$2:${letter}${len(entries) + 1}",
                 "error_title": label, "error_message": "One of the words on the sheet 'words'."},
            )  # fmt: skip

    def fill(self, name: str, columns: Sequence[tuple[str, int]], table: Any) -> None:
        sheet = self._book.add_worksheet(name)
        for place, (label, width) in enumerate(columns):
            sheet.set_column(place, place, width)
            sheet.write_string(0, place, label, self._head)
        last = 0
        for last, values in enumerate(table, start=1):
            for place, value in enumerate(values):
                if isinstance(value, (int, float)):
                    sheet.write_number(last, place, value, self._number)
                elif value:
                    text = str(value)[:MOST_CHARACTERS]
                    sheet.write_string(last, place, text, self._kept if starts_formula(text) else self._text)
        sheet.freeze_panes(1, 2 if len(columns) > 2 else 0)
        if len(columns) > 2:
            sheet.autofilter(0, 0, max(last, 1), len(columns) - 1)
        sheet.set_landscape()
        sheet.set_paper(9)
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(0)


def _zoned(columns: Sequence[tuple[str, int]], clock: Clock) -> list[tuple[str, int]]:
    return [(f"since ({clock.zone})" if label == "since" else label, width) for label, width in columns]


def _site_row(order: int, site: Site, clock: Clock) -> tuple[Any, ...]:
    def steps(action: str) -> str:
        """Field checks of the causes at this distance first, then the steps of the findings."""
        causes = [row["field_check"] for cause in site.causes for row in cause.members if row["action"] == action]
        return "\n".join(dict.fromkeys([*causes, *(site.step(r) for r in site.steps if r["action"] == action)]))

    found = "\n".join(row["sentence"] or row["title"] for row in site.steps)
    return (
        order,
        site.name,
        ", ".join(site.accounts),
        ", ".join(kind or "not known" for kind in site.system_types),
        site.unprotected,
        site.severity,
        clock.short(site.oldest),
        site.needs,
        "\n".join(f"{cause.title} ({cause.confidence}, {cause.probability:.0%})" for cause in site.causes),
        "\n".join(told for cause in site.causes for told in cause.listed("apart")),
        steps("desk"),
        steps("remote"),
        steps("visit"),
        found,
        "\n".join(site.bring),
        site.customer,
        site.dealer,
        site.installer,
        "",
    )


def _finding_row(row: Row, clock: Clock) -> tuple[Any, ...]:
    return (
        row["severity"],
        row["confidence"],
        row["account"],
        row["receiver_group"],
        row["site"],
        row["title"],
        row["sentence"],
        clock.short(row["since"]),
        row["status"],
        row["weeks_on_list"],
        row["action"],
        row["next_step"],
        row["measured"],
        row["limit"],
        row["unit"],
        row["limit_source"],
        row["limit_standing"],
        row["excused_count"],
        row["evidence_count"],
        row["dealer"],
        row["installer"],
        row["check"],
        row["finding_id"],
    )
