"""Invented workbooks, each with its truth: a log as people hand it on, with titles, notes and lost noughts."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import xlsxwriter

from tests.reading.guess_printed import digits, ev, label
from tests.reading.guess_station import Line, station

FULL = ("receiver", "line", "account", "event", "partition", "zone")
Cell = Callable[[Line], Any]


@dataclass(frozen=True)
class Workbook:
    """columns: header word, value, number format; above: rows over the header; others: worksheets of other things.

    told, needs, cannot, rejected: as of ``guess_printed``. parts: how many worksheets the log is cut into.
    """

    name: str
    columns: Sequence[tuple[str, Cell, str]]
    told: Sequence[str] = FULL
    kind: str = "sheet"
    above: Sequence[Sequence[str]] = ()
    before: Sequence[str] = ()
    repeated: bool = False
    header: bool = True
    left: int = 0
    parts: int = 1
    needs: str = ""
    cannot: str = ""
    words: bool = False
    rejected: int = 0
    station: dict[str, Any] = field(default_factory=dict)

    def lines(self) -> list[Line]:
        """The signals that are written."""
        return station(sum(map(ord, self.name)), **self.station)

    def content(self) -> bytes:
        """The workbook as bytes."""
        out = io.BytesIO()
        with xlsxwriter.Workbook(out, {"in_memory": True, "default_date_format": "dd/mm/yyyy hh:mm:ss"}) as book:
            for other in self.before:
                sheet = book.add_worksheet(other)
                sheet.write_row(0, 0, ["Dealer", "Sites", "Open"])
                for n in range(1, 9):
                    sheet.write_row(n, 0, [f"Invented {n}", n * 7, n % 3])
            lines, size = self.lines(), -(-len(self.lines()) // self.parts)
            for n in range(self.parts):
                self._fill(book, book.add_worksheet(f"Log {n + 1}"), lines[n * size : (n + 1) * size])
        return out.getvalue()

    def _fill(self, book: Any, sheet: Any, lines: Sequence[Line]) -> None:
        formats = [book.add_format({"num_format": form}) if form else None for _, _, form in self.columns]
        row = 0
        for cells in self.above:
            sheet.write_row(row, self.left, cells)
            row += 1
        names = [name for name, _, _ in self.columns]
        for n, one in enumerate(lines):
            if self.header and (n == 0 or (self.repeated and n % 60 == 0)):
                sheet.write_row(row, self.left, names)
                row += 1
            for at, (_, value, _) in enumerate(self.columns, start=self.left):
                sheet.write(row, at, value(one), formats[at - self.left])
            row += 1


def _text(form: str) -> Cell:
    return lambda one: one.at.strftime(form)


WHEN: tuple[str, Cell, str] = ("Received", lambda o: o.at, "yyyy-mm-dd hh:mm:ss")
REST: tuple[tuple[str, Cell, str], ...] = (
    ("Receiver", lambda o: o.receiver, ""), ("Line", lambda o: o.line, ""), ("Account", lambda o: o.account, ""),
    ("Event", ev, ""), ("Partition", lambda o: int(o.partition), ""), ("Zone", lambda o: o.zone, ""),
)  # fmt: skip

KNOWN: list[Workbook] = [
    Workbook("one worksheet", (WHEN, *REST)),
    Workbook(
        "noughts lost, title above, notes beside",
        (WHEN, ("Acct", lambda o: int(o.account), ""), ("Code", digits, ""), ("Zn", lambda o: int(o.zone), ""),
         ("Remark", label, "")),
        told=("account", "event", "zone"), above=[["Signals of the invented station"], [], ["printed on Monday"]],
        before=["Notes"], needs="account.width",
    ),
    Workbook(
        "date and time apart, state in words",
        (("Date", lambda o: o.at.replace(hour=0, minute=0, second=0, microsecond=0), "dd.mm.yyyy"),
         ("Time", lambda o: o.at.time().replace(microsecond=0), "hh:mm:ss"), REST[0], REST[2],
         ("State", lambda o: "New" if o.qualifier == "E" else "Restore", ""), ("CID", lambda o: int(o.code), ""),
         REST[5]),
        told=("receiver", "account", "event", "zone"),
    ),
    Workbook(
        "noughts by format",
        (WHEN, REST[0], ("Account", lambda o: int(o.account), "0000"), REST[3],
         ("Zone", lambda o: int(o.zone), "000")),
        told=("receiver", "account", "event", "zone"),
    ),
    Workbook("headers again and again", (("Time", _text("%d.%m.%Y %H:%M:%S"), ""), *REST), repeated=True),
    Workbook("no header", (WHEN, *REST), header=False, cannot="header"),
]  # fmt: skip

HELD_OUT: list[Workbook] = [
    Workbook("a column to the right, titled", (*REST, WHEN), left=1, above=[["Week"], ["Receiver log"]]),
    Workbook(
        "the log behind two other worksheets, two letters",
        (("Operator", lambda o: "op" + o.line, ""), ("Logged", _text("%m/%d/%Y %I:%M:%S %p"), ""),
         ("Rcvr", lambda o: int(o.receiver), ""), ("Subscriber", lambda o: o.account, ""),
         ("SIA", lambda o: o.sia, ""), ("Point", lambda o: o.zone, "")),
        told=("receiver", "account", "sia", "zone"), before=["Summary", "Dealers"],
    ),
    Workbook("two worksheets of signals", (WHEN, *REST), parts=2, needs="worksheet"),
    Workbook(
        "six digits as numbers, empty zones",
        (("Zone/User", lambda o: int(o.zone) or None, ""), ("Event", ev, ""),
         ("Account No", lambda o: int(o.account), ""), ("Group", lambda o: int(o.partition) or None, ""), WHEN),
        told=("account", "event", "zone", "partition"), station={"width": 6}, needs="account.width",
    ),
]  # fmt: skip
