"""Encrypted DC-09 frames: opened with the right key, and honest about why not otherwise.

Frames with a published or trial key are among the examples (test_dc09.py). Here the cipher comes from
another implementation of AES than the reader's; pad and layout follow the 2013 draft, p. 15.
"""

from __future__ import annotations

import sys

import pytest

from sigaudit.reading.codes.contact_id import ContactIdMessage, Refusal
from sigaudit.reading.codes.dc09 import Dc09Frame, read_frame
from sigaudit.reading.codes.dc09_body import CheckIn
from sigaudit.reading.codes.dc09_seal import key_from_text
from tests.reading.dc09_frames import sealed

HEADER = '"*ADM-CID"0114R1L0#12AB'
TAIL = b"|#12AB|1130 01 005][G2]_13:14:15,02-15-2026"
KEY = bytes(range(16))


def frame_of(clear: bytes = TAIL, key: bytes = KEY, header: str = HEADER) -> bytes:
    pytest.importorskip("Cryptodome")
    return sealed(header, b"p" * (-len(clear) % 16 or 16) + clear, key)


def read(raw: bytes, keys: dict[str, bytes] | None) -> Dc09Frame:
    pytest.importorskip("cryptography")
    answer = read_frame(raw, keys)
    assert isinstance(answer, Dc09Frame), answer
    return answer


def reason(frame: Dc09Frame) -> str:
    assert isinstance(frame.body, Refusal), frame.body
    assert frame.sealed and not frame.data and frame.sent_utc is None
    assert (frame.account, frame.format) == ("12AB", "contact_id")  # known without any key
    return frame.body.reason


@pytest.mark.parametrize("length", [16, 24, 32])
@pytest.mark.parametrize("named", ["12AB", ""])
def test_each_length_of_key(length: int, named: str) -> None:
    key = bytes(range(length))
    frame = read(frame_of(key=key), {named: key})
    assert frame.body == ContactIdMessage("12AB", "", "E", "130", "1", "005")
    assert (frame.data, frame.values("G"), frame.sent_text) == ("#12AB|1130 01 005", ("2",), "13:14:15,02-15-2026")
    assert frame.encrypted and not frame.sealed and frame.tolerated == ()


def test_the_key_of_the_account_goes_before_the_common_one() -> None:
    assert not read(frame_of(), {"12AB": KEY, "": bytes(16)}).sealed


@pytest.mark.parametrize("pad", [1, 5, 13, 16, 29, 31])
def test_any_length_of_pad(pad: int) -> None:
    # 1-16 bytes in the 2013 draft, 16-31 in later editions, 13 in the published frame; odd bytes, no bar or bracket.
    pytest.importorskip("Cryptodome")
    clear = bytes(range(0x80, 0x80 + pad)) + TAIL
    xdata = b"[I" + b"x" * ((-len(clear) - 3) % 16) + b"]"
    clear = clear.replace(b"_13", xdata + b"_13")
    frame = read(sealed(HEADER, clear, KEY), {"": KEY})
    assert isinstance(frame.body, ContactIdMessage)
    assert frame.tolerated == ()  # bytes of the pad are no text


@pytest.mark.parametrize(
    ("keys", "name"),
    [
        (None, "no_key"),
        ({}, "no_key"),
        ({"9999": KEY}, "no_key"),
        ({"": b"short"}, "key_length"),
        ({"": KEY[::-1]}, "wrong_key"),
        ({"12AB": KEY + KEY}, "wrong_key"),
    ],
)
def test_why_it_stays_sealed(keys: dict[str, bytes] | None, name: str) -> None:
    assert reason(read(frame_of(), keys)) == name


def test_an_encrypted_frame_without_its_time_is_not_believed() -> None:
    # The time is required when encrypted, and is what tells a right key from noise.
    assert reason(read(frame_of(b"|#12AB|1130 01 005]"), {"": KEY})) == "wrong_key"


def test_without_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    raw = frame_of()
    for name in [m for m in sys.modules if m.split(".")[0] == "cryptography"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "cryptography", None)
    frame = read_frame(raw, {"": KEY})
    assert isinstance(frame, Dc09Frame)
    assert reason(frame) == "needs_extra"
    assert isinstance(frame.body, Refusal) and frame.body.sentence == "encrypted: needs the extra dc09"


def test_a_sealed_check_in_counts_without_a_key() -> None:
    frame = read(frame_of(b"]_13:14:15,02-15-2026", header='"*NULL"0000L0#12AB'), None)
    assert (frame.body, bool(frame.sealed)) == (CheckIn("NULL"), True)


def test_keys_as_people_write_them() -> None:
    assert key_from_text("0123456789ABCDEF0123456789abcdef") == bytes.fromhex("0123456789ABCDEF" * 2)
    assert key_from_text("AAAAAAAAAAAAAAAA") == b"AAAAAAAAAAAAAAAA"  # test key of pysiaalarm
    assert key_from_text("a text of 24 characters.") == b"a text of 24 characters."
    assert key_from_text("00" * 32) == bytes(32)
    assert key_from_text("") is None and key_from_text("short") is None and key_from_text("é" * 16) is None
