"""The header of a DC-09 frame: ``"ID"seq[Rrcvr]Lpref#acct[``.

A header written to the rule is read by one pattern; any other is taken apart to name what is wrong.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from sigaudit.reading.codes.contact_id import Refusal

_STRICT = re.compile(r'"(\*?)([A-Z0-9-]+)"([0-9]{4})(?:R([0-9A-F]{1,6}))?L([0-9A-F]{1,6})#([0-9A-F]{3,16})\[')
# Each part ends where the next may begin, so the pattern never has to step back.
_LOOSE = re.compile(r'"(\*?)([^"]*)"([^RL#\[]*)(?:R([^L#\[]*))?(?:L([^#\[]*))?(?:#([^\[]*))?\[')
_TOKEN = re.compile(r"[A-Z0-9-]+")
_SEQUENCE = re.compile(r"[0-9]{4}")
_PLACE = re.compile(r"[0-9A-Fa-f]{0,6}")
_ACCOUNT = re.compile(r"[0-9A-Fa-f]{1,16}")
# What a receiver puts in a NAK in the place of the account.
_NAK_ACCOUNT = "A0"


class Header(NamedTuple):
    """``receiver`` is '' where absent; hexadecimal parts are upper case; ``end`` is where the data begin."""

    encrypted: bool
    token: str
    sequence: str
    receiver: str
    prefix: str
    account: str
    end: int
    tolerated: tuple[str, ...]


def read_header(text: str) -> Header | Refusal:
    """The header, or why it is refused: ``token``, ``sequence``, ``receiver``, ``prefix``, ``account``, ``data``.

    Tolerated and named: ``receiver_without_digits`` and ``prefix_without_digits`` (a bare R or L, read as
    0), ``header_account_without_hash`` (a NAK's A0), ``account_short`` (1 or 2 digits), ``lower_case``.
    """
    if found := _STRICT.match(text):
        star, token, sequence, receiver, prefix, account = found.groups()
        return Header(star == "*", token, sequence, receiver or "", prefix, account, found.end(), ())
    parts = _LOOSE.match(text)
    if not parts:
        closed = text.find('"', 1) > 0
        return Refusal("data", "no bracket opens the data") if closed else Refusal("token", "the token is not closed")
    return _Odd(parts).read()


class _Odd:
    def __init__(self, parts: re.Match[str]) -> None:
        self.parts = parts
        self.tolerated: list[str] = []

    def read(self) -> Header | Refusal:
        star, token, sequence, receiver, prefix, account = self.parts.groups()
        if not _TOKEN.fullmatch(token):
            return Refusal("token", f"{token[:40]!r} is not a token of capitals, digits and hyphens")
        if not _SEQUENCE.fullmatch(sequence):
            return Refusal("sequence", f"the sequence number is {sequence[:40]!r}, four decimal digits are needed")
        if receiver is not None and not _PLACE.fullmatch(receiver):
            return Refusal("receiver", f"the receiver is {receiver[:40]!r}, 1 to 6 hexadecimal digits are needed")
        if prefix is None:
            return Refusal("prefix", "the account prefix L is missing")
        if account is None and token == "NAK" and prefix.endswith(_NAK_ACCOUNT):
            prefix, account = prefix.removesuffix(_NAK_ACCOUNT), _NAK_ACCOUNT
            self.tolerated.append("header_account_without_hash")
        elif account is not None and len(account) < 3:
            self.tolerated.append("account_short")
        if not _PLACE.fullmatch(prefix):
            return Refusal("prefix", f"the account prefix is {prefix[:40]!r}, 1 to 6 hexadecimal digits are needed")
        if account is None:
            return Refusal("account", "no account stands in the header")
        if not _ACCOUNT.fullmatch(account):
            return Refusal("account", f"the account is {account[:40]!r}, 3 to 16 hexadecimal digits are needed")
        if receiver == "":
            receiver = "0"
            self.tolerated.append("receiver_without_digits")
        if prefix == "":
            prefix = "0"
            self.tolerated.append("prefix_without_digits")
        lower = (receiver or "") + prefix + account
        if lower != lower.upper():
            self.tolerated.append("lower_case")
        return Header(
            encrypted=star == "*",
            token=token,
            sequence=sequence,
            receiver=(receiver or "").upper(),
            prefix=prefix.upper(),
            account=account.upper(),
            end=self.parts.end(),
            tolerated=tuple(self.tolerated),
        )
