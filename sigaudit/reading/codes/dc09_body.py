"""What a DC-09 frame says, by its token: Contact ID, event blocks, a check-in, or something not carried here."""

from __future__ import annotations

import re
from typing import NamedTuple

from sigaudit.reading.codes import sia
from sigaudit.reading.codes.contact_id import QUALIFIERS, ContactIdMessage, Refusal
from sigaudit.reading.codes.sia import SiaBlock

BODY_REASONS = {
    "empty": "the data hold no event",
    "block": "no block of a known type",
    "packet": "no readable packet in the event blocks",
    "contact_id_shape": "not `QXYZ GG CCC` in the digits of Contact ID",
    "contact_id_qualifier": "the qualifier is none of 1, 3, 6",
    "no_key": "encrypted, and no key is given for this account",
    "key_length": "the key given has no length that AES takes",
    "needs_extra": "encrypted, and the extra dc09 is not installed",
    "wrong_key": "the data do not open with the key given, or carry no time",
}
# Why an encrypted body stayed closed: with a key it may be read yet.
SEALED = ("no_key", "key_length", "needs_extra", "wrong_key")
CHECK_IN_TOKENS = ("NULL", "XNM")

_CONTACT_ID = re.compile("([0-9])([0-9B-F]{3}) ([0-9B-F]{2}) ([0-9B-F]{3})")
_ACCOUNT_PART = re.compile("(#?)([0-9A-Fa-f]{0,16})[|]")


class CheckIn(NamedTuple):
    """The path is alive: ``NULL``, or ``XNM`` of later editions. Needs no key to be seen."""

    token: str


class NotCarried(NamedTuple):
    """A token whose content is not read here: a reply (ACK, NAK, DUH, RSP) or an older event format."""

    token: str


Body = ContactIdMessage | SiaBlock | CheckIn | NotCarried | Refusal


def read_body(token: str, data: str, unread: Refusal | None) -> tuple[Body, tuple[str, ...]]:
    """Body and tolerated oddities. ``data``: text between the brackets; ``unread``: why they stayed sealed."""
    if token in CHECK_IN_TOKENS:
        return CheckIn(token), ()
    if token not in ("ADM-CID", "SIA-DCS"):
        return NotCarried(token), ()
    if unread:
        return unread, ()
    if not data:
        return Refusal("empty", "the data hold no event"), ()
    if token == "ADM-CID":
        return _read_contact_id(data)
    block = sia.read_block(data)
    return block, block.tolerated if isinstance(block, SiaBlock) else ()


def _read_contact_id(data: str) -> tuple[Body, tuple[str, ...]]:
    account, odd, event = "", "data_account_missing", data
    if part := _ACCOUNT_PART.match(data):
        account, event = part[2].upper(), data[part.end() :]
        if account:
            odd = "" if part[1] else "data_account_without_hash"
    found = _CONTACT_ID.fullmatch(event)
    if not found:
        return Refusal("contact_id_shape", f"{event[:40]!r} is not `QXYZ GG CCC`"), ()
    qualifier, code, partition, zone = found.groups()
    if qualifier not in QUALIFIERS:
        return Refusal("contact_id_qualifier", f"qualifier {qualifier} is none of 1, 3, 6"), ()
    message = ContactIdMessage(
        account=account,
        message_type="",  # DC-09 sends neither message type nor checksum
        qualifier=QUALIFIERS[qualifier],
        code=code,
        partition=partition.lstrip("0") or "0",
        zone=zone,
    )
    return message, (odd,) if odd else ()
