"""Contact ID messages against the standard's worked examples and against messages made by its rule.

Every line of ``data/contact_id_examples.jsonl`` is used; its ``source`` and ``known`` fields say where a
message comes from ("seen" was read in the place named, "constructed" was made by the rule of DC-05).
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sigaudit.reading.codes.contact_id import ContactIdMessage, Refusal, checksum_digit, read_message

EXAMPLES = [
    json.loads(line)
    for line in (Path(__file__).parent / "data" / "contact_id_examples.jsonl").read_text(encoding="utf-8").splitlines()
]
ACCEPTED = [e for e in EXAMPLES if e["accept"]]
REFUSED = [e for e in EXAMPLES if not e["accept"]]
WITH_SUM = [e for e in EXAMPLES if e["expected_checksum"] and e["length_ok"] and e["charset_ok"]]

# The file's own columns, in the order in which the reader looks.
COLUMN_OF_REASON = {
    "length": "length_ok",
    "digit": "charset_ok",
    "message_type": "mt_is_contact_id",
    "qualifier": "qualifier_ok",
    "checksum": "checksum_ok",
}

digits = st.sampled_from("0123456789BCDEF")


def _id(example: dict[str, str]) -> str:
    return f"{example['id']}-{example['known']}"


def test_every_example_is_used() -> None:
    assert (len(EXAMPLES), len(ACCEPTED), len(REFUSED)) == (47, 36, 11)


@pytest.mark.parametrize("example", ACCEPTED, ids=_id)
def test_accepted_example(example: dict[str, str]) -> None:
    assert read_message(example["raw"]) == ContactIdMessage(
        account=example["acct"],
        message_type=example["mt"],
        qualifier={"1": "E", "3": "R", "6": "P"}[example["qualifier"]],
        code=example["code"],
        partition="0" if example["group"] == "00" else example["group"].removeprefix("0"),
        zone=example["ccc"],
    )


@pytest.mark.parametrize("example", REFUSED, ids=_id)
def test_refused_example(example: dict[str, str]) -> None:
    answer = read_message(example["raw"])
    assert isinstance(answer, Refusal)
    assert answer.reason == next(r for r, column in COLUMN_OF_REASON.items() if not example[column])


@pytest.mark.parametrize("example", WITH_SUM, ids=_id)
def test_checksum_digit(example: dict[str, str]) -> None:
    assert checksum_digit(example["raw"][:15]) == example["expected_checksum"]


def test_the_sum_cannot_see_swapped_digits() -> None:
    # A weakness of a plain sum: the message is read, and its account is wrong.
    right = read_message("1234181131010158")  # DC-05-1999.09 worked example
    swapped = read_message("1243181131010158")
    assert isinstance(right, ContactIdMessage) and isinstance(swapped, ContactIdMessage)
    assert (right.account, swapped.account) == ("1234", "1243")


@given(
    account=st.text(digits, min_size=4, max_size=4),
    message_type=st.sampled_from(["18", "98"]),
    qualifier=st.sampled_from(["1", "3", "6"]),
    code=st.text(digits, min_size=3, max_size=3),
    partition=st.text(digits, min_size=2, max_size=2),
    zone=st.text(digits, min_size=3, max_size=3),
)
def test_what_is_composed_is_read_back(
    account: str, message_type: str, qualifier: str, code: str, partition: str, zone: str
) -> None:
    body = account + message_type + qualifier + code + partition + zone
    message = read_message(body + checksum_digit(body))
    assert isinstance(message, ContactIdMessage)
    assert message.account == account
    assert message.message_type == message_type
    assert {"E": "1", "R": "3", "P": "6"}[message.qualifier] == qualifier
    assert message.code == code
    assert message.partition.rjust(2, "0") == partition
    assert message.zone == zone


@given(body=st.text(digits, min_size=15, max_size=15))
def test_sixteen_digits_sum_to_a_multiple_of_fifteen(body: str) -> None:
    # Independent arithmetic: hexadecimal value of each digit, 0 replaced by A, as an adding machine would.
    whole = body + checksum_digit(body)
    assert sum(int(digit, 16) for digit in whole.replace("0", "A")) % 15 == 0


@given(
    body=st.text(digits, min_size=8, max_size=8),
    place=st.integers(7, 14),
    other=digits,
)
def test_one_changed_digit_is_refused(body: str, place: int, other: str) -> None:
    first15 = "1234181" + body
    # The fifteen digits have fifteen different values modulo 15, so one wrong digit always shows.
    changed = first15[:place] + other + first15[place + 1 :]
    answer = read_message(changed + checksum_digit(first15))
    assert isinstance(answer, Refusal) is (other != first15[place])


@given(st.text())
def test_any_text_gives_an_answer(text: str) -> None:
    assert isinstance(read_message(text), ContactIdMessage | Refusal)


@pytest.mark.parametrize("first15", ["", "12341811310101", "12341811310101A", "1234181131010158", "bcde1811300100１"])
def test_checksum_of_anything_but_fifteen_digits_is_an_error(first15: str) -> None:
    with pytest.raises(ValueError, match="fifteen digits"):
        checksum_digit(first15)
