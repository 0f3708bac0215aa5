"""What layouts make of events: a station's own words, whole messages, two-letter codes, accounts with a prefix."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sigaudit.errors import LayoutFaulty
from sigaudit.reading import layout_files
from sigaudit.reading.codes.contact_id import ContactIdMessage, checksum_digit, read_message
from sigaudit.reading.event_columns import message_sql
from sigaudit.reading.ingest import Sum
from sigaudit.store import engine_duckdb as engine
from tests.reading.small_station import Station

TIME = "2026-11-02T08:15:30"
DELIMITED = """
id = "own"
[recognise]
header = ["at", "ev"]
[text]
delimiter = ";"
[time]
column = "at"
timezone = "UTC"
[fields]
event = "ev"
account = "acct"
zone = "point"
"""
PATTERN = r"""
id = "own"
kind = "pattern"
[pattern]
line = '(?P<received_at>\S+) (?P<event>[^;]*)(?:; (?P<area>\d*)-(?P<account>\d*))?'
[time]
timezone = "UTC"
[account]
prefix = "area"
"""
MESSAGES = DELIMITED.replace('account = "acct"\nzone = "point"', '[event]\nstyle = "contact_id"')


@pytest.fixture
def station(tmp_path: Path) -> Station:
    return Station(tmp_path)


def taken(station: Station, layout: str, content: str) -> Sum:
    (station.receivers.layouts_dir / "own.toml").write_text(layout, encoding="utf-8", newline="\n")
    return station.take(("a.log", content.encode()), layout_id="own").sum


WORDS = """
[event.words]
"HOLD UP" = "E120"
"it's off; x" = "R401"
"E602" = "P602"
"""


def test_own_words_stand_for_events_and_unknown_ones_stay_as_written(station):
    lines = ["HOLD UP", "it's off; x", "E602", "E130", "hold up", "CAT"]
    taken(station, DELIMITED.replace('";"', '"|"') + WORDS, "at|ev|acct\n" + "".join(f"{TIME}|{x}|1\n" for x in lines))
    assert set(station.signals(["event_raw", "qualifier", "code"])) == {
        ("CAT", "", ""), ("E130", "E", "130"), ("E602", "P", "602"), ("HOLD UP", "E", "120"), ("hold up", "", ""),
        ("it's off; x", "R", "401"),
    }  # fmt: skip


def test_own_words_for_the_code_alone(station):
    layout = DELIMITED.replace('account = "acct"\n', "").replace(
        'event = "ev"', 'code = "ev"\nqualifier = "what"'
    ) + WORDS.replace("E120", "120")
    lines = ["3;HOLD UP", "1;HOLD UP", "?;HOLD UP", "1;E602", "1;130"]
    taken(station, layout, "at;what;ev\n" + "".join(f"{TIME};{x}\n" for x in lines))
    assert station.signals(["event_raw", "qualifier", "code"]) == [
        ("1130", "E", "130"), ("1E602", "P", "602"), ("1HOLD UP", "E", "120"), ("3HOLD UP", "R", "120"),
        ("?HOLD UP", "", ""),
    ]  # fmt: skip


def test_an_account_has_its_prefix_unless_there_is_none(station):
    lines = [f"{TIME} E130; 12-0042", f"{TIME} E131; -0042", f"{TIME} E132; 12-", f"{TIME} E133"]
    taken(station, PATTERN, "\n".join(lines))
    assert station.signals(["code", "account", "account_key", "origin"]) == [
        ("130", "120042", "main/120042", ""), ("131", "0042", "main/0042", ""),
        ("132", "", "main/", "receiver"), ("133", "", "main/", "receiver"),
    ]  # fmt: skip


def test_a_constant_prefix(station):
    taken(station, DELIMITED + '[account]\nprefix = { constant = "7-" }\n', f"at;ev;acct\n{TIME};E130;42\n{TIME};E602;")
    assert station.signals(["code", "account"]) == [("130", "7-42"), ("602", "")]


def test_whole_messages_give_account_event_partition_and_zone(station):
    """1234 18 1 131 01 015 8: worked example of DC-05-1999.09. The next: its sum by hand is 120, with 0 as ten."""
    lines = ["1234181131010158", "BCDE183401000012", "1234181131010159", "E130", ""]
    assert sum({"0": 10}.get(c) or int(c, 16) for c in lines[1]) % 15 == 0
    result = taken(station, MESSAGES, "at;ev\n" + "".join(f"{TIME};{x}\n" for x in lines))
    assert result == Sum(lines=6, signals=2, repeats=0, rejects=3, skipped=1)
    names = ["account", "qualifier", "code", "partition", "zone", "event_raw", "format"]
    assert station.signals(names) == [
        ("1234", "E", "131", "1", "015", "1234181131010158", "contact_id"),
        ("BCDE", "R", "401", "0", "001", "BCDE183401000012", "contact_id"),
    ]
    assert station.rows("select line_no, reason from t order by 1", "rejects") == [
        (4, "message_unreadable"), (5, "message_unreadable"), (6, "event_missing"),
    ]  # fmt: skip


def test_a_damaged_message_beside_its_account_stays_an_event_of_no_class(station):
    layout = MESSAGES.replace("[event]", 'account = "acct"\n[event]')
    lines = ["1234181131010159;0042", "1234181131010159;", "1234181131010158;", "1234181131010158;0042", "LINK DOWN;"]
    result = taken(station, layout, "at;ev;acct\n" + "".join(f"{TIME};{x}\n" for x in lines))
    assert result == Sum(lines=6, signals=4, repeats=0, rejects=1, skipped=1)
    assert station.signals(["event_raw", "account", "qualifier", "code", "zone", "origin"]) == [
        ("1234181131010158", "0042", "E", "131", "015", ""),
        ("1234181131010158", "1234", "E", "131", "015", ""),
        ("1234181131010159", "0042", "", "", "", ""),
        ("LINK DOWN", "", "", "", "", "receiver"),
    ]


digits = st.sampled_from("0123456789BCDEF")
composed = st.builds(
    lambda account, kind, rest: account + kind + rest,
    st.text(digits, min_size=4, max_size=4),
    st.sampled_from(["18", "98", "58"]),
    st.text(digits, min_size=9, max_size=9),
).map(lambda body: body + checksum_digit(body))
damaged = st.tuples(composed, st.integers(0, 15), st.characters(codec="utf-8")).map(
    lambda given: given[0][: given[1]] + given[2] + given[0][given[1] + 1 :]
)


@settings(max_examples=30, deadline=None)
@given(st.lists(composed | damaged | st.text(max_size=18), min_size=1, max_size=40))
def test_the_engine_accepts_the_messages_that_the_parser_accepts(texts):
    con = engine.connect(threads=1)
    found = engine.rows(con, f"select {message_sql('x')} from (select unnest(?) as x)", [texts])
    con.close()
    assert [row[0] for row in found] == [x if isinstance(read_message(x), ContactIdMessage) else "" for x in texts]


@pytest.mark.parametrize(
    ("event", "qualifier", "code"),
    # BA, BR, OP, CL, RP: their meanings in the published event-block code table. AA has no nearest event; QQ is none.
    [("BA", "E", "130"), ("BR", "R", "130"), ("OP", "E", "401"), ("CL", "R", "401"), ("RP", "E", "602"),
     ("ba", "E", "130"), ("AA", "", ""), ("QQ", "", ""), ("BA1", "", ""), ("E130", "", "")],
)  # fmt: skip
def test_two_letter_codes_have_their_nearest_event(station, event, qualifier, code):
    taken(station, DELIMITED + '[event]\nstyle = "sia"\n', f"at;ev;acct\n{TIME};{event};0042\n")
    assert station.signals(["event_raw", "qualifier", "code", "format"]) == [(event, qualifier, code, "sia")]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('[event.words]\n"x" = "E1"', r"own.toml, line \d+: event.words: 'x' stands for 'E1': expected \"E130\""),
        ('[event.words]\n"x" = 130', r"event.words: 'x' stands for 130"),
        ('[event.words]\n" x" = "E130"', r"' x' never stands in a log"),
        ('[event]\nwords = "x"', r"event.words: expected a table"),
        ("[account]\nprefix = 0", r"account.prefix: expected a column name"),
        ("[account]\nprefx = 3", r"account.prefx: no such key, perhaps prefix"),
    ],
)
def test_faults_are_one_sentence(tmp_path, more, words):
    path = tmp_path / "own.toml"
    path.write_text(DELIMITED + more, encoding="utf-8", newline="\n")
    with pytest.raises(LayoutFaulty, match=words):
        layout_files.read(path)
