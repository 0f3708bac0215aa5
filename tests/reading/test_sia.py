"""Event blocks and the table of two-letter events against the standard's tables and independent readers.

Outside sources: DC-03-2017 as transcribed in the open-source package siadc09 1.0.1, the code and mapping
tables of the open-source package pysiaalarm 3.2.2, and the blocks inside the DC-09 example frames (each
line there names its source). Where a package is wrong, the check says so.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from sigaudit.reading.codes import code_table, sia, sia_table
from sigaudit.reading.codes.contact_id import Refusal
from sigaudit.reading.codes.sia import SiaBlock, SiaEvent, canonical, closes, read_block
from sigaudit.store import shipped

EXAMPLES = [
    json.loads(line)
    for line in (Path(__file__).parent / "data" / "dc09_examples.jsonl").read_text(encoding="utf-8").splitlines()
]
# Also the frames whose CRC or length is wrong on purpose: what stands in their data was written by real senders.
WITH_BLOCKS = [e for e in EXAMPLES if "blocks" in (e.get("decoded") or {})]


def blocks_of(text: str) -> SiaBlock:
    answer = read_block(text)
    assert isinstance(answer, SiaBlock), answer
    return answer


def only_event(text: str) -> SiaEvent:
    (event,) = blocks_of(text).events
    return event


@pytest.mark.parametrize("example", WITH_BLOCKS, ids=lambda e: f"{e['id']}-{e['known']}")
def test_every_block_of_the_examples(example: dict[str, Any]) -> None:
    block = blocks_of(example["data"])
    decoded = example["decoded"]
    assert block.account == (decoded.get("data_account") or "")
    wanted = [
        (part["block"], event["code"], event["address"] or "", event.get("tail", ""), part["modifiers"])
        for part in decoded["blocks"]
        if part["block"] in "NO"
        for event in part["events"]
    ]
    # The example file keeps a ^text^ as it stands, carets and all.
    found = [(e.block, e.code, e.address, f"^{e.text}^" if e.text else e.tail, dict(e.modifiers)) for e in block.events]
    assert found == wanted
    assert list(block.texts) == [part["text"] for part in decoded["blocks"] if part["block"] == "A"]


def test_examples_are_all_there() -> None:
    assert len(EXAMPLES) == 80
    assert len(WITH_BLOCKS) == 23


def siadc09_events(text: str) -> list[tuple[str, str, int | None, dict[str, Any]]]:
    siadcs = pytest.importorskip("siadc09.siadcs")
    return [
        (block.functioncode, e.code, e.addr, {name: m.value for name, m in e.modifiers.items()})
        for block in siadcs.parse_siadcs(text.encode("ascii")).blocks
        if isinstance(block, siadcs.DcsInfo)
        for e in block.events
    ]


@pytest.mark.parametrize("example", WITH_BLOCKS, ids=lambda e: e["id"])
def test_events_agree_with_an_independent_reader(example: dict[str, Any]) -> None:
    theirs, block = siadc09_events(example["data"]), blocks_of(example["data"])
    if example["id"] in ("dcs-nl", "bad-len-1"):
        # Wrong there: one code the standard does not have (XC, JC) and the whole block is dropped.
        assert theirs == [] and not block.events[0].known
        return
    if example["id"] == "bad-crc-2":
        # Wrong there: the letters left over in OP001NM become a second event NM.
        assert [e[1] for e in theirs] == ["OP", "NM"]
        theirs = theirs[:1]
    assert [each[:3] for each in theirs] == [
        (e.block, e.code, int(e.address, 16) if e.address else None) for e in block.events
    ]
    for event, (_, _, _, modifiers) in zip(block.events, theirs, strict=True):
        assert {name for name, _ in event.modifiers} == set(modifiers)
        assert event.partition == str(modifiers.get("ri", ""))


def test_a_modifier_holds_for_the_packets_after_it_and_for_its_block_only() -> None:
    # siadc09 parse_info: "Modifiers apply only to subsequent events"; that a block starts afresh: from memory.
    block = blocks_of("#1234|NBA1/ri2/ti23:59/BA2/ri3/BR2|ORP")
    assert [(e.code, e.partition, e.modifier("ti")) for e in block.events] == [
        ("BA", "", ""),
        ("BA", "2", "23:59"),
        ("BR", "3", "23:59"),
        ("RP", "", ""),
    ]
    assert [e.block for e in block.events] == ["N", "N", "N", "O"]


def test_value_text_and_other_blocks() -> None:
    # Packet form CCAAAA*UUUUuu^DESCR^ : DC-03-2017 5.2.1.1 as transcribed in siadc09 (scan_info).
    block = blocks_of("#00AB|Nri01/KS12*23.5CT^Boiler | room/2^/BA0013|AHello|X12|Q9")
    first, second = block.events
    assert (block.account, first.address, first.value, first.text) == ("00AB", "12", "23.5CT", "Boiler | room/2")
    assert (first.zone, second.zone, first.partition) == ("012", "013", "1")
    assert (block.texts, block.others, block.unread) == (("Hello",), (("X", "12"),), ("Q9",))
    assert block.tolerated == ("block_unread",)


@pytest.mark.parametrize(
    ("text", "partition", "zone"),
    [
        ("#1|NNL2", "2", ""),  # address is the area
        ("#1|Nri0/RP0000", "0", "000"),
        ("#1|Nid7/ri1/CL", "1", "007"),  # the user stands in the modifier
        ("#1|Nid7/ri1/CL3", "1", "003"),
        ("#1|NBA1234", "", "1234"),
        ("#1|NBB1-8", "", "1-8"),
        ("#1|NAT", "", ""),
    ],
)
def test_partition_and_zone(text: str, partition: str, zone: str) -> None:
    event = only_event(text)
    assert (event.partition, event.zone) == (partition, zone)


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("NBA5", ("data_account_missing",)),
        ("|NBA5", ("data_account_missing",)),
        ("1234|NBA5", ("data_account_without_hash",)),
        ("#1|Nri1BA5", ("no_separator",)),
        ("#1|NBA5^Hall", ("text_not_closed",)),
        ("#1|Nri1^Hall/BA5", ("text_not_closed",)),
        ("#1|NidAB12/BA5", ("odd_modifier",)),
        ("#1|NBA5xyz", ("tail",)),
        ("#1|Z/|NBA5", ("block_unread",)),
        ("#1|N??/BA5", ("packet_unread",)),
        ("#12G4|NBA5", ("data_account_missing", "block_unread")),
    ],
)
def test_what_is_tolerated_is_named_and_loses_no_event(text: str, names: tuple[str, ...]) -> None:
    block = blocks_of(text)
    assert block.tolerated == names
    assert [(e.code, e.address) for e in block.events] == [("BA", "5")]
    assert set(names) <= set(sia.TOLERATED)


def test_accounts_are_upper_case() -> None:
    assert blocks_of("#12ab|NBA5").account == blocks_of("12ab|NBA5").account == "12AB"


def test_a_text_left_open_swallows_no_event() -> None:
    block = blocks_of("#1|NBA5^a|b^/BA6^open|Awords")
    assert [(e.code, e.text) for e in block.events] == [("BA", "a|b"), ("BA", "open")]
    assert block.texts == ("words",)
    assert [e.code for e in blocks_of("#1|NBA5^Hall/FA6|Nri1/HA7").events] == ["BA", "FA", "HA"]


@pytest.mark.parametrize(
    ("text", "reason"),
    [("", "empty"), ("#1234|", "empty"), ("#1234|Nri1", "empty"), ("#1234|q", "block"), ("#1234|N5", "packet")],
)
def test_refused(text: str, reason: str) -> None:
    answer = read_block(text)
    assert isinstance(answer, Refusal)
    assert answer.reason == reason
    assert reason in sia.REASONS


def test_an_unknown_code_is_kept_and_has_no_meaning() -> None:
    event = only_event("#1|NXC12")  # a manufacturer's own code, not in DC-03
    assert (event.known, event.address_kind, event.address) == (False, "", "12")
    assert canonical(event) == ("", "", "")
    assert closes("XC") == ()


def test_codes_and_addresses_are_those_of_the_standard() -> None:
    dc03 = pytest.importorskip("siadc09.dc03")
    theirs = {code: (row["addr"] or "none").lower() for code, row in dc03.EVENT.items()}
    ours = {code: row.address_kind for code, row in sia_table.load().items()}
    # siadc09 has these two the other way round than the published table and two other lists.
    assert (theirs.pop("CG"), theirs.pop("CJ")) == ("user", "area")
    assert (ours.pop("CG"), ours.pop("CJ")) == ("area", "user")
    assert ours == theirs
    assert len(ours) == 303


def test_codes_left_out_are_manufacturers_own() -> None:
    codes = pytest.importorskip("pysiaalarm.data.sia_codes").SIA_CODES
    extensions = "AF CB CC JC NB ND NE NO NP OB PC PD PE PF PG PO SM XC ZY ZZ"  # not in DC-03-2017
    assert set(codes) - set(sia_table.load()) == set(extensions.split())
    assert set(sia_table.load()) <= set(codes)


def test_mappings_called_seen_are_in_the_independent_table() -> None:
    mapping = pytest.importorskip("pysiaalarm.data.adm_mapping").ADM_MAPPING
    seen = [row for row in sia_table.load().values() if row.mapping_known == "seen"]
    assert len(seen) == 73
    for row in seen:
        assert mapping[row.cid_code][{"E": "1", "R": "3"}[row.cid_qualifier]] == row.code
    # Not taken over from there: 113 as water, 344 as communication, 441 and 456 as closing whatever the qualifier.
    assert mapping["113"]["1"] == "WA" and sia_table.canonical("WA").code == "154"
    assert mapping["344"]["1"] == "YC" and sia_table.canonical("YC").code == "350"


def test_every_mapping_is_a_contact_id_code_and_says_how_sure_it_is() -> None:
    known = code_table.load()
    for row in sia_table.load().values():
        assert (row.cid_qualifier in ("E", "R")) == bool(row.cid_code) == (row.mapping_known in ("seen", "memory"))
        assert not row.cid_code or row.cid_code in known
        assert row.known == "seen" and row.source


@pytest.mark.parametrize(
    ("code", "qualifier", "contact_id", "known"),
    [
        ("BA", "E", "130", "seen"),
        ("CL", "R", "401", "seen"),  # closing is a restore in Contact ID
        ("OP", "E", "401", "seen"),
        ("RP", "E", "602", "seen"),
        ("AR", "R", "301", "seen"),
        ("TT", "E", "383", "memory"),
        ("BE", "R", "", ""),  # restores BD, has no Contact ID code
        ("TX", "E", "", ""),  # says no kind of test
    ],
)
def test_canonical(code: str, qualifier: str, contact_id: str, known: str) -> None:
    assert canonical(only_event(f"#1|N{code}1")) == (qualifier, contact_id, known)


@pytest.mark.parametrize(
    ("restore", "ends"),
    [
        # Pairing inferred from the names of the codes in DC-03: xA by xH or xR, xT by xJ or xR, xB by xU.
        ("BR", ("BA", "BS", "BT")),
        ("BH", ("BA",)),
        ("BJ", ("BT",)),
        ("FR", ("FA", "FS", "FT")),
        ("HR", ("HA", "HS", "HT")),
        ("BU", ("BB",)),
        ("AR", ("AT",)),
        ("YR", ("YM", "YT")),
        ("YK", ("YC", "YS")),
        ("TR", ("TA", "TT")),
        ("BA", ()),
    ],
)
def test_one_restore_may_end_two_conditions(restore: str, ends: tuple[str, ...]) -> None:
    assert closes(restore) == ends


def test_restores_and_restored_by_say_the_same() -> None:
    table = sia_table.load()
    forward = {(restore, row.code) for row in table.values() for restore in row.restored_by}
    backward = {(row.code, ended) for row in table.values() for ended in row.restores}
    assert forward == backward
    assert {code for pair in forward for code in pair} <= set(table)
    assert all("restor" in table[r].meaning.lower() for r, _ in forward if r[1] in "RHJ" and r[0] in "BFGHKMPQSUWZ")


def test_the_file_is_whole_and_in_order() -> None:
    path = shipped.data() / sia_table.FILE
    assert b"\r" not in path.read_bytes()
    with path.open(encoding="utf-8", newline="") as table:
        rows = list(csv.DictReader(table))
    assert [row["code"] for row in rows] == sorted({row["code"] for row in rows})
    assert len(rows) == len(sia_table.load()) == 305
    assert {row["data_kind"] for row in rows} == {"zone", "user", "none"}
