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
from numpy.typing import NDArray

from sigaudit.reading import patterns
from sigaudit.reading.binding import Bound
from sigaudit.reading.codes import dc09, dc09_body, dc09_many, sia
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
        messages = groups.take(pa.array(np.arange(len(places)) * len(layout.groups) + self._at))
        if layout.decodes == "frame":
            columns, said = self._frames(messages)
        else:
            columns = [_nothing(len(messages))] * len(DECODED)
            said = dict(enumerate(map(_blocks, messages.to_pylist())))
        for one in said.values():
            for name in one.tolerated:
                self.tolerated[name] = self.tolerated.get(name, 0) + 1
        return self._widened(batch, cut, places, columns, said)

    def _frames(self, messages: pa.Array) -> tuple[list[pa.Array], dict[int, Said]]:
        """Columns of the ordinary frames, in the order of DECODED, and by number what each of the others says."""
        messages = pc.utf8_trim_whitespace(messages)
        many = dc09_many.read_plain(messages)
        by_header = self.bound.layout.frame_account == "header"
        account = many.account
        if not by_header:
            account = pc.if_else(pc.equal(many.data_account, ""), account, many.data_account)
        is_check_in = pc.equal(many.token, "NULL")
        form = pc.if_else(is_check_in, "check_in", pc.if_else(pc.equal(many.event, ""), "", "contact_id"))
        columns = [
            account, pc.if_else(is_check_in, "NULL", many.event), many.partition, many.zone, form, many.time,
            many.receiver, _nothing(len(messages)), many.sequence,
            pc.binary_join_element_wise(many.token, many.data, many.time, "|"), many.prefix,
        ]  # fmt: skip
        said: dict[int, Said] = {}
        blocks = np.flatnonzero(many.blocks)
        chosen = pa.array(blocks)
        heads = zip(
            *(column.take(chosen).to_pylist() for column in (
                many.account, many.receiver, many.sequence, many.time, many.data, many.prefix, columns[-2]
            )),
            strict=True,
        )  # fmt: skip
        for at, (number, receiver, sequence, time, data, prefix, whole) in zip(blocks.tolist(), heads, strict=True):
            base = Event(number, format="sia", receiver=receiver, sequence=sequence, panel_time=time)
            said[at] = _of_blocks(base, sia.read_block(data), data, prefix, whole, by_header=by_header)
        for at in np.flatnonzero(~many.read).tolist():
            said[at] = self._frame(messages[at].as_py())
        return columns, said

    def _frame(self, message: str) -> Said:
        encoding = self.bound.dialect.encodings[0]
        try:
            raw = message.encode(encoding)
        except UnicodeEncodeError:
            raw = message.encode("utf-8", "backslashreplace")
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
        return Said(
            _events(base, body, frame.data, lambda one: dc09.panel_time(frame, one)[0]), frame.prefix,
            f"{frame.token}|{frame.data}|{frame.sent_text}", tolerated=frame.tolerated,
        )  # fmt: skip

    def _widened(
        self, batch: pa.RecordBatch, cut: pa.Array, places: NDArray[np.int64], columns: list[pa.Array],
        said: Mapping[int, Said],
    ) -> pa.RecordBatch:  # fmt: skip
        """The batch with a row for every event. said: number among ``places`` -> what that message says."""
        n, found = batch.num_rows, sorted(said)
        mine = places[np.array(found, dtype=np.int64)]
        counts = np.ones(n, dtype=np.int64)
        counts[mine] = [max(len(said[at].events), 1) for at in found]
        starts = np.cumsum(counts) - counts
        rows = np.repeat(np.arange(n), counts)
        part = np.arange(len(rows)) - np.repeat(starts, counts)
        # Where the texts of a row lie: among the columns, behind them among the events, or nowhere (the very last).
        texts = np.full(len(rows), -1, dtype=np.int64)
        texts[starts[places]] = np.arange(len(places))
        events = [(*one, said[at].whole, said[at].prefix) for at in found for one in said[at].events or (Event(),)]
        told = np.isin(rows, mine)
        texts[told] = len(places) + np.arange(len(events))
        texts[texts < 0] = len(places) + len(events)
        wide = list(zip(*events, strict=True)) or [()] * len(DECODED)
        taken, at = pa.array(rows), pa.array(texts)
        decoded = [
            pa.concat_arrays([column.cast(pa.string()), pa.array(wide[i], pa.string()), _nothing(1)]).take(at)
            for i, column in enumerate(columns)
        ]
        groups = [column.take(taken) for column in _columns(cut, len(self.bound.layout.groups))]
        faults = np.full(n, "", dtype=object)
        faults[mine] = [said[one].fault for one in found]
        fault = pc.if_else(pc.equal(batch["fault"], ""), pa.array(faults, pa.string()), batch["fault"])
        made = {
            "cells": patterns.listed([*groups, *decoded], pc.is_valid(cut).take(taken)),
            "fault": fault.take(taken),
            "part": pa.array(part.astype(np.int32)),
            "more": pa.array(np.where(part == 0, counts[rows] - 1, 0).astype(np.int32)),
        }
        several = len(rows) > n
        whole = {f.name: batch[f.name].take(taken) if several else batch[f.name] for f in BATCH if f.name not in made}
        return pa.record_batch([{**whole, **made}[f.name] for f in PARTED], schema=PARTED)


def _nothing(n: int) -> pa.Array:
    return pa.array([""] * n, pa.string())


def _columns(cut: pa.Array, width: int) -> list[pa.Array]:
    """The groups of each row as columns, '' where the row has none."""
    empty = pa.scalar([""] * width, cut.type)
    flat = pc.fill_null(cut, empty).flatten()
    return [flat.take(pa.array(np.arange(len(cut)) * width + i)) for i in range(width)]


def _tidy(raw: pa.Array) -> pa.Array:
    return pc.utf8_trim(raw, patterns.BLANKS)


def _blocks(message: str) -> Said:
    text = message.strip()
    return _of_blocks(Event(format="sia"), sia.read_block(text), text, "", message, by_header=False)


def _of_blocks(base: Event, block: SiaBlock | Refusal, data: str, prefix: str, whole: str, *, by_header: bool) -> Said:
    """What event blocks say. The time before an event is nearer to it than that of ``base``."""
    if isinstance(block, Refusal):
        return Said((base._replace(event=data[:_MOST_RAW]),), prefix, whole)
    if block.account and not by_header:
        base = base._replace(account=block.account)

    def told(one: SiaEvent) -> str:
        return f"{one.modifier('da')} {one.modifier('ti')}".strip() if one.modifier("ti") else base.panel_time

    return Said(_events(base, block, data, told), prefix, whole, tolerated=block.tolerated)


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
