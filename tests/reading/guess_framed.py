"""Invented logs of frames, messages and event blocks of the open standards behind a time, each with its truth."""

from __future__ import annotations

from tests.reading.guess_printed import Printed, frame, label, message

FRAMED: list[Printed] = [
    Printed(
        "frames",
        lambda o, n: f"{o.at:%Y-%m-%d %H:%M:%S} {o.receiver} {frame(o, n, envelope=True)}",
        told=("receiver", "account", "sia", "zone"),
        kind="dc09",
    ),
    Printed(
        "frames with sum and length",
        lambda o, n: f"{o.at:%d.%m.%Y %H:%M:%S} RX{o.receiver} LN {o.line} <- {frame(o, n, envelope=True)}",
        told=("receiver", "line", "account", "sia", "zone"),
        kind="dc09",
    ),
    Printed(
        "frames, codes in digits",
        lambda o, n: (
            f"[{o.at:%Y-%m-%dT%H:%M:%S}] {frame(o, n, 'NULL' if n % 3 == 0 else 'ADM-CID', 'R1L0', envelope=True)}"
        ),
        told=("account",),
        kind="dc09",
    ),
    Printed(
        "frames without sum and length",
        lambda o, n: f"{o.at:%Y-%m-%d %H:%M:%S} {o.receiver} {frame(o, n)}",
        cannot="CRC",
    ),
    Printed(
        "event blocks in brackets",
        lambda o, n: f"{o.at:%Y-%m-%d %H:%M:%S} {o.receiver} [#{o.account}|Nri{o.partition}/{o.sia}{o.zone}]",
        told=("account", "zone", "receiver"),
    ),
    Printed(
        "messages",
        lambda o, n: f"{o.at:%Y-%m-%d %H:%M:%S} {o.receiver} {o.line} {message(o)}",
        kind="contact_id",
    ),
    Printed(
        "messages with blanks",
        lambda o, n: f"{o.at:%m/%d/%Y %H:%M:%S}  R{o.receiver} L{o.line}  {message(o, ' ')}",
        kind="contact_id",
    ),
    Printed(
        "messages, text behind",
        lambda o, n: f"{o.at:%d.%m.%y %H:%M} REC {o.receiver} LINE {o.line} MSG {message(o, ' ')} {label(o)}",
        kind="contact_id",
    ),
]
