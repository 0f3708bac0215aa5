"""DC-09 frames against two open-source packages for the same standard: siadc09 1.0.1 and pysiaalarm 3.2.2.

Both stand outside this project. Where one of them is wrong, or keeps less, the check says what.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from sigaudit.reading.codes.contact_id import ContactIdMessage, Refusal
from sigaudit.reading.codes.dc09 import Dc09Frame, read_frame
from sigaudit.reading.codes.dc09_body import CheckIn
from sigaudit.reading.codes.dc09_envelope import crc16

EXAMPLES = [
    json.loads(line)
    for line in (Path(__file__).parent / "data" / "dc09_examples.jsonl").read_text(encoding="utf-8").splitlines()
]


def ours(example: dict[str, Any]) -> Dc09Frame | Refusal:
    keys = {"": bytes.fromhex(example["key_hex"])} if example.get("key_hex") else None
    return read_frame(example["frame"].encode("latin-1"), keys)


def siadc09(example: dict[str, Any]) -> Any:
    """Its message, or None where it refuses."""
    message = pytest.importorskip("siadc09.message")
    keys = bytes.fromhex(example["key_hex"]) if example.get("key_hex") else None
    try:
        return message.parse_frame(example["frame"].encode("latin-1"), keys=keys)
    except (ValueError, RuntimeError):
        return None


def test_both_accept_the_same_frames() -> None:
    only_ours = {e["id"] for e in EXAMPLES if isinstance(ours(e), Dc09Frame) and siadc09(e) is None}
    only_theirs = {e["id"] for e in EXAMPLES if isinstance(ours(e), Refusal) and siadc09(e) is not None}
    assert only_theirs == set()
    assert only_ours == {
        *("nak-1", "nak-2", "c-nak"),  # it wants "#" before the A0 of a NAK, which real receivers leave out
        *("null-noprefix", "bad-len-decimal", "c-crc-binary"),  # tolerated here and named
        *("cid-enc-nokey", "dcs-enc-nokey"),  # it stops without a key; the header is readable all the same
    }


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda e: e["id"])
def test_fields_agree_with_siadc09(example: dict[str, Any]) -> None:
    frame, theirs = ours(example), siadc09(example)
    if theirs is None:
        return  # the frames only one of the two accepts are named above
    assert isinstance(frame, Dc09Frame)
    assert (frame.token, int(frame.sequence), frame.encrypted) == (theirs.idtoken, theirs.seq, theirs.encrypted)
    # It keeps accounts as whole numbers, which loses leading zeros ("0AB"), and L0 as none.
    assert int(frame.account, 16) == theirs.account.acct
    assert int(frame.prefix, 16) == (theirs.account.pref or 0)
    assert (int(frame.receiver, 16) if frame.receiver else None) == theirs.account.rcvr
    assert (frame.sent_utc.replace(tzinfo=UTC) if frame.sent_utc else None) == theirs.timestamp
    if frame.token == "ADM-CID" and isinstance(frame.body, ContactIdMessage):
        event = theirs.data.event
        # Its constant for a restore is 2; the standard and every other source say 3. The digit itself agrees.
        assert frame.body.qualifier == {"1": "E", "3": "R", "6": "P"}[event.qualifier]
        assert (frame.body.code, int(frame.body.partition, 16)) == (event.code, event.group)
        assert int(frame.body.zone, 16) == event.addr
    if frame.token not in ("NULL", "ACK", "NAK", "DUH"):  # of these it keeps no extended data
        assert [each.letter for each in frame.extended] == [each.prefix for each in theirs.xdata]


@pytest.mark.parametrize("key", [None, "000102030405060708090A0B0C0D0E0F", "00" * 24, "AB" * 32])
@pytest.mark.parametrize("text", [b"#1234|1130 01 005", b"#1234|3401 02 012"])
def test_frames_written_by_siadc09_are_read(key: str | None, text: bytes) -> None:
    message, account = pytest.importorskip("siadc09.message"), pytest.importorskip("siadc09.account")
    data = pytest.importorskip("siadc09.admcid").parse_admcid(text)
    at = datetime(2026, 2, 15, 13, 14, 15, tzinfo=UTC)
    sender = account.Account(acct=0x1234, pref=0x789ABC, rcvr=0x57, key=key)
    config = {"idtoken": "ADM-CID", "seqno": 9876, "data": data, "timestamp": at}
    keys = {"1234": bytes.fromhex(key)} if key else None
    frame = read_frame(message.Message(sender, config=config).encode(), keys)
    assert isinstance(frame, Dc09Frame)
    assert (frame.account, frame.prefix, frame.receiver, frame.sequence) == ("1234", "789ABC", "57", "9876")
    assert (frame.data.encode(), frame.encrypted, frame.sealed) == (text, key is not None, "")
    assert frame.sent_utc == at.replace(tzinfo=None)
    null = read_frame(message.NullMessage(sender).encode(), keys)
    assert isinstance(null, Dc09Frame)
    assert (null.body, null.tolerated) == (CheckIn("NULL"), ())


def test_crc_agrees_with_the_table_of_siadc09() -> None:
    crc = pytest.importorskip("siadc09.util").crc  # table of DC-07 app. B with its misprint put right
    for example in EXAMPLES:
        raw = example["frame"].encode("latin-1")
        assert crc16(raw) == crc(raw)


# pysiaalarm reads only these tokens; it does not act on a wrong length.
PLAIN = [e for e in EXAMPLES if not e["encrypted"] and e["token"] in ("SIA-DCS", "ADM-CID", "NULL")]
# Its patterns do not match these. Right: no L, digits missing, no closing bracket. Stricter than here: a bare L, a
# raw CRC. Wrong: more than one piece of extended data in a Contact ID frame (c-x-all).
UNREAD = {"n-noL", "n-badcid2", "n-trunc", "null-noprefix", "c-crc-binary", "c-x-all"}


def pysiaalarm(example: dict[str, Any]) -> Any:
    """Its event, or None where its patterns do not match."""
    package = pytest.importorskip("pysiaalarm")
    try:
        return package.SIAEvent.from_line(example["frame"].strip("\n\r"))
    except pytest.importorskip("pysiaalarm.errors").EventFormatError:
        return None


def test_pysiaalarm_leaves_these_unread() -> None:
    assert {e["id"] for e in PLAIN if pysiaalarm(e) is None} == UNREAD


@pytest.mark.parametrize("example", [e for e in PLAIN if e["id"] not in UNREAD], ids=lambda e: e["id"])
def test_header_and_crc_agree_with_pysiaalarm(example: dict[str, Any]) -> None:
    theirs, frame = pysiaalarm(example), ours(example)
    assert theirs.valid_message == (not isinstance(frame, Refusal) or frame.reason != "crc")
    if isinstance(frame, Refusal):
        return
    assert (theirs.account, theirs.sequence, theirs.line) == (frame.account, frame.sequence, "L" + frame.prefix)
    assert (theirs.receiver or "") == ("R" + frame.receiver if frame.receiver else "")
    assert (theirs.timestamp or None) == (frame.sent_utc.replace(tzinfo=UTC) if frame.sent_utc else None)
    if isinstance(frame.body, ContactIdMessage):
        assert theirs.event_qualifier == {"E": "1", "R": "3", "P": "6"}[frame.body.qualifier]
        assert (theirs.event_type, theirs.ri) == (frame.body.code, frame.body.zone)
        assert theirs.partition.lstrip("0") == frame.body.partition.lstrip("0")
