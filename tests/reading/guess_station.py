"""An invented small station's signals, and the ways in which a column of an export writes one of them."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

START = datetime(2026, 11, 9, 6, 30, 12)
WORDS = (
    "checked, no action",
    "call back",
    "site closed",
    "keyholder informed",
    "nothing found",
    "Tür offen, Gebäude B",
)


@dataclass(frozen=True)
class Line:
    """One signal of the truth."""

    at: datetime
    receiver: str
    line: str
    account: str
    qualifier: str
    code: str
    partition: str
    zone: str
    sia: str


def station(seed: int, *, days: float = 7.0, rows: int = 240, hexadecimal: bool = False, width: int = 4,
            start: datetime = START) -> list[Line]:  # fmt: skip
    """Signals of about 30 accounts in order of receipt: tests at night, alarms with restores, openings."""
    draw = random.Random(seed)
    digits = "0123456789BCDEF" if hexadecimal else "0123456789"
    accounts = sorted({"".join(draw.choice(digits) for _ in range(width)) for _ in range(30)})
    home = {one: (draw.choice("12"), draw.choice("1234")) for one in accounts}
    made: list[Line] = []
    at = start
    while len(made) < rows:
        at += timedelta(seconds=draw.expovariate(rows / (days * 86400)))
        account = draw.choice(accounts)
        receiver, line = home[account]
        kind = draw.random()
        if kind < 0.35:
            made.append(Line(at, receiver, line, account, "E", "602", "0", "000", "RP"))
            continue
        partition = "2" if account < accounts[10] and draw.random() < 0.3 else "1"
        if kind < 0.6:
            opened, user = draw.random() < 0.5, f"{draw.randint(1, 12):03d}"
            made.append(
                Line(
                    at,
                    receiver,
                    line,
                    account,
                    "E" if opened else "R",
                    "401",
                    partition,
                    user,
                    "OP" if opened else "CL",
                )
            )
            continue
        code, sia, restored = draw.choice(
            [
                ("130", "BA", "BR"),
                ("131", "BA", "BR"),
                ("110", "FA", "FR"),
                ("302", "YT", "YR"),
                ("301", "AT", "AR"),
                ("383", "TA", "TR"),
            ]
        )
        zone = "000" if code in ("301", "302") else f"{draw.randint(1, 24):03d}"
        made.append(Line(at, receiver, line, account, "E", code, partition, zone, sia))
        at += timedelta(seconds=draw.randint(20, 900))
        made.append(Line(at, receiver, line, account, "R", code, partition, zone, restored))
    return made[:rows]


Column = Callable[[Line, random.Random, int], str]


def time(form: str) -> Column:
    return lambda one, draw, n: one.at.strftime(form)


def short(form: str) -> Column:
    """Day, month and hour without a leading nought."""
    return lambda one, draw, n: form.format(
        d=one.at.day, m=one.at.month, Y=one.at.year, y=one.at.year % 100, h=one.at.hour % 12 or 12, H=one.at.hour,
        M=f"{one.at.minute:02d}", S=f"{one.at.second:02d}", p="AM" if one.at.hour < 12 else "PM",
    )  # fmt: skip


def words(new: str, restored: str) -> Column:
    return lambda one, draw, n: new if one.qualifier == "E" else restored


COLUMNS: dict[str, Column] = {
    "receiver": lambda one, draw, n: one.receiver,
    "receiver2": lambda one, draw, n: f"0{one.receiver}",
    "rx_name": lambda one, draw, n: f"RX{one.receiver}",
    "line": lambda one, draw, n: one.line,
    "account": lambda one, draw, n: one.account,
    "event": lambda one, draw, n: one.qualifier + one.code,
    "lower": lambda one, draw, n: (one.qualifier + one.code).lower(),
    "digits": lambda one, draw, n: {"E": "1", "R": "3"}[one.qualifier] + one.code,
    "sia": lambda one, draw, n: one.sia,
    "code": lambda one, draw, n: one.code,
    "digit": lambda one, draw, n: {"E": "1", "R": "3"}[one.qualifier],
    "partition": lambda one, draw, n: one.partition,
    "partition2": lambda one, draw, n: f"0{one.partition}",
    "zone": lambda one, draw, n: one.zone,
    "short_zone": lambda one, draw, n: one.zone.lstrip("0") or "0",
    "empty_zone": lambda one, draw, n: "" if one.zone == "000" else one.zone,
    "operator": lambda one, draw, n: f"op{draw.randint(1, 5)}",
    "operator_no": lambda one, draw, n: str(draw.randint(10, 19)),
    "sequence": lambda one, draw, n: str(70123 + n),
    "sequence4": lambda one, draw, n: f"{(n + 37) % 10000:04d}",
    "priority": lambda one, draw, n: {"1": "1", "3": "4", "4": "6", "6": "8"}[one.code[0]],
    "remark": lambda one, draw, n: draw.choice(WORDS) if n % 3 == 0 else "",
    "label": lambda one, draw, n: {
        "130": "Burglary",
        "131": "Perimeter",
        "110": "Fire",
        "301": "AC loss",
        "302": "Low battery",
        "383": "Tamper",
        "401": "Open or close",
        "602": "Periodic test",
    }[one.code],
    "site": lambda one, draw, n: f"Invented site {int(one.account, 16) % 97}",
    "seconds": lambda one, draw, n: f"{draw.random() * 9:.2f}",
    "panel_time": lambda one, draw, n: (one.at - timedelta(seconds=draw.randint(-400, 400))).strftime(
        "%Y-%m-%d %H:%M:%S"
    ),
    "constant": lambda one, draw, n: "LOG",
    "caller": lambda one, draw, n: f"555010{int(one.account, 16) % 10000:04d}",
}
