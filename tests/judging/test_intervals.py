"""Intervals by edition against pages that quote the standards.

Each case names where the figure was read. ``seen``: the page was read. ``memory``: recalled, nothing read;
the case then guards the figure and its flag, it does not prove the standard.
"""

from __future__ import annotations

import pytest

from sigaudit.errors import SettingsProblem
from sigaudit.judging import intervals
from sigaudit.judging.intervals import rules_for

HOUR = 3600
DAY = 24 * HOUR

PRESS_2002 = "trade-press Q&A quoting NFPA 72-2002 (www.securityinfowatch.com/home/article/10518081)"
TRAINING = "training article (nationaltrainingcenter.com/fire-alarm-communications-technologies/)"
TRAINING_2 = "training article (nationaltrainingcenter.com/communications-methods-for-fire-alarm/)"
MAGAZINE_2017 = "trade magazine 2017 (www.ecmag.com, changing technology: new fire alarm communications methods)"
QUIZ_2019 = "trade-magazine quiz on NFPA 72-2019 (www.ecmag.com, supervising station alarm systems)"
ASSOCIATION_2023 = "trade-association article 2023 (esaweb.org, are you monitoring life safety systems, part II)"
FORUM_2022 = "practitioners forum citing NFPA 72-2022 ch. 26"
MAILING_LIST = "law-firm mailing list page quoting 26.6.3.2.1.4(3)"
MARSHAL_2007 = "state fire marshal notice on NFPA 72-2007 11.7.8 (tbfaa.org)"
FORUM_2007 = "code-officials forum quoting NFPA 72-2007 8.3.7.4"
QUIZ_2022 = "trade-magazine quiz on NFPA 72-2022 (www.ecmag.com, fire alarm fundamentals)"
PANEL_MANUAL = "panel manual, 180 min as the ceiling for commercial listings"
EXAM_101 = "exam page on NFPA 101 9.6.1.6 (missourinha.examzify.com)"
MARSHAL_IFC = "state fire marshal page on IFC 901.7 (dps.mn.gov)"
MEMORY = "from memory"

CASES = [
    ("nfpa72-2002", "phone", 2, "fire", "test_s", DAY, "seen", PRESS_2002),
    ("nfpa72-2002", "phone", 2, "fire", "channel_test_s", DAY, "seen", PRESS_2002),
    ("nfpa72-2007", "phone", 2, "fire", "test_s", DAY, "seen", TRAINING),
    ("nfpa72-2010", "phone", 2, "fire", "test_s", DAY, "seen", TRAINING),
    ("nfpa72-2013", "phone", 2, "fire", "test_s", 6 * HOUR, "seen", MAGAZINE_2017),
    ("nfpa72-2013", "phone", 2, "combined", "test_s", 6 * HOUR, "seen", TRAINING),
    ("nfpa72-2016", "phone", 2, "fire", "test_s", 6 * HOUR, "memory", MEMORY),
    ("nfpa72-2019", "phone", 2, "fire", "test_s", 6 * HOUR, "memory", MEMORY),
    ("nfpa72-2022", "phone", 1, "fire", "test_s", 6 * HOUR, "seen", FORUM_2022),
    ("nfpa72-2025", "phone", 2, "fire", "test_s", 6 * HOUR, "memory", MEMORY),
    ("nfpa72-2016", "one_way_radio", 1, "fire", "test_s", DAY, "memory", MEMORY),
    ("nfpa72-2007", "phone", 1, "household fire", "test_s", 31 * DAY, "seen", MARSHAL_2007),
    ("nfpa72-2022", "cellular", 1, "household fire", "test_s", 31 * DAY, "memory", MEMORY),
    ("nfpa72-2010", "cellular", 1, "fire", "supervision_s", 300, "seen", TRAINING_2),
    ("nfpa72-2010", "internet", 2, "fire", "supervision_s", DAY, "memory", MEMORY),
    ("nfpa72-2013", "cellular", 1, "fire", "supervision_s", HOUR, "memory", MEMORY),
    ("nfpa72-2013", "cellular", 2, "fire", "supervision_s", 6 * HOUR, "memory", MEMORY),
    ("nfpa72-2016", "internet", 1, "fire", "supervision_s", HOUR, "memory", MEMORY),
    ("nfpa72-2019", "internet", 1, "fire", "supervision_s", HOUR, "seen", QUIZ_2019),
    ("nfpa72-2019", "cellular", 3, "fire", "supervision_s", 6 * HOUR, "seen", QUIZ_2019),
    ("nfpa72-2022", "cellular", 1, "fire", "supervision_s", HOUR, "seen", ASSOCIATION_2023),
    ("nfpa72-2022", "cellular", 1, "fire", "path_fault_told_s", HOUR, "seen", ASSOCIATION_2023),
    ("nfpa72-2022", "internet", 2, "fire", "supervision_s", 6 * HOUR, "memory", MEMORY),
    ("nfpa72-2016", "radio", 1, "fire", "path_fault_told_s", 90, "memory", MEMORY),
    ("nfpa72-2010", "phone", 2, "fire", "line_fault_told_s", 240, "seen", MAILING_LIST),
    ("nfpa72-2016", "phone", 2, "fire", "line_fault_told_s", 240, "memory", MEMORY),
    ("nfpa72-2016", "phone", 2, "fire", "ac_report_delay_min_s", HOUR, "memory", MEMORY),
    ("nfpa72-2016", "phone", 2, "fire", "ac_report_delay_max_s", 3 * HOUR, "seen", PANEL_MANUAL),
    ("nfpa72-2007", "phone", 2, "fire", "out_of_service_s", 8 * HOUR, "seen", FORUM_2007),
    ("nfpa72-2022", "phone", 2, "fire", "out_of_service_s", 8 * HOUR, "seen", QUIZ_2022),
    ("nfpa72-2016", "phone", 2, "fire", "out_of_service_s", 4 * HOUR, "seen", EXAM_101),
    ("nfpa72-2016", "phone", 2, "fire", "out_of_service_s", 0, "seen", MARSHAL_IFC),
]


def _id(case: object) -> str:
    return case.replace(" ", "_") if isinstance(case, str) else str(case)


@pytest.mark.parametrize(
    ("edition", "kind", "n_paths", "system_type", "quantity", "seconds", "known", "source"), CASES, ids=_id
)
def test_figure_is_the_published_one(
    edition: str,
    kind: str,
    n_paths: int,
    system_type: str,
    quantity: str,
    seconds: int,
    known: str,
    source: str,
) -> None:
    rules = rules_for(edition, kind, n_paths, system_type, quantity)
    assert (seconds, known) in [(rule.seconds, rule.known) for rule in rules], source
    if quantity != "out_of_service_s":  # the one quantity on which several documents speak
        assert {rule.seconds for rule in rules} == {seconds}


def test_multi_path_supervision_of_2013_stays_in_doubt() -> None:
    # 6 h or still 24 h: not settled by any page seen. It must never be more than a note.
    for kind in ("cellular", "internet"):
        (rule,) = rules_for("nfpa72-2013", kind, 2, "fire", "supervision_s")
        assert rule.known == "memory"
        assert "DOUBT" in rule.note


@pytest.mark.parametrize("system_type", ["burglary", "holdup", "medical", "environment", ""])
def test_no_edition_speaks_for_other_systems(system_type: str) -> None:
    # Burglary by contract or listing: common practice, no source.
    for edition in intervals.editions():
        for quantity in {rule.quantity for rule in intervals.load()}:
            assert rules_for(edition.edition, "phone", 2, system_type, quantity) == []


def test_a_supervised_path_has_no_test_interval() -> None:
    for kind in ("cellular", "internet", "radio", "satellite"):
        for edition in intervals.editions():
            assert rules_for(edition.edition, kind, 1, "fire", "test_s") == []


def test_unknown_number_of_paths_leaves_out_rules_that_ask_for_it() -> None:
    assert rules_for("nfpa72-2019", "cellular", None, "fire", "supervision_s") == []
    assert [r.seconds for r in rules_for("nfpa72-2013", "phone", None, "fire", "test_s")] == [6 * HOUR]


def test_one_path_has_no_other_to_report_a_line_fault_on() -> None:
    assert rules_for("nfpa72-2010", "phone", 1, "fire", "line_fault_told_s") == []


def test_without_an_edition_only_the_roster_judges() -> None:
    assert rules_for("", "phone", 2, "fire", "out_of_service_s") == []


def test_unknown_edition_is_refused_with_the_nearest() -> None:
    with pytest.raises(SettingsProblem, match=r"nfpa72-2014.*nfpa72-201") as caught:
        rules_for("nfpa72-2014", "phone", 2, "fire", "test_s")
    assert "nfpa72-2025" in caught.value.next_step


def test_every_row_can_be_used_and_says_where_it_is_from() -> None:
    rules = intervals.load()
    assert len({(r.rule_id, r.edition, r.technology_kind, r.quantity) for r in rules}) == len(rules)
    assert {r.technology_kind for r in rules} == {
        "any",
        "phone",
        "radio",
        "one_way_radio",
        "cellular",
        "internet",
    }
    assert {r.paths for r in rules} == {"any", "one", "several"}
    assert {r.known for r in rules} == {"seen", "memory"}
    for rule in rules:
        assert rule.source
        assert (rule.source == "from memory") <= (rule.known == "memory")
        assert rule.quantity.endswith("_s")
        assert rule.seconds > 0 or rule.rule_id == "IFC-901.7"


def test_data_files_are_plain() -> None:
    for name in (intervals.INTERVALS, intervals.EDITIONS):
        assert b"\r" not in (intervals.shipped.data() / name).read_bytes()
    assert [e.edition for e in intervals.editions()] == sorted(e.edition for e in intervals.editions())
