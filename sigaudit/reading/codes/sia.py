"""Event blocks of two-letter events (ANSI/SIA DC-03): ``#1234|Nti19:44/ri1/BA5*12^Hall^/BA6|AFront door``.

Blocks are separated by a bar and begin with the letter of their type; ``N`` (new) and ``O`` (old, sent
late) hold events, ``#`` the account, ``A`` text. Inside N and O, packets are separated by a slash: a
modifier (two small letters and a value) holds for the packets after it, an event is two capitals, an
address, ``*value`` and ``^text^``. The address is hexadecimal text by the standard and stays text here.

A block is refused (``Refusal.reason``) only when nothing in it can be used:
``empty`` no text; ``block`` no block of a known type; ``packet`` the event blocks hold no readable packet.
Whatever else cannot be read is kept in ``unread`` beside the events that can, and named in ``tolerated``:
see ``TOLERATED``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from sigaudit.reading.codes import sia_table
from sigaudit.reading.codes.contact_id import Refusal
from sigaudit.reading.codes.sia_table import Canonical

REASONS = ("empty", "block", "packet")
TOLERATED = {
    "data_account_missing": "the text begins without an account",
    "data_account_without_hash": "the account stands without # before the first bar",
    "no_separator": "an event follows a modifier without a slash",
    "text_not_closed": "the closing ^ of a text is missing",
    "odd_modifier": "the value of a modifier is not made of digits",
    "tail": "something stands behind the address that is neither value nor text",
    "block_unread": "a block of no known type",
    "packet_unread": "a packet that is neither modifier nor event",
}
MODIFIERS = ("ti", "da", "ri", "id", "pi", "ai", "ph", "lv", "va", "pt", "rg", "ss")
EVENT_BLOCKS = "NO"
_OTHER_BLOCKS = frozenset("CEP@?&XLVvI0123456789")

_ACCOUNT = re.compile("[0-9A-Fa-f]{1,16}")
_BARE_ACCOUNT = re.compile("[0-9A-Fa-f]{3,16}")
# A closed ^text^ hides bars and slashes; a ^ without its partner hides none.
_BLOCK = re.compile(r"(?:[^|^]|\^[^^]*\^)*")
_PACKET = re.compile(r"(?:[^/^]|\^[^^]*\^|\^(?=[^^]*\Z))+")
_MODIFIER = re.compile(rf"({'|'.join(MODIFIERS)})([0-9.:-]*)(?:\^([^^]*)(\^?))?(.*)", re.DOTALL)
_EVENT = re.compile(r"([A-Z]{2})([0-9A-F:-]*)(?:\*([^^]*))?(?:\^([^^]*)(\^?))?(.*)", re.DOTALL)
_EVENT_BEGINS = re.compile(r"[A-Z]{2}(?![a-z])")
_PLAIN_NUMBER = re.compile("[0-9A-F]+")


@dataclass(frozen=True, slots=True)
class SiaEvent:
    """One event: two letters, its address and what the modifiers before it say.

    ``block`` N or O (told late); ``address_kind`` by the standard, '' for a code it does not have
    (``known`` False: a manufacturer's own); ``value`` with its unit letters; ``tail`` what was left over.
    """

    code: str
    address: str
    address_kind: str
    known: bool
    block: str
    value: str
    text: str
    tail: str
    modifiers: tuple[tuple[str, str], ...]

    def modifier(self, name: str) -> str:
        """Value of a modifier in force for this event (``ri`` area, ``ti`` time, ``id`` user ...), or ''."""
        return dict(self.modifiers).get(name, "")

    @property
    def partition(self) -> str:
        """Area without leading zeros: the ``ri`` modifier, else the address where that is an area, else ''."""
        area = self.modifier("ri") or (self.address if self.address_kind == "area" else "")
        return (area.lstrip("0") or "0") if area else ""

    @property
    def zone(self) -> str:
        """Address padded to three digits (``15`` -> ``015``); '' for none or an area. The user stands
        in ``id`` where an event about a user has no address. A range (``1-8``) stays as sent."""
        number = "" if self.address_kind == "area" else self.address
        if not number and self.address_kind == "user":
            number = self.modifier("id")
        return number.lstrip("0").rjust(3, "0") if _PLAIN_NUMBER.fullmatch(number) else number


@dataclass(frozen=True, slots=True)
class SiaBlock:
    """What one text of event blocks says.

    ``account`` upper case, '' when none is given; ``events`` in the order sent, of all N and O blocks;
    ``texts`` of the A blocks; ``others`` (letter, content) of every other known block; ``unread`` what
    could not be read; ``tolerated`` names from ``TOLERATED``.
    """

    account: str
    events: tuple[SiaEvent, ...]
    texts: tuple[str, ...]
    others: tuple[tuple[str, str], ...]
    unread: tuple[str, ...]
    tolerated: tuple[str, ...]


def canonical(event: SiaEvent) -> Canonical:
    """The nearest Contact ID event: qualifier E or R, code or '', and how sure the mapping is."""
    return sia_table.canonical(event.code)


closes = sia_table.closes


def read_block(text: str) -> SiaBlock | Refusal:
    """The events of a text of blocks, or why it is refused; never an exception, whatever the text.

    ``text``: account and blocks as they stand between the brackets of a DC-09 frame, the account
    optional. Source: ANSI/SIA DC-03-2017 5.2.1 as transcribed in open source (siadc09 1.0.1), also for
    modifiers holding for what follows; that a new block begins without any is from memory.
    """
    return _read_known(text) if len(text) <= _SHORT else _read(text)


def _read(text: str) -> SiaBlock | Refusal:
    reader = _Reader()
    reader.read(text)
    if reader.events or reader.texts or reader.others:
        return SiaBlock(
            account=reader.account,
            events=tuple(reader.events),
            texts=tuple(reader.texts),
            others=tuple(reader.others),
            unread=tuple(reader.unread),
            tolerated=tuple(dict.fromkeys(reader.tolerated)),
        )
    if "packet_unread" in reader.tolerated:
        return Refusal("packet", f"{reader.unread[0][:40]!r} is neither a modifier nor a two-letter event")
    if reader.unread:
        return Refusal("block", f"{reader.unread[0][:40]!r} begins with no known block letter")
    return Refusal("empty", "the data hold no event")


# Logs repeat the same few texts (tests, openings) thousands of times; long ones are rare and not worth keeping.
_SHORT = 256
_read_known = lru_cache(maxsize=65536)(_read)


class _Reader:
    def __init__(self) -> None:
        self.account = ""
        self.events: list[SiaEvent] = []
        self.texts: list[str] = []
        self.others: list[tuple[str, str]] = []
        self.unread: list[str] = []
        self.tolerated: list[str] = []

    def read(self, text: str) -> None:
        place = self._read_account(text)
        while place < len(text):
            end = _end_of_block(text, place)
            self._read_one_block(text[place:end])
            place = end + 1

    def _read_account(self, text: str) -> int:
        """Sets the account and returns where the blocks begin."""
        first, bar, _ = text.partition("|")
        if first.startswith("#") and _ACCOUNT.fullmatch(first[1:]):
            self.account = first[1:].upper()
        elif bar and _BARE_ACCOUNT.fullmatch(first):
            self.account = first.upper()
            self.tolerated.append("data_account_without_hash")
        else:
            self.tolerated.append("data_account_missing")
            # "#" or nothing before the bar is an empty account; anything else is already a block.
            return len(first) + 1 if first in ("", "#") else 0
        return len(first) + 1

    def _read_one_block(self, block: str) -> None:
        letter, content = block[:1], block[1:]
        if letter and letter in EVENT_BLOCKS:
            self._read_packets(letter, content)
        elif letter == "A":
            self.texts.append(content)
        elif letter in _OTHER_BLOCKS:
            self.others.append((letter, content))
        elif block:
            self.unread.append(block)
            self.tolerated.append("block_unread")

    def _read_packets(self, letter: str, content: str) -> None:
        held: dict[str, str] = {}
        for packet in _PACKET.findall(content):
            rest: str = packet
            if found := _MODIFIER.fullmatch(packet):
                name, value, _, closing, rest = found.groups()
                if closing == "":
                    self.tolerated.append("text_not_closed")
                if rest and value and _EVENT_BEGINS.match(rest):
                    self.tolerated.append("no_separator")
                elif rest:
                    value, rest = value + rest, ""
                    self.tolerated.append("odd_modifier")
                held[name] = value
            if rest:
                self._read_event(letter, rest, held)

    def _read_event(self, letter: str, packet: str, held: dict[str, str]) -> None:
        found = _EVENT.fullmatch(packet)
        if not found:
            self.unread.append(packet)
            self.tolerated.append("packet_unread")
            return
        code, address, value, text, closing, tail = found.groups()
        if closing == "":
            self.tolerated.append("text_not_closed")
        if tail:
            self.tolerated.append("tail")
        row = sia_table.load().get(code)
        kind = row.address_kind if row else ""
        self.events.append(
            SiaEvent(
                code=code,
                address=address,
                address_kind=kind,
                known=row is not None,
                block=letter,
                value=value or "",
                text=text or "",
                tail=tail,
                modifiers=tuple(held.items()),
            )
        )


def _end_of_block(text: str, start: int) -> int:
    """Place of the bar that ends the block; a bar inside a closed ^text^ of an event block does not."""
    if text[start] in EVENT_BLOCKS:
        end = _BLOCK.match(text, start).end()  # type: ignore[union-attr]
        if end == len(text) or text[end] == "|":
            return end
        # A ^ that is never closed hides no bar: cut at the first one after it.
        start = end
    bar = text.find("|", start)
    return len(text) if bar < 0 else bar
