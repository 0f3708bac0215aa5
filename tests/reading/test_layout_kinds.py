"""Layouts of messages, event blocks, several patterns and records of several lines; and what columns may have.

Outside source of the messages: ``data/contact_id_examples.jsonl``, each with its own. The logs are invented.
"""

# ruff: noqa: E501 (a pattern is one line)
from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sigaudit.errors import LayoutFaulty, LayoutUnknown
from sigaudit.reading import layout_files
from sigaudit.reading.ingest import Sum
from tests.reading.small_station import Station

EXAMPLES = [
    json.loads(line)
    for line in (Path(__file__).parent / "data" / "contact_id_examples.jsonl").read_text(encoding="utf-8").splitlines()
]
MESSAGES = r"""
id = "messages"
kind = "contact_id"
[pattern]
line = '(?P<received_at>\S+ \S+) R(?P<receiver>\d) (?P<message>.*)'
[time]
timezone = "UTC"
"""
BLOCKS = r"""
id = "blocks"
kind = "pattern"
[pattern]
line = '(?P<received_at>\S+ \S+) (?P<event>.*)'
[event]
style = "sia_blocks"
[time]
timezone = "UTC"
"""
SHEETS = r"""
id = "slips"
kind = "pattern"
[text]
ignore = ['^PAGE \d+$']
[pattern]
begins = '^SLIP '
most_lines = 4
line = '(?s)SLIP (?P<received_at>\S+ \S+)\nACCT (?P<account>\w+)\n(?P<event>[ERP]\d{3})(?: Z(?P<zone>\d+))?(?:\nNOTE (?P<text>[^\n]*))?'
[time]
timezone = "UTC"
[[samples]]
line = "SLIP 2026-11-02 08:15:30\nACCT 0042\nE130 Z7"
gives = { account = "0042", code = "130", zone = "007" }
"""
SLIPS = [
    "SLIP 2026-11-02 08:15:30\nACCT 0042\nE130 Z7\n",
    "SLIP 2026-11-02 08:16:30\nACCT 0043\nE602\nNOTE by hand\n",
    "SLIP 2026-11-02 08:17:30\nPAGE 7\n\nACCT 0044\nR130 Z7\n",
]


def station(folder: Path, layout: str) -> Station:
    made = Station(folder)
    (made.receivers.layouts_dir / "own.toml").write_text(layout, encoding="utf-8")
    return made


def test_every_worked_message_is_read_or_refused(tmp_path: Path) -> None:
    own = station(tmp_path, MESSAGES)
    usable = [one for one in EXAMPLES if one["raw"].strip() and not set(one["raw"]) & set("\r\n")]
    assert len(usable) >= len(EXAMPLES) - 1
    lines = [f"2026-11-02 08:15:30 R1 {one['raw']}\n" for one in usable]
    result = own.take(("log.txt", "".join(lines).encode()), layout_id="messages")
    read = {row[0]: row[1:] for row in own.rows("select line_no, account, qualifier, code, partition, zone from t")}
    accepted = {n for n, one in enumerate(usable, start=1) if one["accept"]}
    assert set(read) == accepted
    for n in accepted:
        one = usable[n - 1]
        partition = one["group"].lstrip("0") or "0"
        letter = {"1": "E", "3": "R", "6": "P"}[one["qualifier"]]
        assert read[n] == (one["acct"], letter, one["raw"][7:10], partition, one["ccc"])
    reasons = set(own.rows("select distinct reason from t", "rejects"))
    assert reasons == {("message_unreadable",)}
    assert result.sum.rejects == len(usable) - len(accepted)


def test_blanks_between_the_parts_of_a_message(tmp_path: Path) -> None:
    own = station(tmp_path, MESSAGES)
    own.take(("log.txt", b"2026-11-02 08:15:30 R1 1234 18 1131 01 015 8\n"), layout_id="messages")
    # The first worked example of DC-05-1999.09, written apart.
    assert own.rows("select account, event_raw, code, zone from t") == [("1234", "1234181131010158", "131", "015")]


def test_event_blocks_behind_a_time(tmp_path: Path) -> None:
    own = station(tmp_path, BLOCKS)
    lines = ["#1234|Nri1/BA01/BR01", "NFA129", "garbled", "#1234|Nti08:14/RP0"]
    content = "".join(f"2026-11-02 08:15:3{i} {line}\n" for i, line in enumerate(lines)).encode()
    result = own.take(("log.txt", content), layout_id="blocks")
    assert own.rows("select line_no, part, account, event_raw, code, zone, panel_time from t order by all") == [
        (1, 0, "1234", "BA", "130", "001", ""), (1, 1, "1234", "BR", "130", "001", ""),
        (4, 0, "1234", "RP", "602", "000", "08:14"),
    ]  # fmt: skip
    # Without an account they would be taken for the receiver's own.
    assert own.rows("select line_no, reason from t order by all", "rejects") == [
        (2, "message_unreadable"), (3, "message_unreadable"),
    ]  # fmt: skip
    assert result.sum == Sum(lines=4, signals=2, rejects=2)


def test_the_first_pattern_that_matches_cuts_the_line(tmp_path: Path) -> None:
    layout = r"""
id = "two"
kind = "pattern"
[pattern]
line = [
    '(?P<received_at>\S+ \S+) (?P<account>\d{4}) (?P<event>[ERP]\d{3}) (?P<zone>\d+)',
    '(?P<zone>\d+)@(?P<account>\d{4}) (?P<received_at>\S+ \S+) (?P<event>\S+)(?: (?P<text>.*))?',
]
[time]
timezone = "UTC"
"""
    own = station(tmp_path, layout)
    content = b"2026-11-02 08:15:30 0042 E130 7\n9@0043 2026-11-02 08:15:31 R130 by hand\nneither\n"
    own.take(("log.txt", content), layout_id="two")
    assert own.rows("select account, received_utc, event_raw, zone, text from t order by line_no") == [
        ("0042", datetime(2026, 11, 2, 8, 15, 30), "E130", "007", ""),
        ("0043", datetime(2026, 11, 2, 8, 15, 31), "R130", "009", "by hand"),
    ]
    assert own.rows("select raw, reason from t", "rejects") == [("neither", "no_match")]


def test_records_of_several_lines(tmp_path: Path) -> None:
    own = station(tmp_path, SHEETS)
    content = "PAGE 1\n" + "".join(SLIPS)
    result = own.take(("log.txt", content.encode()))
    assert own.rows("select line_no, account, code, zone, text, raw from t order by line_no") == [
        (2, "0042", "130", "007", "", SLIPS[0].rstrip("\n")),
        (5, "0043", "602", "", "by hand", SLIPS[1].rstrip("\n")),
        (9, "0044", "130", "007", "", SLIPS[2].rstrip("\n")),
    ]
    assert result.sum == Sum(lines=4, signals=3, skipped=1)


@settings(max_examples=25)
@given(
    pieces=st.lists(
        st.one_of(
            st.sampled_from(SLIPS),
            st.text(st.characters(codec="utf-8", exclude_characters="\r\n"), max_size=12).map(lambda s: f"{s}\n"),
            st.sampled_from(
                ["SLIP torn\n", "ACCT 0042\n", "E130 Z7\n", "\n", "PAGE 9\n", "SLIP 2026-11-02 08:15:30\n"]
            ),
        ),
        max_size=12,
    ),
    ends=st.sampled_from(["\n", "\r\n"]),
)
def test_a_whole_slip_is_never_lost(tmp_path_factory: pytest.TempPathFactory, pieces: list[str], ends: str) -> None:
    own = station(tmp_path_factory.mktemp("slips"), SHEETS)
    content = "".join(["PAGE 1\n", *pieces, SLIPS[0]]).replace("\n", ends)
    result = own.take(("log.txt", content.encode()), layout_id="slips")
    # A slip of page breaks may take in a line that follows it, but none is missing.
    wanted = sum(piece in SLIPS for piece in pieces) + 1
    assert result.sum.signals + result.sum.repeats >= wanted


def test_slips_grow_like_lines(tmp_path: Path) -> None:
    content = ("PAGE 1\n" + "".join(SLIPS) + "junk\n" + SLIPS[1] + "NOTE late\n").encode()
    grown, whole = station(tmp_path / "grown", SHEETS), station(tmp_path / "whole", SHEETS)
    for end in [*range(20, len(content), 13), len(content)]:
        grown.take(("log.txt", content[:end]), layout_id="slips")
    whole.take(("log.txt", content), layout_id="slips")
    assert grown.signals() == whole.signals()
    assert grown.rejects() == whole.rejects()
    assert grown.origins() == whole.origins()


DELIMITED = r"""
id = "own"
[recognise]
header = ["when", "acct", "ev"]
header_within = 5
[text]
ignore = ['^Printed by ']
[time]
column = "when"
timezone = "UTC"
[fields]
account = "acct"
event = "ev"
[account]
width = 4
"""


def test_titles_above_the_header_footers_and_short_numbers(tmp_path: Path) -> None:
    own = station(tmp_path, DELIMITED)
    content = (
        "Weekly activity\n\nwhen,acct,ev\n2026-11-02 08:15:30,42,E130\n2026-11-02 08:15:31,B043,E130,,\n"
        "when,acct,ev\nPrinted by somebody\n2026-11-02 08:15:32,,E301\n2026-11-02 08:15:33,44,E130,,x\n"
    )
    result = own.take(("log.csv", content.encode()))
    assert own.rows("select account, line_no from t order by line_no") == [("0042", 4), ("B043", 5), ("", 8)]
    assert own.rows("select line_no, reason from t", "rejects") == [(9, "too_many_fields")]
    assert result.sum == Sum(lines=9, signals=3, rejects=1, skipped=5)


def test_a_header_too_far_down_does_not_fit(tmp_path: Path) -> None:
    own = station(tmp_path, DELIMITED)
    with pytest.raises(LayoutUnknown, match="the header has no column"):
        own.take(("log.csv", b"x,y\n" * 9 + b"when,acct,ev\n2026-11-02 08:15:30,42,E130\n"))


@pytest.mark.parametrize(
    ("layout", "changed", "said"),
    [
        (SHEETS, ("begins = '^SLIP '\n", ""), "pattern.most_lines: expected pattern.begins with it"),
        (SHEETS, ("most_lines = 4", "most_lines = 400"), "pattern.most_lines: expected a number up to 20"),
        (SHEETS, ("'^SLIP '", "'(?=S)'"), "pattern.begins: is no pattern"),
        (BLOCKS, ("line = '", "begins = 'x'\nline = '"), "pattern.begins: event blocks are read from single lines"),
        (MESSAGES, ("<message>", "<event>"), "pattern.line: expected a group message"),
        (DELIMITED, ("width = 4", "width = -1"), "account.width: expected a whole number from 0 on"),
        (DELIMITED, ("header_within = 5", "header_within = 0"), "recognise.header_within: expected a whole number"),
        (DELIMITED, ("[account]", '[event]\nstyle = "sia_blocks"\n[account]'), "event.style: event blocks are read by"),
        (DELIMITED, ("[account]", '[sheet]\nname = "x"\n[account]'), 'sheet.name: is for layouts of the kind "sheet"'),
    ],
)
def test_faulty_layouts_are_one_sentence(tmp_path: Path, layout: str, changed: tuple[str, str], said: str) -> None:
    path = tmp_path / "own.toml"
    assert changed[0] in layout
    path.write_text(layout.replace(*changed), encoding="utf-8")
    with pytest.raises(LayoutFaulty) as caught:
        layout_files.read(path)
    assert said in caught.value.message
