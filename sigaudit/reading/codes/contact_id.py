"""The 16-digit Contact ID message (ANSI/SIA DC-05): read it, or say why not.

``ACCT MT Q XYZ GG CCC S``: account, message type, qualifier, code, partition, zone or user, checksum.
Digits are 0-9 and B-F; a 0 counts ten in the checksum, and A is not used because it is what a 0
counts as. The checksum is a plain sum: two digits swapped still pass, so a message that is read
without complaint does not prove its account number.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

LENGTH = 16
MESSAGE_TYPES = ("18", "98")  # 18 preferred, 98 optional; the 2016 edition's 58 has another layout
QUALIFIERS = {"1": "E", "3": "R", "6": "P"}
_VALUES = {"0": 10, **{str(d): d for d in range(1, 10)}, "B": 11, "C": 12, "D": 13, "E": 14, "F": 15}
_DIGITS = {value: digit for digit, value in _VALUES.items()}
_ALLOWED = re.compile("[0-9B-F]*")


@dataclass(frozen=True, slots=True)
class ContactIdMessage:
    """What one message says, in the form the signals table keeps it.

    ``qualifier`` is E (new event or opening), R (restore or closing) or P (still present, told again);
    ``partition`` has no leading zeros ("0" = no specific one); ``zone`` is the three digits as sent,
    a zone or a user by the code ("000" = no specific one).
    """

    account: str
    message_type: str
    qualifier: str
    code: str
    partition: str
    zone: str


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a text is no Contact ID message: a name for scripts, and one sentence for people.

    ``reason`` is one of ``length``, ``digit``, ``message_type``, ``qualifier``, ``checksum``: the first
    that fails, in that order.
    """

    reason: str
    sentence: str


def checksum_digit(first15: str) -> str:
    """The 16th digit: the one that makes the sum of all sixteen a multiple of 15.

    ``first15``: fifteen digits 0-9, B-F. Ten is written 0, and a sum that is a multiple already needs F.
    Raises ValueError for anything else. Source: ANSI/SIA DC-05-1999.09.
    """
    if len(first15) != LENGTH - 1 or not _ALLOWED.fullmatch(first15):
        raise ValueError(f"fifteen digits 0-9 or B-F are needed, not {first15!r}")
    return _DIGITS[15 - _sum(first15) % 15]


def read_message(text: str) -> ContactIdMessage | Refusal:
    """The message, or the reason it is refused; never an exception, whatever the text.

    ``text``: exactly sixteen digits without spaces, letters in upper case. Nothing is repaired: some
    encoders write A where 0 is meant, and guessing that would move a signal to another account.
    Source: ANSI/SIA DC-05-1999.09; digit A refused by DC-05-2016 4.1.2.2.
    """
    if len(text) != LENGTH:
        return Refusal("length", f"{LENGTH} digits are needed, {len(text)} are there")
    if not _ALLOWED.fullmatch(text):
        wrong = next(i for i, digit in enumerate(text) if digit not in _VALUES)
        return Refusal("digit", f"digit {wrong + 1} is {text[wrong]!r}, only 0-9 and B-F are used")
    if text[4:6] not in MESSAGE_TYPES:
        return Refusal("message_type", f"message type {text[4:6]} is not Contact ID (18 or 98)")
    if text[6] not in QUALIFIERS:
        return Refusal("qualifier", f"qualifier {text[6]} is none of 1, 3, 6")
    wanted = checksum_digit(text[:-1])
    if text[-1] != wanted:
        return Refusal("checksum", f"checksum digit is {text[-1]}, the other fifteen ask for {wanted}")
    return ContactIdMessage(
        account=text[:4],
        message_type=text[4:6],
        qualifier=QUALIFIERS[text[6]],
        code=text[7:10],
        partition=text[10:12].lstrip("0") or "0",
        zone=text[12:15],
    )


def _sum(digits: str) -> int:
    return sum(_VALUES[digit] for digit in digits)
