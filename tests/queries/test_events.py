"""Events: what is one event though it was told twice, and what is two though it looks alike.

Sources beside each test. The tables are made by hand; the query is the shipped one.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from sigaudit.store.shipped import query
from tests.queries.made_signals import NOON, events, signal


def resends(*rows: dict[str, Any]) -> list[bool]:
    return [row["is_resend"] for row in events(rows)]


def copies(*rows: dict[str, Any]) -> list[str]:
    return [row["copy_kind"] for row in events(rows)]


def test_a_repeated_number_gives_three_messages() -> None:
    """9995, 9996, 9995 once more, 9997: three messages (SIA DC-09-2007, conformance run of p. 23)."""
    run = [("E130", "9995"), ("R130", "9996"), ("E130", "9995"), ("E130", "9997")]
    found = resends(*(signal(20 * i, event, sequence=number) for i, (event, number) in enumerate(run)))
    assert found == [False, False, True, False]


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("later than a minute", {"at_s": 61}),
        ("another account", {"account_key": "main/1235"}),
        ("another receiver", {"receiver": "2"}),
        ("another number", {"sequence": "0008"}),
        ("another event", {"event": "E131"}),
        ("another zone", {"zone": "002"}),
    ],
)
def test_a_number_counts_once_only_for_the_same_message(name: str, change: dict[str, Any]) -> None:
    """House: 60 s; numbers come round again after 9999, and each sender counts for itself (DC-09)."""
    later = {"at_s": 30, "event": "E130", "sequence": "0007"} | change
    rows = [signal(0, "E130", sequence="0007"), signal(10, "R130", sequence=""), signal(**later)]
    assert resends(*rows) == [False, False, False], name


def test_a_resend_without_number_needs_the_same_state() -> None:
    """Common practice, no source: sent again because the acknowledgement was not heard."""
    assert resends(signal(0, "E130"), signal(20, "E130")) == [False, True]
    assert resends(signal(0, "E130"), signal(10, "R130"), signal(20, "E130")) == [False, False, False]


def test_two_events_of_one_line_keep_their_order() -> None:
    """A block may report the beginning and the end of one condition (SIA DC-03 multi-event blocks)."""
    rows = [signal(0, "E130", part=1, line_no=1), signal(0, "R130", part=2, line_no=1), signal(30, "R130", line_no=2)]
    assert resends(*rows) == [False, False, True]


def test_a_contact_beside_its_captured_message_is_a_copy_whatever_its_zone() -> None:
    """Common practice, no source: a dry contact says the same as the dialer, with a code and zone of its own."""
    contact = signal(0, "E110", format="contact_input", zone="901")
    assert copies(contact, signal(25, "E111", zone="012")) == ["contact_copy", ""]
    assert copies(signal(0, "E111", zone="012"), {**contact, "received_utc": NOON + timedelta(seconds=90)}) == [
        "",
        "contact_copy",
    ]
    # A trouble contact beside the mains failure that drove it: one class of troubles.
    trouble = signal(0, "E300", format="contact_input", zone="902")
    assert copies(trouble, signal(40, "E301", zone="000")) == ["contact_copy", ""]


@pytest.mark.parametrize(
    ("name", "captured"),
    [
        ("too late", signal(91, "E111")),
        ("the opposite", signal(20, "R111")),
        ("another group", signal(20, "E130")),
        ("another account", signal(20, "E111", account_key="main/9999")),
        ("a contact too", signal(20, "E111", format="contact_input")),
        ("unknown code", signal(20, "E9FF", code="9FF")),
    ],
)
def test_a_contact_alone_is_an_event(name: str, captured: dict[str, Any]) -> None:
    assert copies(signal(0, "E110", format="contact_input", zone="901"), captured)[0] == "", name


def test_another_day_is_another_event() -> None:
    """A day's facts depend on that day alone."""
    late = NOON.replace(hour=23, minute=59, second=50)
    rows = [signal(0, "E110", format="contact_input", received_utc=late),
            signal(0, "E111", received_utc=late + timedelta(seconds=20))]  # fmt: skip
    assert copies(*rows) == ["", ""]


def test_the_captured_message_is_the_event_even_with_the_same_code_and_zone() -> None:
    contact = signal(0, "E110", format="contact_input")
    assert copies(contact, signal(10, "E110")) == ["contact_copy", ""]
    assert copies(signal(0, "E110"), {**contact, "received_utc": NOON + timedelta(seconds=10)}) == ["", "contact_copy"]


def test_one_call_at_two_receivers_is_linked() -> None:
    """Common practice, no source."""
    assert copies(signal(0, "E130"), signal(3, "E130", receiver="2")) == ["", "other_receiver"]
    assert copies(signal(0, "E130", path="a"), signal(3, "E130", path="b")) == ["", "other_path"]


def test_counts_use_the_event_and_quality_the_repeats() -> None:
    rows = [
        signal(0, "E110", format="contact_input", zone="901"), signal(20, "E111", zone="012"),
        signal(30, "E111", zone="012"), signal(40, "E111", zone="012", receiver="2"),
    ]  # fmt: skip
    day = events(rows, f"with events as (from e) select * from ({query('facts/fact_day')})")
    # One alarm: told by a contact, by the panel, by the panel again, and by the other receiver.
    assert sum(row["n"] - row["n_copy"] for row in day) == 1
    assert (sum(row["n"] for row in day), sum(row["n_resend"] for row in day), sum(row["n_copy"] for row in day)) == (
        3,
        1,
        2,
    )


def test_an_edge_says_that_it_is_told_by_a_second_way() -> None:
    """Both stand in the log of a condition; who counts conditions can leave the copy out."""
    rows = [signal(0, "E110", format="contact_input", zone="901"), signal(20, "E111", zone="012")]
    rows += [signal(900, "R111", zone="012"), signal(910, "R110", format="contact_input", zone="901")]
    edges = events(rows, f"with events as (from e) select * from ({query('facts/fact_edge')})")
    told = [(row["qualifier"], row["copy_kind"]) for row in edges]
    assert told == [("E", "contact_copy"), ("E", ""), ("R", ""), ("R", "contact_copy")]
