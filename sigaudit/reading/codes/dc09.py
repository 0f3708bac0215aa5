"""A DC-09 frame (ANSI/SIA DC-09): ``LF CRC 0LLL "ID" seq [Rrcvr] Lpref #acct [data] [xdata]... [_time] CR``.

Two questions are answered apart. Is the frame whole? If not, ``read_frame`` gives a ``Refusal`` whose reason
is one of ``REASONS``. What does it say? That is ``Dc09Frame.body``, which may itself be a ``Refusal`` with a
reason of ``dc09_body.BODY_REASONS``: such a frame still has an account and a time, only its event is unknown.
What is not to the rule and yet beyond doubt is accepted and named in ``tolerated``: see ``TOLERATED``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from sigaudit.reading.codes import dc09_seal, sia
from sigaudit.reading.codes.contact_id import ContactIdMessage, Refusal
from sigaudit.reading.codes.dc09_body import CHECK_IN_TOKENS, Body, CheckIn, NotCarried, read_body
from sigaudit.reading.codes.dc09_envelope import open_envelope
from sigaudit.reading.codes.dc09_header import Header, read_header
from sigaudit.reading.codes.sia import SiaBlock, SiaEvent

REASONS = {
    "frame": "no CRC and length before the first quote",
    "trailing": "more bytes after the CR that ends the frame",
    "crc": "the CRC does not fit the bytes",
    "length": "the length does not fit the bytes",
    "token": "the token is not closed or not of capitals, digits and hyphens",
    "sequence": "the sequence number is not four decimal digits",
    "receiver": "the receiver is not hexadecimal or has more than six digits",
    "prefix": "the account prefix is missing, not hexadecimal or has more than six digits",
    "account": "the account is missing, not hexadecimal or has more than sixteen digits",
    "data": "the data are not closed by their bracket, hold a bracket, or are not whole cipher blocks",
    "timestamp": "what follows the last bracket is not a time",
}
TOLERATED = {
    "crc_raw_bytes": "the CRC is two raw bytes instead of four hexadecimal characters",
    "length_decimal": "the length is exact but written in decimal",
    "nul_after_cr": "NUL bytes follow the frame",
    "lower_case": "hexadecimal digits in small letters",
    "receiver_without_digits": "a bare R, read as R0",
    "prefix_without_digits": "a bare L, read as L0",
    "header_account_without_hash": "the A0 of a NAK, without #",
    "account_short": "an account of one or two digits",
    "undecodable_text": "bytes that are not UTF-8, kept as \\x.. in the text",
    "event_numbered_zero": "an event with the number 0000",
    "check_in_numbered": "a check-in with a number of its own",
    "check_in_with_data": "a check-in whose data are not empty",
    "extension_without_letter": "extended data that begin with no capital letter",
    **sia.TOLERATED,
}

_UNNUMBERED = "0000"
_TIME = re.compile("([0-9]{2}):([0-9]{2}):([0-9]{2}),([0-9]{2})-([0-9]{2})-([0-9]{4})")


class Extended(NamedTuple):
    """One piece of extended data: its letter (G network path, H time of occurrence, M MAC ...) and its value."""

    letter: str
    value: str


@dataclass(frozen=True, slots=True)
class Dc09Frame:
    """One whole frame.

    ``account``, ``receiver`` ('' if absent) and ``prefix`` are of the header, upper case; ``sequence`` four
    digits; ``data`` what the brackets hold; ``extended`` in the order sent, repeated letters kept;
    ``sent_utc`` the frame's time (naive UTC, as the standard has it) and ``sent_text`` as written;
    ``sealed`` the ciphertext of an encrypted frame that was not opened, '' otherwise.
    """

    token: str
    encrypted: bool
    sequence: str
    receiver: str
    prefix: str
    account: str
    data: str
    extended: tuple[Extended, ...]
    sent_utc: datetime | None
    sent_text: str
    sealed: str
    body: Body
    tolerated: tuple[str, ...]

    @property
    def data_account(self) -> str:
        """Account named inside the data, '' if none is. The sources do not agree which of the two prevails."""
        return self.body.account if isinstance(self.body, ContactIdMessage | SiaBlock) else ""

    @property
    def format(self) -> str:
        """``contact_id``, ``sia``, ``check_in`` or ``other``, by the token: known even of a sealed frame."""
        if self.token in CHECK_IN_TOKENS:
            return "check_in"
        return {"ADM-CID": "contact_id", "SIA-DCS": "sia"}.get(self.token, "other")

    @property
    def sender(self) -> tuple[str, str, str]:
        """Receiver, prefix and account of the header: together they name who counts the sequence."""
        return self.receiver, self.prefix, self.account

    def values(self, letter: str) -> tuple[str, ...]:
        """Every value of one letter of extended data, in the order sent."""
        return tuple(each.value for each in self.extended if each.letter == letter)

    @property
    def occurred_utc(self) -> datetime | None:
        """Time of occurrence (extended data H, naive UTC), if one is given and is a time."""
        return next(filter(None, (_moment(value) for value in self.values("H"))), None)


def panel_time(frame: Dc09Frame, event: SiaEvent | None = None) -> tuple[str, str]:
    """The panel's own time as written, and where it stood: ``occurrence``, ``event``, ``frame`` or ''.

    The nearest to the event wins: extended data H, then ``da``/``ti`` before the event, then the frame's
    time. The first and the last are UTC; the zone of ``da``/``ti`` is not stated. The order is a house rule.
    """
    if frame.occurred_utc:
        return next(value for value in frame.values("H") if _moment(value)), "occurrence"
    if event and event.modifier("ti"):
        return f"{event.modifier('da')} {event.modifier('ti')}".strip(), "event"
    return frame.sent_text, "frame" if frame.sent_text else ""


def read_frame(raw: bytes, keys: Mapping[str, bytes] | None = None) -> Dc09Frame | Refusal:
    """The frame, or why it is refused; never an exception, whatever the bytes.

    ``raw``: one frame, with or without its LF and CR. ``keys``: AES key of 16, 24 or 32 bytes by the account
    of the header in upper case; the key under ``""`` serves every other account.
    Sources: DC-09-2007 pp. 9-23, DC-09-2013 draft pp. 15-21, seen in part; open-source readers of DC-09.
    """
    inside = open_envelope(raw)
    if isinstance(inside, Refusal):
        return inside
    text, odd = _decoded(inside.region)
    header = read_header(text)
    if isinstance(header, Refusal):
        return header
    rest = text[header.end :]
    tolerated = [*inside.tolerated, *odd, *header.tolerated]
    if not header.encrypted:
        tail = _read_tail(rest)
        return tail if isinstance(tail, Refusal) else _frame(header, tail, tolerated)
    if not dc09_seal.is_sealed_text(rest):
        return Refusal("data", "the encrypted data are not whole cipher blocks in hexadecimal")
    tail = _unsealed(rest, header.account, keys, tolerated)
    if isinstance(tail, Refusal):
        return _frame(header, _Tail("", (), None, ""), tolerated, sealed=rest, unread=tail)
    return _frame(header, tail, tolerated)


class _Tail(NamedTuple):
    data: str
    extended: tuple[str, ...]
    sent_utc: datetime | None
    sent_text: str


def _frame(
    header: Header, tail: _Tail, tolerated: list[str], *, sealed: str = "", unread: Refusal | None = None
) -> Dc09Frame:
    body, odd = read_body(header.token, tail.data, unread)
    if isinstance(body, CheckIn):
        if header.sequence != _UNNUMBERED and header.token == "NULL":
            tolerated.append("check_in_numbered")
        if tail.data:
            tolerated.append("check_in_with_data")
    elif header.sequence == _UNNUMBERED and not isinstance(body, NotCarried):
        tolerated.append("event_numbered_zero")
    extended = tuple(_extended(piece) for piece in tail.extended)
    if not all(each.letter for each in extended):
        tolerated.append("extension_without_letter")
    return Dc09Frame(
        token=header.token,
        encrypted=header.encrypted,
        sequence=header.sequence,
        receiver=header.receiver,
        prefix=header.prefix,
        account=header.account,
        data=tail.data,
        extended=extended,
        sent_utc=tail.sent_utc,
        sent_text=tail.sent_text,
        sealed=sealed,
        body=body,
        tolerated=tuple(dict.fromkeys([*tolerated, *odd])),
    )


def _unsealed(sealed: str, account: str, keys: Mapping[str, bytes] | None, tolerated: list[str]) -> _Tail | Refusal:
    given = keys or {}
    key = given.get(account, given.get(""))
    if key is None:
        return Refusal("no_key", f"encrypted, and no key is given for account {account}")
    clear = dc09_seal.open_seal(sealed, key)
    if isinstance(clear, Refusal):
        return clear
    text, odd = _decoded(clear)
    tail = _read_tail(text)
    # A wrong key gives noise; that every encrypted frame must carry its time is what tells noise from data.
    if isinstance(tail, Refusal) or tail.sent_utc is None:
        return Refusal("wrong_key", f"the data do not open with the key of account {account}, or carry no time")
    tolerated.extend(odd)
    return tail


def _read_tail(rest: str) -> _Tail | Refusal:
    """Data, extended data and time, from behind the bracket that opens the data to the end."""
    brackets, closing, after = rest.rpartition("]")
    if not closing:
        return Refusal("data", "no bracket closes the data")
    data, *extended = brackets.split("][")
    if "[" in data or "]" in data:
        return Refusal("data", "a bracket stands inside the data")
    if not after:
        return _Tail(data, tuple(extended), None, "")
    moment = _moment(after[1:]) if after[0] == "_" else None
    if moment is None:
        return Refusal("timestamp", f"{after[:40]!r} follows the last bracket and is not a time")
    return _Tail(data, tuple(extended), moment, after[1:])


def _extended(piece: str) -> Extended:
    letter = piece[:1]
    return Extended(letter, piece[1:]) if letter.isascii() and letter.isupper() else Extended("", piece)


def _moment(written: str) -> datetime | None:
    found = _TIME.fullmatch(written)
    if not found:
        return None
    hour, minute, second, month, day, year = map(int, found.groups())
    try:
        return datetime(year, month, day, hour, minute, second)
    except ValueError:
        return None


def _decoded(data: bytes) -> tuple[str, tuple[str, ...]]:
    try:
        return data.decode("utf-8"), ()
    except UnicodeDecodeError:
        return data.decode("utf-8", "backslashreplace"), ("undecodable_text",)
