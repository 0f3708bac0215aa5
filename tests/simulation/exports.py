"""The export files as the three receivers' computers would write them, with their everyday blemishes."""

from __future__ import annotations

import gzip
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path as FilePath

from tests.simulation import clock
from tests.simulation.dice import Dice
from tests.simulation.site import Signal

PLAIN_HEADER = "received_at,receiver,line,account,event,partition,zone"
LONG_HEADER = PLAIN_HEADER + ",format,origin,panel_time"
OWN_HEADER = "stamp;unit;port;subscriber;kind;number;group;point;message_format"
QUALIFIER = {"E": "1", "R": "3", "P": "6"}

NIGHT = (clock.at("2026-11-05 18:00"), clock.at("2026-11-06 08:00"))  # exported a second time
GAP_PARTS = {
    "part1": ("2026-10-26 00:00", "2026-10-29 00:00"),
    "part3": ("2026-10-30 00:00", "2026-11-02 00:00"),
}


@dataclass(frozen=True)
class LineCount:
    """What a file holds, line by line: the sum a reader has to reach."""

    file: str
    lines: int
    signals: int
    repeats: int
    rejects: int
    skipped: int


def with_resends(signals: list[Signal], *key: int) -> list[Signal]:
    """Some messages come twice within seconds, because the panel did not hear that it was understood."""
    dice = Dice(9, *key)
    extra = [
        replace(s, at=s.at + dice.whole(4, 12))  # before the shortest restore
        for s in signals
        if s.form != "check_in" and s.origin == "panel" and dice.chance(0.008)
    ]
    return signals + extra


def in_order(signals: list[Signal]) -> list[Signal]:
    """Receive order; within one second a fixed order of their own."""
    return sorted(signals, key=lambda s: (s.at, s.receiver, s.line, s.account, s.event, s.zone, s.form))


def _stamp(s: Signal) -> str:
    return clock.stamp(s.at)


def _plain(s: Signal) -> str:
    return ",".join([_stamp(s), s.receiver, s.line, s.account, s.event, s.partition, s.zone])


def _long(s: Signal) -> str:
    """Receiver 2 writes the event as four digits and knows which box spoke."""
    event = QUALIFIER[s.event[0]] + s.event[1:] if s.event[0] in QUALIFIER else s.event
    fields = [_stamp(s), s.receiver, s.line, s.account, event, s.partition, s.zone]
    told = f"{datetime.fromtimestamp(s.panel_time, UTC):%Y-%m-%dT%H:%M:%SZ}" if s.panel_time else ""
    return ",".join([*fields, s.form, s.origin, told])


def _own(s: Signal) -> str:
    """Receiver 3: qualifier and code apart, numbers without leading zeros, month first."""
    kind, number = (QUALIFIER[s.event[0]], s.event[1:]) if s.event[0] in QUALIFIER else ("", s.event)
    fields = [clock.stamp(s.at, "%m/%d/%Y %H"), s.receiver, s.line, s.account, kind, number]
    return ";".join([*fields, *(str(int(part)) if part else "" for part in (s.partition, s.zone)), s.form])


WRITERS = {"1": (PLAIN_HEADER, _plain), "2": (LONG_HEADER, _long), "3": (OWN_HEADER, _own)}


def _damage(lines: list[bytes], account: str) -> tuple[list[bytes], int, int]:
    """Spoilt lines among the good ones; answers the lines and how many are rejects and skipped."""
    own = account.encode("ascii")
    spoilt = [
        b"2026-11-03T04:12",
        b"----- printer restarted -----",
        b"2026-13-44T99:10:00,1,1," + own + b",E602,00,000",
        b",1,2," + own + b",E602,00,000",
        b"2026-11-04T10:00:0\xff\xfe,1,1," + own + b",E602,00,000",
        b"2026-11-05T11:00:00,1,1," + own + b",E130,01,003,surplus,fields",
        b'2026-11-06T09:15:00,1,2,"' + own + b",E401,01,003",
    ]
    odd_signals = [
        b"2026-11-04T16:22:09,1,1," + own + b",E1#0,01,003",
        b"2026-11-07T06:02:51,1,1," + own + b",E777,00,000",
    ]
    skipped = [b"", b"", PLAIN_HEADER.encode("ascii")]
    found = list(lines)
    for line in odd_signals:  # at their place in receive order
        spot = next(n for n, other in enumerate(found) if n and other[:19] > line[:19])
        found.insert(spot, line)
    for turn, line in enumerate([*spoilt, *skipped]):
        found.insert(len(found) * (turn + 1) // 12, line)
    return found, len(spoilt), len(skipped)


class Exporter:
    """Writes the files of one receiver after the other and keeps the sums."""

    def __init__(self, folder: FilePath) -> None:
        self.folder = folder
        self.counts: list[LineCount] = []
        folder.mkdir(parents=True, exist_ok=True)

    def write(self, name: str, lines: list[bytes], eol: bytes = b"\n", head: bytes = b"", cut: int = 0) -> None:
        """One file; ``cut`` drops so many bytes of its end."""
        content = head + eol.join(lines) + eol
        content = content[: len(content) - cut]
        if name.endswith(".gz"):
            content = gzip.compress(content, 9, mtime=0)
        (self.folder / name).write_bytes(content)

    def count(self, name: str, signals: int, repeats: int = 0, rejects: int = 0, skipped: int = 1) -> None:
        total = signals + repeats + rejects + skipped
        self.counts.append(LineCount(name, total, signals, repeats, rejects, skipped))

    def receiver(self, number: str, signals: list[Signal], witness: str) -> None:
        """All weeks of one receiver. ``witness``: the healthy account whose lines come damaged."""
        header, render = WRITERS[number]
        ending = ".txt" if number == "3" else ".csv"
        for week in range(clock.WEEKS):
            begin, end = clock.monday(week), clock.monday(week + 1)
            label = clock.week_label(begin)
            spans = {"": (begin, end)}
            if number == "2" and label == "2026-W44":  # its second part, the 29th, was never handed over
                spans = {f"-{k}": (clock.at(a), clock.at(b)) for k, (a, b) in GAP_PARTS.items()}
            for part, (a, b) in spans.items():
                rows = [render(s) for s in signals if a <= s.at < b]
                lines = [line.encode("ascii") for line in [header, *rows]]
                self._week(number, label, f"receiver-{number}-{label}{part}{ending}", lines, witness)
        if number == "1":
            rows = [render(s) for s in signals if NIGHT[0] <= s.at < NIGHT[1]]
            name = "receiver-1-night-2026-11-05.csv"
            self.write(name, [line.encode("ascii") for line in [header, *rows]])
            self.count(name, 0, repeats=len(rows))

    def _week(self, number: str, label: str, name: str, lines: list[bytes], witness: str) -> None:
        if (number, label) == ("1", "2026-W45"):
            lines, spoilt, skipped = _damage(lines, witness)
            signals = len(lines) - spoilt - skipped - 1
            self.write(name + ".gz", lines)
            self.count(name + ".gz", signals, rejects=spoilt, skipped=skipped + 1)
        elif (number, label) == ("2", "2026-W43"):
            self.write(name + ".gz", lines, eol=b"\r\n", head=b"\xef\xbb\xbf")
            self.count(name + ".gz", len(lines) - 1)
        elif (number, label) == ("3", "2026-W47"):
            self.write(name, lines, cut=len(lines[-1]) - 22)  # the machine was still writing
            self.count(name, len(lines) - 2, rejects=1)
        elif (number, label) == ("3", "2026-W42"):
            self.write(name, lines)
            self.count(name, len(lines) - 1)
        else:
            self.write(name + ".gz", lines)
            self.count(name + ".gz", len(lines) - 1)
