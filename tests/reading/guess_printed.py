"""Invented logs that no delimiter cuts, built in code, each with its truth: printers' text, frames, messages.

Every shape is made up. ``told``: the fields that the log tells and the proposal must find; ``needs``: a word of
the doubt that must be said, for what the values leave open.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from tests.reading.dc09_frames import crc_bit_by_bit
from tests.reading.guess_station import COLUMNS, Line, station

ALL = ("receiver", "line", "account", "event", "partition", "zone")
Write = Callable[[Line, int], str]


@dataclass(frozen=True)
class Printed:
    """name, how one signal is written, what it tells; ``page``: lines above every 50; ``odd``: between, by number."""

    name: str
    write: Write
    told: Sequence[str] = ALL
    kind: str = "pattern"
    page: Callable[[int], Sequence[str]] | None = None
    footer: Sequence[str] = ()
    odd: Mapping[int, str] = field(default_factory=dict)
    end: str = "\n"
    encoding: str = "utf-8"
    needs: str = ""
    words: bool = False
    cannot: str = ""
    rejected: int = 0  # lines with a time that say nothing of a site: kept as rejects
    station: Mapping[str, object] = field(default_factory=dict)

    def lines(self) -> list[Line]:
        """The signals that are written."""
        return station(sum(map(ord, self.name)), **self.station)  # type: ignore[arg-type]

    def content(self) -> bytes:
        """The log as bytes."""
        out: list[str] = []
        for n, one in enumerate(self.lines()):
            if self.page and n % 50 == 0:
                out += [*(self.footer if n else ()), *self.page(n // 50 + 1)]
            if n in self.odd:
                out.append(self.odd[n])
            out.append(self.write(one, n))
        return "".join(line.rstrip() + self.end for line in out).encode(self.encoding)


def label(one: Line) -> str:
    """What a printer says in words, the same whether it begins or ends."""
    return COLUMNS["label"](one, None, 0).upper()  # type: ignore[arg-type]


def said(one: Line) -> str:
    """What a printer without codes says."""
    if one.code == "602":
        return "PERIODIC TEST"
    if one.code == "401":
        return "OPENING" if one.qualifier == "E" else "CLOSING"
    kind = {"130": "BURGLARY", "131": "PERIMETER", "110": "FIRE", "302": "LOW BATTERY", "301": "AC POWER",
            "383": "TAMPER"}[one.code]  # fmt: skip
    return f"{kind} {'ALARM' if one.qualifier == 'E' else 'RESTORE'}"


def ev(one: Line) -> str:
    return one.qualifier + one.code


def digits(one: Line) -> str:
    return {"E": "1", "R": "3"}[one.qualifier] + one.code


def blank(value: str) -> str:
    """Nought as blanks of the same width."""
    return value if value.strip("0") else " " * len(value)


def p2(one: Line) -> str:
    return f"0{one.partition}"


def message(one: Line, between: str = "") -> str:
    """A 16-digit message; its last digit makes the sum a multiple of 15, a nought counting ten (DC-05)."""
    parts = [one.account, "18", digits(one), p2(one), one.zone]
    total = sum(int(digit, 16) or 10 for digit in "".join(parts))
    return between.join([*parts, {10: "0", 0: "F"}.get(-total % 15) or f"{-total % 15:X}"])


def frame(one: Line, n: int, token: str = "SIA-DCS", place: str = "L0", *, envelope: bool = False) -> str:
    """A frame of the open protocol (DC-09), with or without its sum and length."""
    data = f"#{one.account}|N{one.sia}{one.zone}"
    if token == "ADM-CID":
        data = f"#{one.account}|{digits(one)} {p2(one)} {one.zone}"
    region = f'"{token}"{n % 9999 + 1:04d}{place}#{one.account}[{data if token != "NULL" else ""}]'
    region += f"_{one.at:%H:%M:%S,%m-%d-%Y}"
    inside = region.encode()
    return (f"{crc_bit_by_bit(inside):04X}0{len(inside):03X}" if envelope else "") + region


def plain_page(n: int) -> Sequence[str]:
    return ["", f"\x0cINVENTED STATION   SIGNAL PRINT   PAGE {n}", "-" * 60, ""]


PRINTED: list[Printed] = [
    Printed(
        "labels",
        lambda o, n: (
            f"{o.at:%m/%d/%Y %H:%M:%S} R{o.receiver} L{int(o.line):02d} ACCT {o.account} {ev(o)} "
            f"GRP {p2(o)} ZONE {o.zone} {label(o)}"
        ),
    ),
    Printed(
        "brackets",
        lambda o, n: (
            f"[{o.at:%d.%m.%Y %H:%M:%S}] ({o.receiver}/{o.line}) <{o.account}> {ev(o)}/{p2(o)}/{o.zone} "
            f"{label(o).title()}"
        ),
    ),
    Printed(
        "fixed columns, empty places, pages",
        lambda o, n: (
            f"{o.at:%d/%m/%y %H:%M:%S}   {o.receiver}   {o.line:>2}   {o.account}   {ev(o)}   "
            f"{blank(p2(o))}   {blank(o.zone)}   {label(o)}"
        ),
        page=plain_page,
        footer=["", "       continued"],
        end="\r\n",
    ),
    Printed(
        "key and value",
        lambda o, n: (
            f"{o.at:%Y-%m-%dT%H:%M:%S} rx={o.receiver} ln={o.line} acct={o.account} ev={ev(o)} "
            f"part={o.partition} zn={o.zone}"
        ),
    ),
    Printed(
        "month name",
        lambda o, n: (
            f"{o.at:%d-%b-%y %H:%M:%S}  R{o.receiver}/L{o.line}  {o.account}  {ev(o)}  {p2(o)} {o.zone}".upper()
        ),
    ),
    Printed(
        "zone only where there is one",
        lambda o, n: (
            f"{o.at:%Y-%m-%d %H:%M:%S} RCV {o.receiver} LINE {o.line} ACCT {o.account} {ev(o)} {label(o)}"
            + (f" AREA {o.partition} ZONE {o.zone}" if o.code != "602" else "")
        ),
    ),
    Printed(
        "no year, year on the page",
        lambda o, n: (
            f"{o.at:%m/%d %H:%M:%S} R{o.receiver} L{o.line} ACCT {o.account} {ev(o)} GRP {p2(o)} ZONE {o.zone}"
        ),
        page=lambda n: [f"SIGNALS OF 2026   PAGE {n}"],
        needs="no year",
    ),
    Printed(
        "no year",
        lambda o, n: f"{o.at:%d-%b %H:%M}  RX{o.receiver} L{o.line}  ACCT {o.account}  {ev(o)}  ZONE {o.zone}".upper(),
        told=("receiver", "line", "account", "event", "zone"),
        needs="no year",
    ),
    Printed(
        "words for events",
        lambda o, n: f"{o.at:%m/%d/%Y %H:%M:%S} R{o.receiver} L{o.line} ACCT {o.account} {said(o)} ZONE {o.zone}",
        told=("receiver", "line", "account", "zone"),
        words=True,
        needs="event.words",
    ),
    Printed(
        "digits",
        lambda o, n: f"{o.at:%d.%m.%Y %H:%M:%S}  {o.receiver} {o.line}  {o.account}  {digits(o)} {p2(o)} {o.zone}",
    ),
    Printed(
        "kind apart from code",
        lambda o, n: (
            f"{o.at:%d.%m.%Y %H:%M:%S} REC {o.receiver} LINE {o.line} ACCT {o.account} "
            f"{'NEW' if o.qualifier == 'E' else 'RST'} {o.code} AREA {o.partition} POINT {o.zone}"
        ),
    ),
    Printed(
        "hexadecimal accounts",
        lambda o, n: f"{o.at:%Y-%m-%d %H:%M:%S} R{o.receiver} L{o.line} {o.account} {ev(o)} {p2(o)} {o.zone}",
        station={"hexadecimal": True},
    ),
    Printed(
        "twelve hours",
        lambda o, n: (
            f"{o.at:%m/%d/%Y %I:%M:%S %p}  RCVR {o.receiver}  LINE {o.line}  ACCT {o.account}  EVENT {ev(o)}  "
            f"ZONE {o.zone}"
        ),
        told=("receiver", "line", "account", "event", "zone"),
    ),
    Printed(
        "two letters",
        lambda o, n: f"{o.at:%Y-%m-%d %H:%M:%S} R{o.receiver} L{o.line} ACCT {o.account} {o.sia} ZONE {o.zone}",
        told=("receiver", "line", "account", "sia", "zone"),
    ),
    Printed(
        "numbered lines",
        lambda o, n: (
            f"#{n + 123:06d} {o.at:%Y-%m-%d %H:%M:%S} <{o.receiver}-{o.line}> ACCT={o.account} {ev(o)} "
            f'AREA {o.partition} POINT {o.zone} "{label(o).lower()}"'
        ),
    ),
    Printed(
        "glued",
        lambda o, n: f"{o.at:%d/%m/%Y %H:%M:%S} R{o.receiver}L{o.line} #{o.account} {ev(o)} P{p2(o)} Z{o.zone}",
    ),
    Printed(
        "time at the end",
        lambda o, n: (
            f"REC {o.receiver}/{o.line} ACCT {o.account} {ev(o)} PART {o.partition} ZONE {o.zone} "
            f"@ {o.at:%m/%d/%Y %H:%M:%S}"
        ),
    ),
    Printed(
        "free remarks, cp1252",
        lambda o, n: (
            f"{o.at:%d.%m.%Y %H:%M:%S} EMPF {o.receiver} LINE {o.line} ACCT {o.account} {ev(o)} ZONE {o.zone}"
            + ("", " Tür offen, Gebäude 2", " call back", " 2 keyholders informed (see book)")[n % 4]
        ),
        told=("receiver", "line", "account", "event", "zone"),
        encoding="cp1252",
    ),
    Printed(
        "marks and odd lines",
        lambda o, n: (
            f"{'*' if o.code in ('110', '130') else ' '} {o.at:%Y-%m-%d %H:%M:%S} RX {o.receiver} LN {o.line} "
            f"ACCT {o.account} {ev(o)} PRT {o.partition} ZN {o.zone}"
        ),
        odd={30: "PAPER LOW", 90: "PAPER LOW", 120: "PAPER LOW"},
    ),
    Printed(
        "minutes only",
        lambda o, n: f"{o.at:%d %b %y %H:%M}  R{o.receiver}/L{o.line}  {o.account}  {ev(o)}  {p2(o)} {o.zone}".upper(),
        page=plain_page,
    ),
    Printed(
        "day or month",
        lambda o, n: (
            f"{o.at:%d/%m/%Y %H:%M:%S} R{o.receiver} L{o.line} ACCT {o.account} {ev(o)} GRP {p2(o)} ZONE {o.zone}"
        ),
        station={"days": 3.0, "start": station(1)[0].at.replace(day=2)},
        needs="can be read as",
    ),
    Printed(
        "date on lines of its own",
        lambda o, n: (
            (f"---- {o.at:%d.%m.%Y} ----\n" if n % 40 == 0 else "")
            + f"{o.at:%H:%M:%S} R{o.receiver} L{o.line} ACCT {o.account} {ev(o)} ZONE {o.zone}"
        ),
        cannot="date",
    ),
    Printed(
        "operators between, words and state apart",
        lambda o, n: (
            f"{o.at:%d.%m.%Y %H:%M:%S} REC {o.receiver} ACCT {o.account} {label(o)} ZONE {o.zone} "
            f"{'ALARM' if o.qualifier == 'E' else 'RESTORE'}"
            + (f"\n{o.at:%d.%m.%Y %H:%M:%S} OPERATOR {n % 4} READ IT" if n % 3 == 0 else "")
        ),
        told=("receiver", "account", "zone"),
        rejected=80,
        needs="event.words",
    ),
    Printed(
        "a letter before the account",
        lambda o, n: f"{o.at:%Y-%m-%d %H:%M:%S} R{o.receiver} A{o.account} {ev(o)} {o.partition} {o.zone}",
        told=("receiver", "account", "event", "partition", "zone"),
        needs="in front of every account",
    ),
]
