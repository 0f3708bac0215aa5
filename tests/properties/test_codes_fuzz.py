"""Any bytes in, an answer out; and what is composed by the rule is read back as it was meant."""

from __future__ import annotations

import string
from datetime import datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from sigaudit.reading.codes import dc09, sia
from sigaudit.reading.codes.contact_id import ContactIdMessage, Refusal
from sigaudit.reading.codes.dc09 import Dc09Frame, panel_time, read_frame
from sigaudit.reading.codes.dc09_body import BODY_REASONS
from sigaudit.reading.codes.dc09_envelope import crc16
from sigaudit.reading.codes.dc09_seal import key_from_text
from sigaudit.reading.codes.dc09_sequence import fold_sequences
from sigaudit.reading.codes.sia import SiaBlock, read_block
from sigaudit.reading.codes.sia_table import load
from tests.reading.dc09_frames import crc_bit_by_bit, framed

SETTINGS = settings(max_examples=300, deadline=None)

# Pieces of real frames in any order: most of it is wrong in an interesting way.
WORDS_OF_FRAMES = """
    " "SIA-DCS" "*ADM-CID" "NULL" "NAK" 0001 0000 R L R1 L0 # A0 #1234 [ ] | ][ #12| N O ri1 / BA5 ^ * _ A é J{
    00112233445566778899AABBCCDDEEFF _13:14:15,02-15-2026
"""
PIECES = st.sampled_from([*WORDS_OF_FRAMES.split(), "1130 01 005", " ", "\0", "\r", "\n", "\x80"])
salad = st.lists(PIECES, max_size=14).map("".join)
digits = st.sampled_from("0123456789BCDEF")
upper_hex = st.sampled_from("0123456789ABCDEF")
place = st.text(upper_hex, min_size=1, max_size=6)
account = st.text(upper_hex, min_size=3, max_size=16)
number = st.integers(1, 9999).map("{:04d}".format)
moment = st.datetimes(datetime(1900, 1, 1), datetime(2099, 12, 31)).map(lambda at: at.replace(microsecond=0))
words = st.text(st.sampled_from(string.ascii_letters + string.digits + " .,:-é"), max_size=12)
extended = st.lists(st.tuples(st.sampled_from(string.ascii_uppercase), words), max_size=4)


def answered(raw: bytes) -> None:
    answer = read_frame(raw, {"": bytes(16)})
    if isinstance(answer, Refusal):
        assert answer.reason in dc09.REASONS and answer.sentence
        return
    assert set(answer.tolerated) <= set(dc09.TOLERATED)
    assert not isinstance(answer.body, Refusal) or answer.body.reason in BODY_REASONS
    assert panel_time(answer)[1] in ("", "occurrence", "frame")
    assert fold_sequences([answer])[0] is None


@SETTINGS
@given(st.binary(max_size=80))
def test_any_bytes_get_an_answer(raw: bytes) -> None:
    answered(raw)


@SETTINGS
@given(st.one_of(salad, st.text(max_size=60)))
def test_anything_in_a_good_envelope_gets_an_answer(inside: str) -> None:
    answered(framed(inside))
    answered(framed('"' + inside))
    answered(framed('"SIA-DCS"0001L0#1234[' + inside + "]"))
    answered(framed('"*SIA-DCS"0001L0#1234[' + inside))


@SETTINGS
@given(st.one_of(salad, st.text(max_size=60)))
def test_any_text_is_a_block_or_refused(text: str) -> None:
    answer = read_block(text)
    if isinstance(answer, Refusal):
        assert answer.reason in sia.REASONS and answer.sentence
        return
    assert set(answer.tolerated) <= set(sia.TOLERATED)
    for event in answer.events:
        assert event.known == (event.code in load())
        assert sia.canonical(event).qualifier in ("E", "R", "")
        assert isinstance(event.zone, str) and isinstance(event.partition, str)


@SETTINGS
@given(st.text(max_size=70))
def test_any_text_is_a_key_or_none(text: str) -> None:
    key = key_from_text(text)
    assert key is None or len(key) in (16, 24, 32)


@SETTINGS
@given(st.binary(max_size=60))
def test_crc_is_that_of_the_catalogue(data: bytes) -> None:
    assert crc16(data) == crc_bit_by_bit(data)
    assert crc16(b"\0" + data) == crc16(data)


@SETTINGS
@given(
    number, st.none() | place, place, account, account, st.sampled_from("136"), st.text(digits, min_size=3, max_size=3),
    st.text(digits, min_size=2, max_size=2), st.text(digits, min_size=3, max_size=3), extended, st.none() | moment,
)  # fmt: skip
def test_a_composed_contact_id_frame_is_read_back(
    sequence: str, receiver: str | None, prefix: str, header: str, inner: str, qualifier: str, code: str,
    group: str, zone: str, pieces: list[tuple[str, str]], at: datetime | None,
) -> None:  # fmt: skip
    region = f'"ADM-CID"{sequence}{"R" + receiver if receiver else ""}L{prefix}#{header}'
    region += f"[#{inner}|{qualifier}{code} {group} {zone}]" + "".join(f"[{a}{b}]" for a, b in pieces)
    written = f"{at:%H:%M:%S,%m-%d-}{at.year:04d}" if at else ""
    frame = read_frame(framed(region + ("_" + written if written else "")))
    assert isinstance(frame, Dc09Frame)
    assert (frame.sequence, frame.receiver, frame.prefix, frame.account) == (sequence, receiver or "", prefix, header)
    assert (frame.sent_utc, frame.sent_text) == (at, written)
    assert [tuple(each) for each in frame.extended] == pieces
    assert frame.body == ContactIdMessage(
        inner, "", {"1": "E", "3": "R", "6": "P"}[qualifier], code, group.lstrip("0") or "0", zone
    )
    assert frame.tolerated == ()


events = st.lists(
    st.tuples(st.integers(0, 99), st.sampled_from(sorted(load())), st.text(upper_hex, max_size=4), words),
    min_size=1,
    max_size=5,
)


@SETTINGS
@given(account, st.sampled_from("NO"), events)
def test_composed_blocks_are_read_back(number: str, letter: str, packets: list[tuple[int, str, str, str]]) -> None:
    body = "/".join(
        f"ri{area}/{code}{address}" + (f"^{text}^" if text else "") for area, code, address, text in packets
    )
    block = read_block(f"#{number}|{letter}{body}")
    assert isinstance(block, SiaBlock)
    assert (block.account, block.tolerated, block.unread) == (number, (), ())
    assert [(int(e.modifier("ri")), e.code, e.address, e.text) for e in block.events] == packets


@SETTINGS
@given(account, st.integers(0, 40), st.integers(0, 255))
def test_one_changed_byte_is_refused(number: str, where: int, value: int) -> None:
    raw = framed(f'"SIA-DCS"0001L0#{number}[#{number}|Nri1/BA5]')
    at = 9 + where % (len(raw) - 10)
    changed = raw[:at] + bytes([value]) + raw[at + 1 :]
    # A 16-bit CRC sees every change within 16 bits; CR is the end of the frame, so its length tells.
    assert (changed == raw) != isinstance(read_frame(changed), Refusal)


@SETTINGS
@given(st.lists(st.tuples(st.sampled_from("12"), st.sampled_from("34"), st.integers(0, 90)), max_size=12))
def test_folding_keeps_the_first_and_only_links_to_what_counts(sent: list[tuple[str, str, int]]) -> None:
    frames, times, now = [], [], datetime(2026, 2, 15)
    for who, number, step in sent:
        frame = read_frame(framed(f'"ADM-CID"000{number}L0#000{who}[#000{who}|1602 00 000]'))
        assert isinstance(frame, Dc09Frame)
        now += timedelta(seconds=step)
        frames.append(frame)
        times.append(now)
    links = fold_sequences(frames, times)
    for at, link in enumerate(links):
        copies = [i for i in range(at) if frames[i] == frames[at] and times[at] - times[i] <= timedelta(seconds=60)]
        assert (link is None) == (not copies)
        assert link is None or (links[link] is None and frames[link] == frames[at])
