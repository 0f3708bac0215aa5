"""What a month's report may say of a site: days, ways, and never *in order* where something was not judged."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from made_month import FROM, UNTIL, account, daily, path, run, sound

from sigaudit.reporting import catalogue
from sigaudit.reporting.health_customers import gather
from sigaudit.reporting.health_document import Document
from sigaudit.reporting.health_facts import month_of, read
from sigaudit.reporting.health_model import Site
from sigaudit.reporting.health_words import Setting, compose

WORDS = catalogue.of("en", "en")


def one(**tables: Any) -> Site:
    (found,) = read(run(**tables))
    return found


def document(**tables: Any) -> Document:
    made = run(**tables)
    ((customer,),) = (dealer.customers for dealer in gather(read(made)))
    return compose(customer, Setting("Invented station", "", month_of(made)), WORDS)


def told(doc: Document) -> str:
    """Every sentence of a document."""
    parts = [
        doc.headline,
        *(line.text for fact in (doc.advice, doc.needs, doc.limits) for line in fact.lines),
        *doc.foot,
    ]
    for site in doc.sites:
        parts += [site.name, site.system, site.state_word, site.lead, *site.notes, site.strip.label]
        parts += [text for way in site.ways for text in (way.name, way.proven, way.tests, way.check_ins)]
        parts += [line.text for line in site.missing]
        for fact in site.facts:
            parts += [fact.title, *(text for line in fact.lines for text in (line.text, *line.rows, *line.folded))]
    return "\n".join(parts)


def test_all_days_as_expected_is_in_order() -> None:
    site = one(**sound("0001"))
    assert (site.state, site.n_expected, site.n_counted) == ("healthy", 31, 31)
    text = told(document(**sound("0001")))
    assert "Reported as expected on 31 of 31 days." in text
    assert "31 of 31" in text and "Nothing for now." in text
    assert "Word before you change telephone" in text


def test_a_missed_test_is_named_with_its_day_and_excused_days_do_not_count() -> None:
    tables = sound("0001")
    tables["month_requirements"] = [daily("0001", n_received=28, n_missed=1, n_excused=2)]
    tables["month_days"] = [
        {"account_key": "main/0001", "path": "phone", "what": "test", "local_day": date(2026, 10, 9), "missed": 1},
        {
            "account_key": "main/0001",
            "path": "phone",
            "what": "test",
            "local_day": date(2026, 10, 20),
            "why": "export_gap",
        },
        {
            "account_key": "main/0001",
            "path": "phone",
            "what": "test",
            "local_day": date(2026, 10, 21),
            "why": "export_gap",
        },
        {
            "account_key": "main/0001",
            "path": "phone",
            "what": "test",
            "local_day": date(2026, 10, 27),
            "why": "on_test",
        },
    ]
    # 23:10 UTC on the 8th is 01:10 on the 9th in Vienna (UTC+2, tz database).
    tables["month_misses"] = [
        {
            "account_key": "main/0001",
            "path": "phone",
            "what": "test",
            "due_utc": datetime(2026, 10, 8, 23, 10),
            "state": "missed",
        }
    ]
    text = told(document(**tables))
    assert "Reported as expected on 27 of 28 days." in text
    assert "Something expected did not arrive on 9 October." in text
    assert "Not counted: 20, 21 October (our records have a gap); 27 October (system on test for work)." in text
    assert "28 of 29, and 2 in times not counted" in text
    assert "Main way: telephone line. Did not arrive: 9 October, 01:10." in text


def test_days_before_the_first_sign_and_of_a_new_system_do_not_count() -> None:
    tables = sound("0001")
    tables["month_requirements"] = [daily("0001", first_utc=datetime(2026, 10, 4, 6))]
    site = one(**tables)
    assert [day.state for day in site.days[:4]] == ["starting"] * 3 + ["expected"]
    tables["month_accounts"] = [account("0001", installed_on=date(2026, 10, 4))]
    assert [day.state for day in one(**tables).days[:5]] == ["new"] * 4 + ["expected"]


@pytest.mark.parametrize(
    ("changed", "unproven"),
    [
        ({"month_paths": [path("0001"), path("0001", "radio", role="backup", last_utc=None)]}, ("way", "radio")),
        (
            {
                "month_requirements": [
                    daily("0001"),
                    daily("0001", what="supervision", visible=False, first_utc=None, proven=False),
                ]
            },
            ("check_ins", "phone"),
        ),
        (
            {
                "month_paths": [path("0001", "radio")],
                "month_requirements": [daily("0001", "radio")],
                "month_accounts": [account("0001", last_panel_utc=None)],
            },
            ("panel", ""),
        ),
        ({"month_requirements": []}, ("days", "")),
        (
            {"month_requirements": [daily("0001", proven=False, last_proof_utc=UNTIL - timedelta(days=3))]},
            ("overdue", "phone"),
        ),
    ],
    ids=["way never seen", "check-ins not in the log", "panel not told apart", "nothing due", "lapsed, excused"],
)
def test_never_in_order_where_something_was_not_judged(changed: Any, unproven: tuple[str, str]) -> None:
    tables = {**sound("0001"), **changed}
    site = one(**tables)
    assert site.state == "not_proven"
    assert unproven in site.unproven
    doc = document(**tables)
    assert "In order" not in told(doc) and doc.state_word == "Not fully proven"
    assert "not every" not in doc.headline and "part of the system could not be judged" in doc.headline


def test_a_finding_makes_it_need_care_and_gives_advice_without_a_word_on_people() -> None:
    tables = sound("0001")
    tables["findings"] = [
        {"account_key": "main/0001", "check": "battery_low_standing", "severity": "major"},
        {"account_key": "main/0001", "check": "user_out_of_range", "severity": "major"},
        {"account_key": "main/0001", "check": "inspection_not_on_test", "severity": "minor"},
        {"account_key": "main/0001", "check": "a_check_of_the_stations_own", "severity": "minor"},
    ]
    doc = document(**tables)
    assert doc.state == "degraded"
    assert [line.text for line in doc.advice.lines] == [
        "Have the battery of the control panel replaced.",
        "Our service has noted a point and will look at it.",
    ]
    assert "A time at which a technician can come in." in told(doc)


def test_overdue_on_every_way_and_never_heard_are_not_heard_as_due() -> None:
    tables = sound("0001")
    last = UNTIL - timedelta(days=2)
    tables["month_requirements"] = [daily("0001", proven=False, last_proof_utc=last)]
    tables["month_misses"] = [
        {
            "account_key": "main/0001",
            "path": "phone",
            "what": "test",
            "due_utc": last + timedelta(days=1),
            "state": "missed",
        }
    ]
    doc = document(**tables)
    assert doc.state == "silent" and "overdue on every way" in doc.headline
    assert "overdue at the end of the month" in told(doc)
    tables["findings"] = [{"account_key": "main/0001", "check": "gone_silent", "severity": "critical"}]
    doc = document(**tables)
    assert "we were not hearing from this system" in doc.headline
    assert [line.text for line in doc.advice.lines] == [
        "Have the system and its connection checked: no signal reaches us."
    ]


def test_one_way_of_two_overdue_for_the_first_time_is_watched() -> None:
    tables = sound("0001")
    last = UNTIL - timedelta(days=2)
    tables["month_paths"].append(path("0001", "radio", role="backup"))
    tables["month_requirements"].append(daily("0001", "radio", proven=False, last_proof_utc=last))
    tables["month_misses"] = [
        {
            "account_key": "main/0001",
            "path": "radio",
            "what": "test",
            "due_utc": last + timedelta(days=1),
            "state": "missed",
        }
    ]
    doc = document(**tables)
    assert doc.state == "degraded"
    assert doc.advice.lines[0].text.startswith("Nothing to do yet: Second way: radio was overdue")


def test_troubles_are_told_with_their_times_and_no_code() -> None:
    tables = sound("0001")
    cut = {"account_key": "main/0001", "family": "301", "code": "301", "code_group": "power", "zone": "000"}
    tables["month_episodes"] = [
        {**cut, "started_utc": datetime(2026, 10, 3, 8), "restored_utc": datetime(2026, 10, 3, 11, 5)},
        {**cut, "started_utc": datetime(2026, 10, 5, 8), "restored_utc": datetime(2026, 10, 5, 8, 20), "shared": True},
        {
            "account_key": "main/0001", "family": "384", "code": "384", "code_group": "power", "zone": "012",
            "label": "kitchen window", "started_utc": datetime(2026, 10, 30, 8), "would_tell": True,
        },
        {
            "account_key": "main/0001", "family": "302", "code": "302", "code_group": "power", "zone": "000",
            "started_utc": datetime(2026, 10, 3, 10), "restored_utc": datetime(2026, 10, 3, 12),
        },
        {
            "account_key": "main/0001", "family": "573", "code": "573", "code_group": "bypass", "zone": "003",
            "started_utc": datetime(2026, 9, 12, 8), "would_tell": True,
        },
    ]  # fmt: skip
    text = told(document(**tables))
    assert "Mains power off: 2 times, 3 h 25 min together, longest 3 h 05 min" in text
    assert "3 October, 10:00 – 13:05 (3 h 05 min)" in text
    assert "(many sites at the same time)" in text
    assert "A weak battery was reported while the mains was off, 1 time." in text
    # 30 October 09:00 (UTC+1) to midnight of the 31st: 39 hours.
    assert "Device battery weak: kitchen window: 1 time, 39 h 00 min" in text and "still open" in text
    assert "Zone switched off: device 3, since 12 September, 10:00" in text
    for code in ("301", "302", "384", "573", "0001", "main/"):
        assert code not in text.replace("Site 0001", "")


def test_the_length_of_a_day_with_a_clock_change_is_counted_in_true_hours() -> None:
    """25 October 2026, 01:00 to 04:00 in Vienna are four hours (tz database)."""
    tables = sound("0001")
    tables["month_episodes"] = [
        {
            "account_key": "main/0001", "family": "301", "code_group": "power", "zone": "000",
            "started_utc": datetime(2026, 10, 24, 23), "restored_utc": datetime(2026, 10, 25, 3),
        }
    ]  # fmt: skip
    assert "25 October, 01:00 – 25 October, 04:00 (4 h 00 min)" in told(document(**tables))


def test_on_test_is_left_open() -> None:
    tables = sound("0001")
    tables["month_on_test"] = [{"account_key": "main/0001", "from_utc": FROM + timedelta(days=3, hours=9)}]
    doc = document(**tables)
    assert doc.state == "degraded"
    assert "the system is on test: signals are recorded but not acted on, since 4 October, 09:00" in told(doc)
