"""The text catalogues: complete, alike in their placeholders, and with the forms that each language uses."""

from __future__ import annotations

import csv
import re
import string
from datetime import date
from typing import Any

import pytest
from babel import dates, numbers

from sigaudit.known_names import LANGUAGES
from sigaudit.reporting import catalogue
from sigaudit.reporting.health_model import STATES, WHY
from sigaudit.reporting.page import TEMPLATES
from sigaudit.store import shipped

EN = catalogue.texts("en")
OTHERS = [language for language in LANGUAGES if language != "en"]
SOURCES = "\n".join(
    path.read_text(encoding="utf-8")
    for path in [*sorted(TEMPLATES.parent.glob("*.py")), *sorted(TEMPLATES.glob("health*.j2"))]
)


def placeholders(text: Any) -> set[str]:
    return (
        {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}
        if isinstance(text, str)
        else set()
    )


def sheet(name: str) -> list[dict[str, str]]:
    with (shipped.data() / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("language", OTHERS)
def test_each_catalogue_has_every_text_with_the_same_placeholders(language: str) -> None:
    found = catalogue.texts(language)
    assert set(found) == set(EN)
    # The word for one may say "one" instead of the number, and "first" is a word of its own.
    assert {key for key in EN if placeholders(found[key]) != placeholders(EN[key])} == set()
    assert [key for key, text in found.items() if not text] == []


@pytest.mark.parametrize("language", OTHERS)
def test_no_sentence_was_left_in_english(language: str) -> None:
    """A word or two may be the same in both languages; a sentence never is."""
    same = [key for key, text in catalogue.texts(language).items() if isinstance(text, str) and text == EN[key]]
    assert [key for key in same if len(re.sub(r"\{\w+\}", "", EN[key]).split()) > 2] == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_texts_that_count_have_both_forms(language: str) -> None:
    keys = catalogue.texts(language)
    counted = {key.removesuffix(".one") for key in keys if key.endswith(".one")}
    others = {key.removesuffix(".other") for key in keys if key.endswith(".other")}
    assert counted and counted == others - {"why", "condition"}  # there "other" is a word of its own


def test_every_key_that_is_asked_for_is_there() -> None:
    for key in re.findall(r'say\(\s*"([a-z_.]+)"', SOURCES) + re.findall(r"say\('([a-z_.]+)'\)", SOURCES):
        assert key in EN, key
    for key in re.findall(r'many\(\s*"([a-z_.]+)"', SOURCES):
        assert f"{key}.one" in EN, key
    for state in STATES:
        assert {f"state.{state}", f"headline.{state}", f"portfolio.definition_{state}"} <= set(EN)
    assert {f"why.{why}" for why in WHY} | {"why.other"} <= set(EN)


def test_the_tables_of_conditions_and_advice_have_their_words() -> None:
    codes = {row["code"] for row in sheet("contact_id.csv")}
    for row in sheet("health_conditions.csv"):
        assert f"condition.{row['word']}" in EN and row["part"] in ("power", "lines", "care", "state")
        assert row["family"] in codes
    checks = {path.stem for path in (shipped.queries() / "checks").glob("*.toml")}
    rows = sheet("health_advice.csv")
    assert len({row["check"] for row in rows}) == len(rows)
    for row in rows:
        assert row["check"] in checks
        assert not row["advice"] or f"advice.{row['advice']}" in EN
        assert not row["need"] or f"need.{row['need']}" in EN


@pytest.mark.parametrize("language", LANGUAGES)
def test_dates_are_those_of_the_language(language: str) -> None:
    """Against the Unicode locale data (CLDR) as the Babel library reads them."""
    words = catalogue.of(language, "en")
    for month in range(1, 13):
        first = date(2026, month, 14)
        own = first.strftime("%d").lstrip("0")
        wanted = dates.format_skeleton("MMMMd", first, locale=language)
        # English of the United States writes the month first; both read the same, ours as the rest of Europe does.
        assert words.day(first) == (f"{own} {wanted.split()[0]}" if language == "en" else wanted)
        assert words.month(first) == dates.format_skeleton("yMMMM", first, locale=language)
    assert catalogue.of("fr", "en").day(date(2026, 10, 1)) == "1er octobre"  # ordinal of the first only, from memory


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("value", [0, 7, 999, 1234, 12345, 1234567, 0.5, 1234.5, 98765.4])
def test_numbers_are_those_of_the_language(language: str, value: float) -> None:
    """Against CLDR by Babel, its narrow space taken as the plain one that no line breaks at."""
    wanted = numbers.format_decimal(value, locale=language).replace("\u202f", "\u00a0")
    if language == "es":
        # Spain's academy groups by spaces where CLDR has points; both leave four digits together (CLDR:
        # minimumGroupingDigits 2), which Babel does not.
        wanted = wanted.replace(".", "" if value < 10_000 else "\u00a0")
    assert catalogue.of(language, "en").number(value) == wanted


def test_a_roster_names_its_language_in_several_ways() -> None:
    assert catalogue.of("es-MX", "en").language == "es"
    assert catalogue.of(" FR_ca ", "en").language == "fr"
    assert catalogue.of("", "es").language == "es"
    assert catalogue.of("tlh", "fr").language == "fr"


def test_days_in_a_row_are_drawn_together() -> None:
    words = catalogue.of("en", "en")
    days = [date(2026, 10, day) for day in (1, 2, 3, 9, 14, 15)]
    assert words.days(days) == "1–3, 9 and 14, 15 October"
    assert catalogue.of("fr", "en").days(days) == "1er–3, 9 et 14, 15 octobre"
    assert catalogue.of("es", "en").days(days[3:4]) == "9 de octubre"


def test_a_share_is_never_rounded_to_all_or_nothing() -> None:
    words = catalogue.of("en", "en")
    assert words.percent(99_999, 100_000) == "99.9%"
    assert words.percent(1, 100_000) == "0.1%"
    assert (words.percent(4, 4), words.percent(0, 4), words.percent(0, 0)) == ("100%", "0%", "0%")


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (20, "under a minute"),
        (90, "2 min"),
        (3540, "59 min"),
        (3600, "1 h 00 min"),
        (47 * 3600, "47 h 00 min"),
        (54 * 3600, "2 d 6 h"),
    ],
)
def test_lengths(seconds: float, said: str) -> None:
    assert catalogue.of("en", "en").lasting(seconds) == said
