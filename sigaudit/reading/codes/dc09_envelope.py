"""The envelope of a DC-09 frame: ``LF CRC 0LLL "..." CR``. Is the frame whole, and what lies inside?

CRC and length cover everything from the first quote to the byte before CR. LF and CR may be absent: an
export written line by line has cut them.
"""

from __future__ import annotations

import re
import struct
from functools import cache
from typing import NamedTuple

from sigaudit.reading.codes.contact_id import Refusal

_ASCII_HEAD = re.compile(rb'([0-9A-Fa-f]{4})([0-9A-Fa-f]{4})(?=")')
_RAW_HEAD = re.compile(rb'(..)([0-9A-Fa-f]{4})(?=")', re.DOTALL)


class Inside(NamedTuple):
    """``region``: the bytes CRC and length cover; ``tolerated``: what was odd about the envelope."""

    region: bytes
    tolerated: tuple[str, ...]


def crc16(data: bytes) -> int:
    """CRC-16 as DC-09 uses it: polynomial A001 (8005 reflected), initial value 0, nothing inverted.

    Check value BB3D for ``123456789`` (catalogue name CRC-16/ARC). Leading zero bytes leave the initial
    value 0 unchanged, so an odd length is made even in front and two bytes are taken at a time.
    """
    table = two_byte_table()
    even = data if len(data) % 2 == 0 else b"\0" + data
    crc = 0
    for pair in struct.unpack(f"<{len(even) // 2}H", even):
        crc = table[crc ^ pair]
    return crc


def open_envelope(raw: bytes) -> Inside | Refusal:
    """What the envelope holds, or why it is refused: ``frame``, ``trailing``, ``crc`` or ``length``.

    Tolerated and named: ``crc_raw_bytes`` (the CRC as two raw bytes, high byte first), ``length_decimal``
    (the exact length, written in decimal), ``lower_case`` and ``nul_after_cr``.
    """
    body = raw[1:] if raw.startswith(b"\n") else raw
    tolerated = []
    head = _ASCII_HEAD.match(body)
    if head:
        declared_crc = int(head[1], 16)
        if head[0] != head[0].upper():
            tolerated.append("lower_case")
    else:
        # A raw CRC may itself begin with the byte of LF, so the text is also tried uncut.
        head = _RAW_HEAD.match(body) or _RAW_HEAD.match(raw)
        if not head:
            return Refusal("frame", "no CRC and length stand before the first quote")
        declared_crc = int.from_bytes(head[1], "big")
        tolerated.append("crc_raw_bytes")
    region, cr, rest = head.string[head.end() :].partition(b"\r")
    if not cr:
        region = region.rstrip(b"\n")
    if rest.strip(b"\n\0"):
        return Refusal("trailing", f"{len(rest)} bytes follow the CR that ends the frame")
    if b"\0" in rest:
        tolerated.append("nul_after_cr")
    found_crc = crc16(region)
    if found_crc != declared_crc:
        return Refusal("crc", f"the CRC is {declared_crc:04X}, the bytes ask for {found_crc:04X}")
    if int(head[2], 16) != len(region):
        if not head[2].isdigit() or int(head[2]) != len(region):
            return Refusal("length", f"the length is {head[2].decode()}, the bytes ask for {len(region):04X}")
        tolerated.append("length_decimal")
    return Inside(region, tuple(tolerated))


@cache
def two_byte_table() -> tuple[int, ...]:
    one = []
    for value in range(256):
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
        one.append(value)
    return tuple(one[value & 255] >> 8 ^ one[one[value & 255] & 255 ^ value >> 8] for value in range(65536))
