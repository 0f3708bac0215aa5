"""Cards speak like a careful practitioner: look-alikes told apart, cautions where life may hang on it.

Common practice, no source; the ids of cautions are the project's own list. The same rules hold for the causes
(``tests/judging/test_causes_data.py``).
"""

from __future__ import annotations

import csv
import re

import pytest

from sigaudit.judging.cards import read_all
from sigaudit.store import shipped

CARDS = read_all(shipped.queries() / "checks")
with (shipped.data() / "cautions.csv").open(encoding="utf-8", newline="") as _file:
    KNOWN = {row["id"] for row in csv.DictReader(_file)}

TRIPS = re.compile(
    r"\btrip\b|\b(?:send|see) (?:one|an|its) alarm|test (?:every|all) (?:its )?signals?|one signal of each kind"
    r"|\bfull test|flow signal",
    re.IGNORECASE,
)
TELEPHONE = re.compile(
    r"outside line|measure (?:the )?line|level and terminals|parallel (?:devices|telephones)", re.IGNORECASE
)
FORBIDDEN = re.compile(
    r"\b(alias|bypass|disabl\w*|switch\w* off|turn\w* off|take that one out|may go\b|does that one stop|longer"
    r"|lengthen\w*|ignor\w*|silenc\w*)\b",
    re.IGNORECASE,
)
ADVICE_AGAINST = ("Never ", "No ", "Not ", "Do not ")


@pytest.mark.parametrize("check", sorted(CARDS))
def test_a_card_names_what_looks_alike(check: str) -> None:
    assert len(CARDS[check].look_alikes) >= 2
    assert all(len(look) > 12 for look in CARDS[check].look_alikes)
    assert CARDS[check].not_proof.strip() and CARDS[check].next_step.strip()


@pytest.mark.parametrize("check", sorted(CARDS))
def test_cautions_stand_where_they_must(check: str) -> None:
    card = CARDS[check]
    cautions = set(card.cautions)
    assert cautions <= KNOWN
    if card.action in ("remote", "visit"):
        assert "C04" in cautions, "on test before any work"
    if TRIPS.search(card.next_step):
        assert {"C05", "C25"} <= cautions, "people told, releasing systems asked about"
    if TELEPHONE.search(card.next_step):
        assert "C26" in cautions, "ring voltage"


@pytest.mark.parametrize("check", sorted(CARDS))
def test_no_card_advises_what_must_be_asked_first(check: str) -> None:
    for sentence in re.split(r"(?<=[.?!]) ", CARDS[check].next_step):
        if FORBIDDEN.search(sentence):
            asked = "authority" in sentence and "contract" in sentence
            read = sentence.startswith("Read the last signals before the silence")
            assert asked or read or sentence.startswith(ADVICE_AGAINST), sentence


def test_every_limit_says_where_it_is_from() -> None:
    standings = {"standard", "handbook", "common practice", "house"}
    for card in CARDS.values():
        for name, limit in card.limits.items():
            assert limit.source.strip() and limit.standing in standings, (card.id, name)
            if limit.standing == "house":
                assert limit.source.startswith(("no source", "own arithmetic", "house choice")), (card.id, name)
