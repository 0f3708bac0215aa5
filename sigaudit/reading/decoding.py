"""Records whose pattern leaves a DC-09 frame or a text of SIA event blocks: taken apart here, event by event.

A line that tells of several events becomes as many rows: ``part`` counts them from 0, ``more`` says on the first
how many follow. What identifies a line (its number, its bytes, its key) is the same in all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.reading import patterns
from sigaudit.reading.binding import Bound
from sigaudit.reading.codes import dc09, dc09_body, sia
from sigaudit.reading.codes.contact_id import QUALIFIERS, ContactIdMessage, Refusal
from sigaudit.reading.codes.dc09_body import CheckIn, NotCarried
from sigaudit.reading.codes.sia import SiaBlock, SiaEvent
from sigaudit.reading.layouts import DECODED
from sigaudit.reading.records import BATCH

__all__ = ["PARTED", "Decoder"]

TimeOf = Callable[[SiaEvent], str]

PARTED = pa.schema([*BATCH, pa.field("part", pa.int32()), pa.field("more", pa.int32())])
_DIGITS = {letter: digit for digit, letter in QUALIFIERS.items()}
_MOST_RAW = 64  # letters of an event that no table reads
# A receiver's answers stand in some logs between the frames; they say nothing of a site.
_REPLIES = ("ACK", "NAK", "DUH", "RSP")


class Event(NamedTuple):
    """What one event says, in the order of ``layouts.TOLD``."""

    account: str = ""
    event: str = ""
    partition: str = ""
    zone: str = ""
    format: str = ""
    panel_time: str = ""
    receiver: str = ""
    text: str = ""
    sequence: str = ""


@dataclass(frozen=True)
class Said:
    """The events of one message, or why there are none (a reason, or 'ignored')."""

    events: tuple[Event, ...]
    prefix: str = ""
    whole: str = ""
    fault: str = ""
    tolerated: tuple[str, ...] = ()


class Decoder:
    """Batches of records (records.BATCH) to batches with cells, parts and faults (PARTED).

    keys: AES keys of DC-09 accounts, as ``dc09.read_frame`` takes them. tolerated: afterwards, how many lines had
    which oddity that the standards do not allow and nobody can mistake.
    """

    def __init__(self, bound: Bound, keys: Mapping[str, bytes]) -> None:
        self.bound, self.keys = bound, keys
        self.tolerated: dict[str, int] = {}
        self._at = [name.casefold() for name in bound.layout.groups].index(bound.layout.message.casefold())

    def __call__(self, batch: pa.RecordBatch) -> pa.RecordBatch:
        layout = self.bound.layout
        cut = patterns.cells_of(layout.patterns, layout.groups, _tidy(batch["raw"]))
        matched = pc.and_(pc.is_valid(cut), pc.equal(batch["fault"], ""))
        places = np.flatnonzero(matched.to_numpy(zero_copy_only=False))
        groups = cut.take(pa.array(places)).flatten()
        width = len(layout.groups)
        messages = groups.take(pa.array(np.arange(len(places)) * width + self._at)).to_pylist()
        said = [self._read(message) for message in messages]
        return self._widened(batch, cut, places, said)

    def _read(self, message: str) -> Said:
        found = self._frame(message) if self.bound.layout.decodes == "frame" else _blocks(message)
        for name in found.tolerated:
            self.tolerated[name] = self.tolerated.get(name, 0) + 1
        return found

    def _frame(self, message: str) -> Said:
        encoding = self.bound.dialect.encodings[0]
        try:
            raw = message.strip().encode(encoding)
        except UnicodeEncodeError:
            raw = message.strip().encode("utf-8", "surrogateescape")
        frame = dc09.read_frame(raw, self.keys)
        if isinstance(frame, Refusal):
            return Said((), fault=f"frame_{frame.reason}")
        body = frame.body
        if isinstance(body, Refusal) and body.reason in dc09_body.SEALED:
            return Said((), fault=f"frame_{body.reason}")
        if isinstance(body, NotCarried) and body.token in _REPLIES:
            return Said((), fault="ignored")
        account = frame.account
        if self.bound.layout.frame_account == "data" and frame.data_account:
            account = frame.data_account
        base = Event(account, format=frame.format, receiver=frame.receiver, sequence=frame.sequence,
                     panel_time=dc09.panel_time(frame)[0])  # fmt: skip
        whole = f"{frame.token}|{frame.data}|{frame.sent_text}"
        return Said(
            _events(base, body, frame.data, lambda one: dc09.panel_time(frame, one)[0]),
            frame.prefix, whole, tolerated=frame.tolerated,
        )  # fmt: skip

    def _widened(self, batch: pa.RecordBatch, cut: pa.Array, places: np.ndarray, said: list[Said]) -> pa.RecordBatch:
        n = batch.num_rows
        counts = np.ones(n, dtype=np.int64)
        counts[places] = [max(len(one.events), 1) for one in said]
        rows = np.repeat(np.arange(n), counts)
        starts = np.cumsum(counts) - counts
        part = np.arange(len(rows)) - np.repeat(starts, counts)
        more = np.where(part == 0, counts[rows] - 1, 0)
        faults = np.full(n, "", dtype=object)
        faults[places] = [one.fault for one in said]
        merged = pc.if_else(pc.equal(batch["fault"], ""), pa.array(faults, pa.string()), batch["fault"])
        # Nothing decoded for lines without a match: their cells stay null.
        blank = ("",) * len(DECODED)
        wide = np.full((len(rows), len(DECODED)), "", dtype=object)
        for place, one in zip(places.tolist(), said, strict=True):
            at = int(starts[place])
            for i, event in enumerate(one.events):
                wide[at + i] = (*event, one.whole, one.prefix)
            if not one.events:
                wide[at] = blank
        taken = pa.array(rows)
        groups = _columns(cut, len(self.bound.layout.groups))
        columns = [column.take(taken) for column in groups]
        columns += [pa.array(wide[:, i], pa.string()) for i in range(len(DECODED))]
        cells = patterns.listed(columns, pc.is_valid(cut).take(taken))
        made = {
            "cells": cells,
            "fault": merged.take(taken),
            "part": pa.array(part.astype(np.int32)),
            "more": pa.array(more.astype(np.int32)),
        }
        return pa.record_batch(
            [made[f.name] if f.name in made else batch[f.name].take(taken) for f in PARTED], schema=PARTED
        )


def _columns(cut: pa.Array, width: int) -> list[pa.Array]:
    """The groups of each row as columns, '' where the row has none."""
    empty = pa.scalar([""] * width, cut.type)
    flat = pc.fill_null(cut, empty).flatten()
    return [flat.take(pa.array(np.arange(len(cut)) * width + i)) for i in range(width)]


def _tidy(raw: pa.Array) -> pa.Array:
    return pc.utf8_trim(raw, patterns.BLANKS)


def _blocks(message: str) -> Said:
    block = sia.read_block(message.strip())
    if isinstance(block, Refusal):
        return Said((Event(event=message.strip()[:_MOST_RAW], format="sia"),), whole=message)
    base = Event(block.account, format="sia")
    return Said(
        _events(base, block, message.strip(), lambda one: f"{one.modifier('da')} {one.modifier('ti')}".strip()),
        whole=message, tolerated=block.tolerated,
    )  # fmt: skip


def _events(base: Event, body: dc09_body.Body, data: str, told: TimeOf) -> tuple[Event, ...]:
    """Every event of a body; one that no standard reads keeps its text and stays unknown."""
    if isinstance(body, CheckIn):
        return (base._replace(format="check_in", event=body.token),)
    if isinstance(body, ContactIdMessage):
        digits = f"{_DIGITS[body.qualifier]}{body.code}"
        return (base._replace(event=digits, partition=body.partition, zone=body.zone),)
    if isinstance(body, SiaBlock) and body.events:
        texts = " ".join(body.texts)
        return tuple(_of_block(base, one, texts, told(one)) for one in body.events)
    token = body.token if isinstance(body, NotCarried) else ""
    return (base._replace(event=f"{token} {data}".strip()[:_MOST_RAW]),)


def _of_block(base: Event, one: SiaEvent, texts: str, told: str) -> Event:
    text = " ".join(filter(None, (one.text, texts)))
    return base._replace(event=one.code, partition=one.partition, zone=one.zone, panel_time=told, text=text)
