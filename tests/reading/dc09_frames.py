"""Frames made by the rule of DC-09, with arithmetic of their own: nothing here uses the reader under test."""

from __future__ import annotations


def crc_bit_by_bit(data: bytes) -> int:
    """CRC-16/ARC as the catalogue states it: polynomial 8005, input and output reflected, start 0, no final xor."""
    crc = 0
    for byte in data:
        crc ^= int(f"{byte:08b}"[::-1], 2) << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x8005 if crc & 0x8000 else crc << 1) & 0xFFFF
    return int(f"{crc:016b}"[::-1], 2)


def framed(region: str | bytes) -> bytes:
    """The envelope around a region: LF, CRC, length, region, CR."""
    inside = region if isinstance(region, bytes) else region.encode("utf-8")
    return b"\n%04X0%03X%s\r" % (crc_bit_by_bit(inside), len(inside), inside)


def sealed(header: str, clear: bytes, key: bytes) -> bytes:
    """An encrypted frame: ``header`` up to the bracket, ``clear`` with its pad, of whole 16-byte blocks."""
    from Cryptodome.Cipher import AES  # another implementation than the one the reader uses

    cipher = AES.new(key, AES.MODE_CBC, iv=bytes(16)).encrypt(clear)
    return framed(header + "[" + cipher.hex().upper())
