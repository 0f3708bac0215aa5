"""Invented exports of many shapes, built in code, each with the truth: every number and word is made up.

One small station's week is written in ways in which exports differ. ``sure``: the values leave nothing open
that the proposal must be right about; what no reader could know (day or month, all days to the 12th) is not.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from tests.reading.guess_station import COLUMNS, Column, Line, short, station, time, words


@dataclass(frozen=True)
class Export:
    """name, bytes, truth: field -> column (from 0) or, with a header, its position all the same; style; lines."""

    name: str
    content: bytes
    time: tuple[int, ...]
    fields: Mapping[str, int]
    style: str
    delimiter: str
    header: bool
    lines: Sequence[Line]
    sub_minute: bool = True


@dataclass(frozen=True)
class Shape:
    """How one export is written. columns: (truth's field or '', header word, what is written)."""

    name: str
    columns: Sequence[tuple[str, str, Column]]
    delimiter: str = ","
    header: bool = True
    end: str = "\n"
    encoding: str = "utf-8"
    bom: bool = False
    quote: str = ""  # '' = only where needed, 'all' = every field
    before: Sequence[str] = ()
    comments: bool = False
    station: Mapping[str, object] = field(default_factory=dict)
    style: str = ""
    newest_first: bool = False


def built(shape: Shape, seed: int) -> Export:
    """The export as bytes, with its truth."""
    draw = random.Random(seed + 1000)
    truth = station(seed, **shape.station)  # type: ignore[arg-type]
    lines = list(reversed(truth)) if shape.newest_first else truth
    rows = [[write(one, draw, n) for _, _, write in shape.columns] for n, one in enumerate(lines)]
    out = list(shape.before)
    if shape.header:
        out.append(shape.delimiter.join(_cell(name, shape) for _, name, _ in shape.columns))
    for n, row in enumerate(rows):
        if shape.comments and n % 40 == 20:
            out.append(f"# page {n // 40 + 1}")
        out.append(shape.delimiter.join(_cell(cell, shape) for cell in row))
    content = "".join(line + shape.end for line in out).encode(shape.encoding, errors="replace")
    fields = {name: at for at, (name, _, _) in enumerate(shape.columns) if name not in ("", "time")}
    style = shape.style or ("separate" if "code" in fields else "qualified")
    return Export(
        shape.name, (b"\xef\xbb\xbf" if shape.bom else b"") + content,
        tuple(at for at, (name, _, _) in enumerate(shape.columns) if name == "time"), fields, style,
        shape.delimiter, shape.header, lines,
    )  # fmt: skip


def _cell(cell: str, shape: Shape) -> str:
    if shape.quote == "all" or shape.delimiter in cell or '"' in cell:
        return '"' + cell.replace('"', '""') + '"'
    return cell


def _of(text: str, **special: Column) -> list[tuple[str, str, Column]]:
    """Columns from 'field=Header word=what' parts separated by ' | '; time columns name their form in ``special``."""
    columns = []
    for part in text.split(" | "):
        name, header, what = (*part.split("="), "", "")[:3]
        what = what or name
        columns.append((name.strip(), header.strip(), special.get(what) or COLUMNS[what]))
    return columns


ISO, ISO_T = time("%Y-%m-%d %H:%M:%S"), time("%Y-%m-%dT%H:%M:%S")
US, EURO = time("%m/%d/%Y %H:%M:%S"), time("%d.%m.%Y %H:%M:%S")
FULL = "receiver=Receiver | line=Line | account=Account | event=Event | partition=Partition | zone=Zone"
BARE = "receiver | line | account | event | partition | zone"

SHAPES: list[Shape] = [
    Shape("iso, comma", _of(f"time=Received | {FULL}", time=ISO)),
    Shape("iso T, semicolon, bom", _of(f"time=Stamp | {FULL}", time=ISO_T), delimiter=";", bom=True),
    Shape(
        "us, quoted, crlf",
        _of("time=Date/Time | account=Acct | event=Evt | partition=Part | zone=Zn | receiver=Rcvr | line=Ln", time=US),
        quote="all",
        end="\r\n",
    ),
    Shape(
        "european, tab",
        _of(
            "account=Subscriber | time=When | event=Code | zone=Point | partition=Area | line=Ln | receiver=Rcv",
            time=EURO,
        ),
        delimiter="\t",
    ),
    Shape("no header, iso", _of(f"time | {BARE}", time=ISO), header=False),
    Shape(
        "no header, pipe, digits",
        _of("time | receiver | line | account | event==digits | partition==partition2 | zone", time=EURO),
        delimiter="|",
        header=False,
        style="digits",
    ),
    Shape(
        "two time columns, us 12 hours",
        _of(f"time=Date=date | time=Time=clock | {FULL}", date=short("{m}/{d}/{Y}"), clock=short("{h}:{M}:{S} {p}")),
    ),
    Shape("two digit years, us 12 hours", _of(f"time=Logged | {FULL}", time=short("{m}/{d}/{y} {h}:{M} {p}"))),
    Shape("two digit years, day first", _of(f"time=Logged | {FULL}", time=time("%d/%m/%y %H:%M:%S")), delimiter=";"),
    Shape("month names", _of(f"time=Stamp | {FULL}", time=time("%d-%b-%Y %H:%M:%S"))),
    Shape(
        "digits only times, no header",
        _of("account | event==digits | partition==partition2 | zone | time | receiver", time=time("%Y%m%d%H%M%S")),
        header=False,
        delimiter=";",
        style="digits",
    ),
    Shape(
        "two columns, digits",
        _of(f"time=D=date | time=T=clock | {FULL}", date=time("%y%m%d"), clock=time("%H%M%S")),
        delimiter=";",
    ),
    Shape(
        "separate, letters",
        _of(
            "time=Received | receiver=Receiver | line=Line | account=Account | "
            "qualifier=Q=q | code=Code | partition=Partition | zone=Zone",
            time=ISO,
            q=words("E", "R"),
        ),
    ),
    Shape(
        "separate, words",
        _of(
            "time=Received | account=Account No | code=CID | qualifier=State=q | "
            "partition=Group | zone=Zone/User | receiver=Receiver",
            time=US,
            q=words("New", "Restore"),
        ),
        delimiter=";",
    ),
    Shape(
        "separate, digit, no header",
        _of("time | receiver | line | account | qualifier==digit | code | partition==partition2 | zone", time=ISO),
        header=False,
    ),
    Shape(
        "separate, unknown words",
        _of(
            "time=Zeit | receiver=R | line=L | account=Nr | qualifier=Art=q | code=Kennung | partition=B | zone=M",
            time=EURO,
            q=words("KOMMT", "GEHT"),
        ),
        delimiter=";",
    ),
    Shape(
        "separate, alarm and clear",
        _of(
            "code=Code | qualifier=Kind=q | zone=Zone | account=Account | time=Time | "
            "receiver=Receiver | text=Remark=remark",
            time=EURO,
            q=words("Alarm", "Clear"),
        ),
        delimiter=";",
    ),
    Shape(
        "sia",
        _of("time=Received | receiver=Receiver | line=Line | account=Account | event=SIA=sia | zone=Zone", time=ISO),
        style="sia",
    ),
    Shape(
        "sia, no header",
        _of("time | account | event==sia | zone | receiver", time=US),
        style="sia",
        header=False,
        delimiter="|",
    ),
    Shape("hexadecimal accounts", _of(f"time=Received | {FULL}", time=ISO), station={"hexadecimal": True}),
    Shape(
        "hexadecimal, no header",
        _of(f"time | {BARE}", time=EURO),
        station={"hexadecimal": True},
        header=False,
        delimiter=";",
    ),
    Shape("six digit accounts", _of(f"time=Received | {FULL}", time=ISO), station={"width": 6}),
    Shape("three digit accounts", _of(f"time=Received | {FULL}", time=ISO), station={"width": 3}),
    Shape("no receiver", _of("time=Received | account=Account | event=Event | zone=Zone", time=ISO)),
    Shape(
        "no receiver, no header",
        _of("account | time | event | partition==partition2 | zone", time=ISO),
        header=False,
        delimiter=";",
    ),
    Shape(
        "extras",
        _of(
            f"=Seq=sequence | time=Received | {FULL} | =Operator=operator | =Priority=priority | =Seconds=seconds",
            time=ISO,
        ),
    ),
    Shape(
        "extras, cp1252",
        _of(f"=Op=operator | {FULL} | time=Time | text=Remark=remark", time=EURO),
        encoding="cp1252",
        delimiter=";",
    ),
    Shape(
        "extras, no header",
        _of(
            "=Seq=sequence | time | receiver | line | account | event | "
            "partition==partition2 | zone | =Op=operator | =Text=label",
            time=ISO,
        ),
        header=False,
        delimiter=";",
    ),
    Shape(
        "operators by number",
        _of(f"{FULL} | =Operator No=operator_no | time=Received | =Ticket=sequence4 | =Site=site", time=US),
        delimiter="\t",
    ),
    Shape(
        "comments",
        _of(f"time=Received | {FULL}", time=ISO),
        before=("# invented export", "# second line"),
        comments=True,
    ),
    Shape("title line", _of(f"time=Received | {FULL}", time=ISO), before=("Signals of the invented station",)),
    Shape("panel time beside", _of(f"=No=sequence | panel_time=Panel time | time=Received | {FULL}", time=ISO)),
    Shape(
        "newest first",
        _of(
            "zone=Zone | partition=Partition | event=Event | account=Account | line=Line | "
            "receiver=Receiver | time=Time",
            time=US,
        ),
        newest_first=True,
    ),
    Shape("fractions", _of(f"time=Received | {FULL}", time=time("%Y-%m-%d %H:%M:%S.%f"))),
    Shape("offset", _of(f"time=Received | {FULL}", time=time("%Y-%m-%dT%H:%M:%SZ"))),
    Shape("minutes only", _of(f"time=Received | {FULL}", time=time("%d/%m/%Y %H:%M")), delimiter="|"),
    Shape(
        "lower case, short zones",
        _of("time=t | receiver=rx=rx_name | account=acct | event=ev=lower | zone=pt=short_zone", time=ISO),
    ),
    Shape(
        "empty zones",
        _of(
            "=Site=site | account=Account | event=Event | zone=Zone=empty_zone | "
            "receiver=Receiver=receiver2 | line=Line | time=Received | caller=Caller=caller",
            time=ISO,
        ),
    ),
    Shape(
        "months unclear",
        _of(f"time=Received | {FULL}", time=US),
        station={"start": datetime(2026, 11, 2, 1, 0, 0), "days": 5.0},
    ),
    Shape(
        "constant and pad",
        _of(
            "=Kind=constant | time | receiver | line | account | qualifier==q | code | partition | zone",
            time=ISO,
            q=words("N", "R"),
        ),
        header=False,
    ),
    Shape("few lines", _of(f"time=Received | {FULL}", time=ISO), station={"rows": 9}),
    Shape(
        "repeated names",
        _of("time=Time | =Number=sequence | account=Number | event=Event | zone=Zone | receiver=Receiver", time=ISO),
    ),
]


def exports() -> list[Export]:
    """All of them."""
    return [built(shape, seed) for seed, shape in enumerate(SHAPES, start=1)]
