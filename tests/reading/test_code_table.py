"""The table of Contact ID codes against lists that stand outside of it.

Which codes restore: a Contact ID reporting list rev. 10/1/2012, which marks where a restore does not
apply (seen). Codes 103, 129, 317, 358, 394, 554, 555 are not in it: inferred from their neighbours.
"""

from __future__ import annotations

import csv

import pytest

from sigaudit.reading.codes import code_table
from sigaudit.store import shipped

RESTORABLE = (
    "100-125 129-139 140-147 150-169 200-206 300-302 307-312 314 316 317 320-327 330-344 350-358 370-377"
    " 380-394 414 415 423 426-428 431-434 501 520-527 551-555 570-579 604 607 616 626 641 654"
)
PAIRS = "400-403 407 409 441 442 450-452 456"
REPORT_ONLY = (
    "303-306 313 378 405 411-413 416 421 422 424 425 429 430 453-455 459 461-465 531 532 601-603 606 608 609"
    " 611-615 621-625 627 628 630-632 642 900"
)


def _codes(ranges: str) -> set[str]:
    found = set()
    for part in ranges.split():
        first, _, last = part.partition("-")
        found |= {str(code) for code in range(int(first), int(last or first) + 1)}
    return found


def test_restorable_codes_are_those_of_the_published_list() -> None:
    table = code_table.load()
    assert {c for c, row in table.items() if row.restorable == "yes"} == _codes(RESTORABLE) & table.keys()
    assert {c for c, row in table.items() if row.restorable == "pair"} == _codes(PAIRS)
    assert all(table[code].restorable == "no" for code in _codes(REPORT_ONLY) & table.keys())


def test_kinds_of_test() -> None:
    kinds = {c: row.test_kind for c, row in code_table.load().items() if row.test_kind}
    # DC-05: 601 manual, 602 periodic, 603 periodic RF, 608 periodic with trouble, 604 and 607 begin and end.
    assert kinds == {
        "601": "manual",
        "602": "periodic",
        "603": "periodic",
        "604": "mode",
        "607": "mode",
        "608": "periodic",
    }


def test_sisters_share_family_group_and_restore_rule() -> None:
    table = code_table.load()
    sisters = {c: row.family for c, row in table.items() if row.family != c}
    # 331-333 and 317 stated in DC-05-2016 (seen in a copy); 341, 381, 383 inferred.
    assert sisters == {
        "317": "137",
        "331": "141",
        "332": "142",
        "333": "143",
        "341": "145",
        "381": "147",
        "383": "144",
    }
    for code, family in sisters.items():
        assert table[code].code_group == table[family].code_group
        assert table[code].restorable == table[family].restorable == "yes"


@pytest.mark.parametrize(
    ("code", "group"),
    [
        ("100", "alarm_medical"),
        ("110", "alarm_fire"),
        ("118", "alarm_fire"),
        ("121", "alarm_holdup"),
        ("130", "alarm_burglary"),
        ("162", "alarm_other"),
        ("200", "supervisory"),
        ("301", "power"),
        ("305", "programming"),
        ("351", "path"),
        ("373", "trouble"),
        ("381", "supervision"),
        ("383", "tamper"),
        ("401", "open_close"),
        ("570", "bypass"),
        ("602", "test"),
        ("628", "programming"),
        ("750", "other"),
    ],
)
def test_groups(code: str, group: str) -> None:
    # Grouping is ours; the meaning of each code is that of DC-05-2016 App. C.
    assert code_table.load()[code].code_group == group


def test_the_file_is_whole_and_in_order() -> None:
    path = shipped.data() / code_table.FILE
    assert b"\r" not in path.read_bytes()
    with path.open(encoding="utf-8", newline="") as table:
        rows = list(csv.DictReader(table))
    assert [row["code"] for row in rows] == sorted({row["code"] for row in rows})
    assert list(code_table.load()) == [row["code"] for row in rows]
    assert all(row["source"] and row["known"] == "seen" for row in rows)
    assert {row["data_kind"] for row in rows} == {"zone", "user", "none"}
    assert {row["edition_hint"] for row in rows} == {"1999.09-style", "later"}
