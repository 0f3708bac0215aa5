"""Invented logs that the guesser was not developed against: written before it, measured after it.

Whoever changes the guesser measures these as well, and mends nothing for one of them alone.
"""

from __future__ import annotations

from tests.reading.guess_printed import (
    Printed,
    blank,
    digits,
    ev,
    frame,
    label,
    message,
    p2,
    plain_page,
    said,
)
from tests.reading.guess_station import station

HELD_OUT: list[Printed] = [
    Printed(
        "month first in words",
        lambda o, n: (
            f"{o.at:%b %d %Y %H:%M:%S} RCV {o.receiver} CARD {o.line} SUBS {o.account} CODE {ev(o)} "
            f"AREA {o.partition} POINT {o.zone}"
        ),
    ),
    Printed(
        "bare, time last",
        lambda o, n: f"{o.account} {ev(o)} {p2(o)} {o.zone} {o.receiver} {o.line} {o.at:%d/%m/%Y %H:%M}",
    ),
    Printed(
        "titled columns, numbers to the right",
        lambda o, n: (
            f"{o.at:%d.%m.%Y} {o.at:%H:%M:%S} {o.receiver:>3} {o.line:>3} {o.account:>6} {ev(o):>5} "
            f"{int(o.partition):>3} {int(o.zone):>4}  {label(o)}"
        ),
        page=lambda n: ["DATE       TIME      RX  LN   ACCT EVENT  PT   ZN  DESCRIPTION", "=" * 70],
    ),
    Printed(
        "points between, digits only date",
        lambda o, n: f"<{o.receiver}-{o.line}> {o.at:%Y%m%d %H%M%S} #{o.account}# {digits(o)}.{p2(o)}.{o.zone}",
    ),
    Printed(
        "clock before date",
        lambda o, n: (
            f"{o.at:%H:%M:%S %d/%m/%y}  REC {o.receiver}  LIN {o.line}  ACCT {o.account}  {ev(o)}  ZONE {o.zone}"
        ),
        told=("receiver", "line", "account", "event", "zone"),
    ),
    Printed(
        "another language",
        lambda o, n: (
            f"{o.at:%d.%m.%Y %H:%M} Empfang {o.receiver} Teilnehmer {o.account} Kennung {ev(o)} Linie {o.zone}"
        ),
        told=("receiver", "account", "event", "zone"),
    ),
    Printed(
        "colons, twelve hours, short numbers",
        lambda o, n: (
            f"{o.at.month}/{o.at.day}/{o.at:%Y} {o.at.hour % 12 or 12}:{o.at:%M %p}  ACCT:{o.account}  "
            f"EVT:{ev(o)}  ZN:{int(o.zone)}"
        ),
        told=("account", "event", "zone"),
    ),
    Printed(
        "panel time behind",
        lambda o, n: (
            f"{o.at:%Y-%m-%d %H:%M:%S} {o.receiver} {o.line} {o.account} {ev(o)} {o.partition} {o.zone} "
            f"panel {o.at.replace(second=n % 60):%Y-%m-%d %H:%M:%S}"
        ),
    ),
    Printed(
        "marks in front, operator behind",
        lambda o, n: (
            f"{'!' if o.code[0] == '1' else '.'} {o.at:%m/%d/%Y %H:%M:%S} RCVR:{o.receiver} LINE:{o.line} "
            f"ACCT:{o.account} {ev(o)} USER/ZONE:{o.zone} OP{n % 4 + 1}"
        ),
        told=("receiver", "line", "account", "event", "zone"),
    ),
    Printed(
        "pages, footers, the printer's own lines",
        lambda o, n: (
            f"{o.at:%d/%m/%y %H:%M}  {o.receiver}/{o.line}  {o.account}  {ev(o)}  {blank(p2(o))}  {blank(o.zone)}"
            f"  {label(o)}" + (f"\n{o.at:%d/%m/%y %H:%M}  PRINTER ON LINE" if n in (40, 160) else "")
        ),
        page=plain_page,
        footer=["", "continued on the next page"],
        end="\r\n",
        rejected=2,
        odd={70: "*** PAPER OUT ***"},
    ),
    Printed(
        "hash signs, six digits",
        lambda o, n: f"{o.at:%Y/%m/%d %H:%M:%S} ACCT#{o.account} EVENT#{ev(o)} ZONE#{o.zone}",
        told=("account", "event", "zone"),
        station={"width": 6},
    ),
    Printed(
        "hexadecimal, colons",
        lambda o, n: f"{o.at:%d.%m.%y %H:%M:%S} R:{o.receiver} L:{o.line} {o.account} {ev(o)} {p2(o)}-{o.zone}",
        station={"hexadecimal": True},
    ),
    Printed(
        "words, restores apart",
        lambda o, n: (
            f"{o.at:%Y-%m-%d %H:%M:%S} Acct {o.account:<6} {said(o).title():<20} Zone {o.zone} Rx {o.receiver}"
        ),
        told=("account", "zone", "receiver"),
        words=True,
        needs="event.words",
    ),
    Printed(
        "words, fixed columns",
        lambda o, n: f"{o.at:%d/%m/%Y %H:%M}  {o.receiver}{o.line}  {o.account}  {said(o):<20}  {blank(o.zone)}",
        told=("account", "zone"),
        words=True,
        needs="event.words",
    ),
    Printed(
        "no year, day padded with a blank",
        lambda o, n: (
            f"{o.at:%b} {o.at.day:>2} {o.at:%H:%M:%S} rx{o.receiver} card{o.line} acct {o.account} {ev(o).lower()} "
            f"area {o.partition} zone {o.zone}"
        ),
        needs="no year",
    ),
    Printed(
        "account first, no partition, columns",
        lambda o, n: f"{o.account}  {o.at:%d.%m.%Y %H:%M:%S}  {ev(o)}  {blank(o.zone)}  {o.receiver}-{o.line}",
        told=("account", "event", "zone", "receiver", "line"),
    ),
    Printed(
        "sentences",
        lambda o, n: (
            f"At {o.at:%H:%M:%S} on {o.at:%d.%m.%Y} receiver {o.receiver} line {o.line} reported {o.account} {ev(o)} "
            f"zone {o.zone}"
        ),
        told=("receiver", "line", "account", "event", "zone"),
    ),
    Printed(
        "date above, clock on the lines",
        lambda o, n: (
            (f"DATE {o.at:%m/%d/%Y}\n" if n % 35 == 0 else "")
            + f"{o.at:%H:%M} {o.receiver}-{o.line} {o.account} {ev(o)} {o.zone}"
        ),
        cannot="date",
    ),
    Printed(
        "frames between semicolons",
        lambda o, n: f"{o.at:%Y-%m-%d %H:%M:%S};{o.receiver};{o.line};{frame(o, n, envelope=True)}",
        told=("receiver", "line", "account", "sia", "zone"),
        kind="dc09",
    ),
    Printed(
        "frames, thousandths, tabs",
        lambda o, n: f"{o.at:%Y-%m-%dT%H:%M:%S}.{n % 1000:03d}\tRX{o.receiver}\t{frame(o, n, envelope=True)}",
        told=("receiver", "account", "sia", "zone"),
        kind="dc09",
    ),
    Printed(
        "frames, link tests mostly",
        lambda o, n: (
            f"{o.at:%d.%m.%Y %H:%M:%S} IN {frame(o, n, 'NULL' if n % 5 else 'SIA-DCS', 'R2L1', envelope=True)}"
        ),
        told=("account",),
        kind="dc09",
    ),
    Printed(
        "messages, answered",
        lambda o, n: f"{o.at:%d/%m/%y %H:%M:%S} {o.receiver}-{o.line} {message(o, ' ')} OK",
        kind="contact_id",
    ),
    Printed(
        "messages named, no line",
        lambda o, n: f"({o.at:%b %d, %Y %H:%M:%S}) REC={o.receiver} MSG={message(o)}",
        told=("receiver", "account", "event", "partition", "zone"),
        kind="contact_id",
    ),
    Printed(
        "messages, nothing else, day or month",
        lambda o, n: f"{o.at:%m/%d/%Y %H:%M} {message(o)}",
        told=("account", "event", "partition", "zone"),
        kind="contact_id",
        needs="can be read as",
        station={"days": 2.0, "start": station(1)[0].at.replace(day=3)},
    ),
]
