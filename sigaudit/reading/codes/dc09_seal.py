"""The sealed part of an encrypted DC-09 frame: AES in CBC mode with a zero initial vector.

Inside stand pad bytes, a bar, the data, ``]``, extended data and the time; where the data are empty the
bar is missing. The pad never holds a bar or a bracket, so the first of them ends it, whatever its
length (1-16 bytes in the 2013 edition, 16-31 in later ones, 13 in a published frame).
Needs the package ``cryptography`` (the extra ``dc09``); without it sealed frames stay sealed.
"""

from __future__ import annotations

import re

from sigaudit.reading.codes.contact_id import Refusal

KEY_LENGTHS = (16, 24, 32)
_BLOCK = 16
_SEALED = re.compile("(?:[0-9A-Fa-f]{32})+")
_PAD_END = re.compile(rb"\||(?=\])")


def is_sealed_text(text: str) -> bool:
    """Whether the text is hexadecimal and of whole cipher blocks."""
    return _SEALED.fullmatch(text) is not None


def open_seal(sealed: str, key: bytes) -> bytes | Refusal:
    """What stands inside, from the data to the end, without the pad.

    ``sealed``: hexadecimal text of whole 16-byte blocks. Refused: ``key_length`` the key is not of 16, 24 or
    32 bytes; ``needs_extra`` the package is not installed; ``wrong_key`` no end of a pad is found.
    Source: DC-09-2013 draft p. 15 (CBC, zero vector, pad).
    """
    if len(key) not in KEY_LENGTHS:
        return Refusal("key_length", f"the key has {len(key)} bytes, AES takes 16, 24 or 32")
    try:
        from cryptography.hazmat.primitives.ciphers import (  # type: ignore[import-not-found,unused-ignore]
            Cipher,
            algorithms,
            modes,
        )
    except ImportError:
        return Refusal("needs_extra", "encrypted: needs the extra dc09")
    opener = Cipher(algorithms.AES(key), modes.CBC(bytes(_BLOCK))).decryptor()
    clear = opener.update(bytes.fromhex(sealed)) + opener.finalize()
    pad = _PAD_END.search(clear)
    if not pad:
        return Refusal("wrong_key", "the data do not open with this key")
    return clear[pad.end() :]


def key_from_text(text: str) -> bytes | None:
    """A key as a person writes it: 32, 48 or 64 hexadecimal digits, else 16, 24 or 32 plain ASCII characters.

    None for anything else. Thirty-two characters that are all hexadecimal digits are taken as digits.
    """
    if re.fullmatch("[0-9A-Fa-f]{32}|[0-9A-Fa-f]{48}|[0-9A-Fa-f]{64}", text):
        return bytes.fromhex(text)
    if text.isascii() and len(text) in KEY_LENGTHS:
        return text.encode("ascii")
    return None
