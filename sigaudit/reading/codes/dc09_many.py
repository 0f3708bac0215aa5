"""Plain DC-09 frames by the batch: the ordinary ones of a log, read column by column.

What is read here is exactly to the rule: printed CRC and length, a clear ``ADM-CID`` with one event, a clear
``SIA-DCS`` (whose blocks are the caller's to read) or a ``NULL`` without data, no extended data, nothing tolerated.
Every other frame is left to ``dc09.read_frame``, and what is read here reads the same there (a test holds the two
together).
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from sigaudit.reading.codes.dc09_envelope import two_byte_table

__all__ = ["Plain", "read_plain"]

_HEX = "[0-9A-F]"
_TEXT = r"[ -Z\\^-~]"  # printable ASCII but brackets
_TIME = (
    "(?:[01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9],"
    # Days that each month has in every year; the others are read one by one.
    "(?:(?:0[13578]|1[02])-(?:0[1-9]|[12][0-9]|3[01])|(?:0[469]|11)-(?:0[1-9]|[12][0-9]|30)|02-(?:0[1-9]|1[0-9]|2[0-8]))"
    "-(?:19|2[0-9])[0-9]{2}"
)
_FRAME = (
    rf'\A(?P<crc>{_HEX}{{4}})0(?P<length>{_HEX}{{3}})(?P<region>"(?P<token>ADM-CID|SIA-DCS|NULL)"(?P<sequence>[0-9]{{4}})'
    rf"(?:R(?P<receiver>{_HEX}{{1,6}}))?L(?P<prefix>{_HEX}{{1,6}})#(?P<account>{_HEX}{{3,16}})"
    rf"\[(?P<data>{_TEXT}*)\](?:_(?P<time>{_TIME}))?)\z"
)
_CONTACT_ID = rf"\A#{_HEX}{{3,16}}[|][136][0-9B-F]{{3}} [0-9B-F]{{2}} [0-9B-F]{{3}}\z"


class Plain(NamedTuple):
    """read: which messages are plain frames. The columns are '' where they are not.

    blocks: those of event blocks; account: of the header; data_account: of the data; event: qualifier digit and
    code as sent. The last and partition and zone are '' for check-ins and blocks.
    """

    read: NDArray[np.bool_]
    blocks: NDArray[np.bool_]
    token: pa.Array
    sequence: pa.Array
    receiver: pa.Array
    prefix: pa.Array
    account: pa.Array
    data: pa.Array
    data_account: pa.Array
    event: pa.Array
    partition: pa.Array
    zone: pa.Array
    time: pa.Array


def read_plain(messages: pa.Array) -> Plain:
    """The plain frames among messages (text without LF and CR)."""
    found = pc.extract_regex(messages, pattern=_FRAME)
    names = [found.type.field(i).name for i in range(found.type.num_fields)]
    parts = {name: found.field(i) for i, name in enumerate(names)}
    is_check_in = pc.equal(parts["token"], "NULL")
    contact_id = pc.match_substring_regex(parts["data"], _CONTACT_ID)
    # An event without data, a check-in with some, an unnumbered event, a numbered check-in are no plain frames.
    fits = pc.and_(
        pc.equal(is_check_in, pc.equal(parts["data"], "")), pc.equal(is_check_in, pc.equal(parts["sequence"], "0000"))
    )
    fits = pc.and_(fits, pc.or_(contact_id, pc.not_equal(parts["token"], "ADM-CID")))
    read = pc.and_(pc.is_valid(found), fits).to_numpy(zero_copy_only=False).astype(bool)
    at = np.flatnonzero(read)
    chosen = pa.array(at)
    regions = parts["region"].take(chosen)
    whole = _numbers(parts["length"].take(chosen), 3) == pc.binary_length(regions).to_numpy(zero_copy_only=False)
    whole &= _numbers(parts["crc"].take(chosen), 4) == _checks(regions)
    read[at[~whole]] = False
    valid = pa.array(read)

    def column(values: pa.Array) -> pa.Array:
        return pc.if_else(valid, values, "")

    token, data = column(parts["token"]), column(parts["data"])
    blocks = pc.equal(token, "SIA-DCS")
    event = pc.if_else(blocks, "", data)
    partition = pc.utf8_ltrim(pc.utf8_slice_codeunits(event, -6, -4), "0")
    partition = pc.if_else(pc.and_(pc.equal(partition, ""), pc.not_equal(event, "")), "0", partition)
    return Plain(
        read,
        blocks.to_numpy(zero_copy_only=False).astype(bool),
        token,
        column(parts["sequence"]),
        column(parts["receiver"]),
        column(parts["prefix"]),
        column(parts["account"]),
        data,
        pc.utf8_slice_codeunits(event, 1, -12),
        pc.utf8_slice_codeunits(event, -11, -7),
        partition,
        pc.utf8_slice_codeunits(event, -3),
        column(parts["time"]),
    )


def _numbers(digits: pa.Array, width: int) -> NDArray[np.int64]:
    """Numbers written with ``width`` hexadecimal digits each."""
    if not len(digits):
        return np.zeros(0, dtype=np.int64)
    letters = _letters(digits).reshape(-1, width).astype(np.int64)
    values = np.where(letters >= 65, letters - 55, letters - 48)
    return values @ (16 ** np.arange(width - 1, -1, -1, dtype=np.int64))


def _letters(texts: pa.Array) -> NDArray[np.uint8]:
    """The bytes of all texts, one after another."""
    texts = pa.concat_arrays([texts])
    offsets = np.frombuffer(texts.buffers()[1], np.int32)[: len(texts) + 1]
    return np.frombuffer(texts.buffers()[2], np.uint8)[offsets[0] : offsets[-1]]


def _checks(regions: pa.Array) -> NDArray[np.int64]:
    """CRC of each region, two bytes of all of them at a time; leading zero bytes leave the start value 0 alone."""
    if not len(regions):
        return np.zeros(0, dtype=np.int64)
    letters = _letters(regions)
    lengths = pc.binary_length(regions).to_numpy(zero_copy_only=False)
    width = int(lengths.max())
    width += width % 2
    rows = np.zeros((len(lengths), width), dtype=np.uint8)
    rows[np.arange(width) >= (width - lengths)[:, None]] = letters
    pairs = np.ascontiguousarray(rows.view("<u2").T)
    table = _table()
    crc = np.zeros(len(lengths), dtype=np.uint16)
    for pair in pairs:
        crc = table[crc ^ pair]
    return crc.astype(np.int64)


@cache
def _table() -> NDArray[np.uint16]:
    return np.array(two_byte_table(), dtype=np.uint16)
