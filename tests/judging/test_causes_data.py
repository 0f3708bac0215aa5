"""The cause model's data: every cause of the trade's list, honest numbers, and words that hurt nobody.

Held against the project's own lists (causes, checks, cautions). The sizes of the numbers are common practice,
no source; that they lead from the textbook pattern of a fault to its cause is shown in the tests of the engine.
"""

from __future__ import annotations

import csv
import re
import tomllib
from typing import Any

import pytest

from sigaudit.store import shipped

MODEL = tomllib.loads((shipped.queries() / "causes.toml").read_text(encoding="utf-8"))
CAUSES: dict[str, dict[str, Any]] = {cause["id"]: cause for cause in MODEL["cause"]}
CARDS: dict[str, dict[str, Any]] = {
    path.stem: tomllib.loads(path.read_text(encoding="utf-8"))
    for path in sorted((shipped.queries() / "checks").glob("*.toml"))
}

PLACES = {
    "panel programming",
    "transmitter programming",
    "wiring",
    "phone service",
    "radio path",
    "power",
    "zone wiring",
    "station data entry",
    "people",
}
TRAITS = {
    "phone",
    "radio",
    "internet_or_cellular",
    "two_paths",
    "contacts",
    "captured",
    "supervised",
    "fire",
    "burglary",
    "openings",
    "tests_required",
    "on_roster",
    "two_phone_lines",
    "backup_not_phone",
}
KEYS = {
    "id",
    "title",
    "says",
    "sits",
    "action",
    "base",
    "where",
    "pair",
    "field_check",
    "fix",
    "parts",
    "cautions",
    "apart",
    "fires",
}
# Checks that say nothing about a cause at the site: none at present.
SAYS_NOTHING: set[str] = set()

# A cause that makes a check fire more often than that belongs on the check's card.
TELLING = 0.5
# What a fix may not advise before authority, listing and contract were asked.
FORBIDDEN = re.compile(
    r"\b(alias|bypass|disabl\w*|switch\w* off|turn\w* off|taken? out|remov\w*|longer|lengthen\w*|lift\w*|ignor\w*"
    r"|silenc\w*|higher count|change[sd]? the sensing)\b",
    re.IGNORECASE,
)
ASKED = "authority, listing and contract"
ADVICE_AGAINST = ("Never ", "No ", "Not ", "Do not ")
TRIPS = re.compile(r"\btrip\w*|\b(?:send|see) (?:an|one) alarm", re.IGNORECASE)
CAUSE_IDS = sorted(CAUSES)


def rows(name: str) -> list[dict[str, str]]:
    with (shipped.data() / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_causes_are_those_a_visit_can_name() -> None:
    listed = [row["cause"] for row in rows("causes.csv") if row["place"] == "site"]
    assert [cause["id"] for cause in MODEL["cause"]] == listed
    assert len(CAUSES) == 37


@pytest.mark.parametrize("name", CAUSE_IDS)
def test_a_cause_is_complete(name: str) -> None:
    cause = CAUSES[name]
    assert set(cause) <= KEYS
    assert set(cause) >= KEYS - {"where", "pair"}
    assert cause["sits"] in PLACES
    assert cause["action"] in {"desk", "remote", "visit", "none"}
    assert set(cause.get("where", [])) <= TRAITS
    assert all(cause[key].strip() for key in ("title", "says", "field_check", "fix"))
    assert len(cause["apart"]) >= 1 and set(cause["apart"]) <= set(CAUSES) - {name}
    known = {row["id"] for row in rows("cautions.csv")}
    assert set(cause["cautions"]) <= known and cause["cautions"]


@pytest.mark.parametrize("name", CAUSE_IDS)
def test_numbers_never_claim_certainty(name: str) -> None:
    cause = CAUSES[name]
    share, standing = cause["base"]
    assert 0.0005 <= share <= 0.05 and standing in MODEL["standings"]
    for check, (chance, word) in cause["fires"].items():
        assert check in CARDS, check
        assert 0.02 <= chance <= 0.98, check
        assert word in MODEL["standings"]
        # A cause that makes a check less likely than nothing at all would be a slip of the pen.
        assert chance > MODEL["leak"][check][0], check


def test_some_check_shows_each_cause() -> None:
    """A cause shows in one of its ways more often than not: else it could not be found at all."""
    assert {name for name, cause in CAUSES.items() if sum(p for p, _ in cause["fires"].values()) < 0.7} == set()


def test_every_check_has_a_leak() -> None:
    assert list(MODEL["leak"]) and set(MODEL["leak"]) == set(CARDS)
    for chance, standing in MODEL["leak"].values():
        assert 0.0001 <= chance <= 0.05 and standing in MODEL["standings"]


def test_healthy_sites_are_rarely_named() -> None:
    """From memory of the trade: some one site in ten has something to mend, not one in two."""
    assert 0.05 < sum(cause["base"][0] for cause in CAUSES.values()) < 0.30


def test_every_check_speaks_of_a_cause() -> None:
    named = {check for cause in CAUSES.values() for check in cause["fires"]}
    assert set(CARDS) - named == SAYS_NOTHING


@pytest.mark.parametrize("check", sorted(CARDS))
def test_card_and_model_name_the_same_causes(check: str) -> None:
    on_card = set(CARDS[check]["causes"])
    makes_fire = {name: cause["fires"][check][0] for name, cause in CAUSES.items() if check in cause["fires"]}
    assert on_card - set(makes_fire) == set()
    assert {name for name, chance in makes_fire.items() if chance > TELLING} - on_card == set()


def test_a_check_stands_in_one_group_at_most() -> None:
    grouped = [check for group in MODEL["groups"].values() for check in group]
    assert len(grouped) == len(set(grouped))
    assert set(grouped) <= set(CARDS)
    assert all(len(group) > 1 for group in MODEL["groups"].values())


def test_pairs_are_mutual_and_both_say_how_they_part() -> None:
    for name, cause in CAUSES.items():
        for other in cause.get("pair", []):
            assert name in CAUSES[other].get("pair", []), (name, other)
            assert other in cause["apart"], (name, other)


@pytest.mark.parametrize("name", CAUSE_IDS)
def test_no_fix_advises_what_must_be_asked_first(name: str) -> None:
    cause = CAUSES[name]
    for sentence in re.split(r"(?<=[.?!:]) ", f"{cause['field_check']} {cause['fix']}"):
        if FORBIDDEN.search(sentence):
            assert ASKED in sentence or sentence.startswith(ADVICE_AGAINST), sentence


def test_the_guard_of_words_would_speak() -> None:
    assert FORBIDDEN.search("Switch off the sensing of the line.")
    assert FORBIDDEN.search("The sensing may be switched off.")
    assert FORBIDDEN.search("Set a longer limit at the desk.")
    assert FORBIDDEN.search("Give the stray number an alias.")


@pytest.mark.parametrize("name", CAUSE_IDS)
def test_work_on_a_system_carries_its_cautions(name: str) -> None:
    """On test before work; people told and releasing systems asked about before anything is tripped; dead lines."""
    cause = CAUSES[name]
    text = f"{cause['field_check']} {cause['fix']}"
    if cause["action"] in {"remote", "visit"}:
        assert "C04" in cause["cautions"]
    if cause["action"] == "remote":
        assert "ualified person" in cause["fix"] and "C06" in cause["cautions"]
    if TRIPS.search(text):
        assert {"C04", "C05", "C25"} <= set(cause["cautions"])
    if re.search(r"terminal|\bpair\b|plug the (?:line|panel)", text) and cause["sits"] in {"wiring", "phone service"}:
        assert {"C25", "C26"} & set(cause["cautions"])


@pytest.mark.parametrize("name", CAUSE_IDS)
def test_words_are_plain_and_short(name: str) -> None:
    cause = CAUSES[name]
    assert len(cause["title"]) <= 75
    assert len(cause["says"]) <= 260 and len(cause["field_check"]) <= 260 and len(cause["fix"]) <= 480
    assert not re.search(r"https?:|www\.|\d{3}-\d{4}", str(cause))
