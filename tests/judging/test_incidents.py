"""Disturbances that many sites share, on a simulated station: found with edges and members, and not invented.

What an outage looks like in a log: common practice, no source (tests/simulation/disturbances).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest

from sigaudit.judging.coverage import Hole
from sigaudit.judging.incidents import Incidents
from tests.judging.small_desk import WEEK, healthy, judged, scanned
from tests.simulation import clock, disturbances
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.site import Signal, Site

BEGIN = clock.at("2026-11-18 14:00")
END = BEGIN + 3 * HOUR


@pytest.fixture(scope="module")
def station() -> tuple[list[Site], list[Signal]]:
    return healthy(1)


def told(found: Incidents) -> list[tuple[str, str]]:
    return [(i["kind"], i["shared"]) for i in found.incidents]


def of_area(sites: Iterable[Site], area: str = "Area 3") -> list[Site]:
    return [site for site in sites if site.area == area]


def members(found: Incidents) -> set[str]:
    return {key.removeprefix("main/") for key in found.members["account_key"].to_pylist()}


def test_power_outage_of_an_area(station: tuple[list[Site], list[Signal]]) -> None:
    sites, signals = station
    struck = of_area(sites)
    found = scanned(sites, disturbances.power_outage(signals, struck, BEGIN, END, key=1))
    assert told(found) == [("area_power_outage", "area Area 3")]
    one = found.incidents[0]
    assert BEGIN <= one["from_s"] <= BEGIN + 2 * MINUTE
    assert END <= one["until_s"] <= END + 10 * MINUTE and not one["is_open"]
    assert members(found) <= {s.account for s in struck} and len(members(found)) >= 0.8 * len(struck)
    assert one["seen"] == one["members"] and one["expected"] < 1 and one["p"] < 1e-9
    assert "Area 3" in one["why"]


def test_reports_that_come_up_to_three_hours_late_are_one_outage(station: tuple[list[Site], list[Signal]]) -> None:
    sites, signals = station
    end = BEGIN + 5 * HOUR
    found = scanned(sites, disturbances.power_outage(signals, of_area(sites), BEGIN, end, key=2, delay_s=3 * HOUR))
    assert told(found) == [("area_power_outage", "area Area 3")]
    assert BEGIN <= found.incidents[0]["from_s"] <= BEGIN + HOUR
    assert end <= found.incidents[0]["until_s"] <= end + 10 * MINUTE


def test_phone_outage_of_an_exchange(station: tuple[list[Site], list[Signal]]) -> None:
    sites, signals = station
    end = BEGIN + 7 * HOUR
    struck = [s for s in sites if s.exchange == "Exchange 2"]
    found = scanned(sites, disturbances.phone_outage(signals, struck, BEGIN, end, key=3))
    assert told(found) == [("area_phone_outage", "exchange Exchange 2")]
    one = found.incidents[0]
    assert abs(one["from_s"] - BEGIN) <= HOUR and end <= one["until_s"] <= end + HOUR
    by_phone = {s.account for s in struck if any(p.kind == "phone" for p in s.paths)}
    assert members(found) <= by_phone and len(members(found)) >= 0.7 * len(by_phone)


def test_outage_of_a_network(station: tuple[list[Site], list[Signal]]) -> None:
    sites, signals = station
    end = BEGIN + 7 * HOUR
    found = scanned(sites, disturbances.network_outage(signals, sites, "internet", "Provider North", BEGIN, end))
    assert told(found) == [("path_network_outage", "network internet Provider North")]
    one = found.incidents[0]
    assert abs(one["from_s"] - BEGIN) <= HOUR and end <= one["until_s"] <= end + HOUR
    on_it = {s.account for s in sites if any(p.network == "Provider North" and p.kind == "internet" for p in s.paths)}
    assert members(found) <= on_it
    assert set(found.members["path"].to_pylist()) == {"internet"}


def test_a_storm_is_one_time_and_no_place(station: tuple[list[Site], list[Signal]]) -> None:
    sites, signals = station
    found = scanned(sites, disturbances.storm(signals, sites[:60], BEGIN, BEGIN + 2 * HOUR, key=4))
    assert {kind for kind, _ in told(found)} == {"signal_storm"}
    one = found.incidents[0]
    assert abs(one["from_s"] - BEGIN) <= 15 * MINUTE and abs(one["until_s"] - BEGIN - 2 * HOUR) <= 15 * MINUTE
    assert found.storms and not len(found.members)


def test_two_outages_at_once_are_two_and_each_has_its_own(station: tuple[list[Site], list[Signal]]) -> None:
    sites, signals = station
    twice = disturbances.power_outage(signals, of_area(sites), BEGIN, END, key=5)
    twice = disturbances.power_outage(twice, of_area(sites, "Area 5"), BEGIN + DAY, END + DAY, key=6)
    found = scanned(sites, twice)
    assert sorted(told(found)) == [("area_power_outage", "area Area 3"), ("area_power_outage", "area Area 5")]


def test_reminders_of_one_loss_are_one_loss(station: tuple[list[Site], list[Signal]]) -> None:
    """Ten sites out since different days, each saying so again every six hours at the same minute: no outage now."""
    sites, signals = station
    more = list(signals)
    for i, site in enumerate(of_area(sites)[:10]):
        begin = clock.at("2026-11-10 08:00") + i * DAY // 2
        more += [site.say(at, "E301") for at in range(begin, BEGIN, 6 * HOUR)]
        more += [site.say(BEGIN, "R301")]
    assert told(scanned(sites, more)) == []


def test_a_noisy_area_has_no_incident(station: tuple[list[Site], list[Signal]]) -> None:
    sites, signals = station
    noisy = list(signals)
    for site in of_area(sites):
        noisy = disturbances.flapping(noisy, site, "301", clock.START, clock.END - DAY, 1.5, 7)
    assert told(scanned(sites, noisy)) == []


def test_a_neighbourhood_of_two_sites_is_no_area() -> None:
    def two_sites(site: Site) -> None:
        if site.area == "Area 3":
            site.site = f"Block {site.index % 2}"

    sites, signals = healthy(2, change=two_sites)
    for site in of_area(sites):
        site.dealer = site.exchange = ""
    found = scanned(sites, disturbances.power_outage(signals, of_area(sites), BEGIN, END, key=8))
    assert ("area_power_outage", "area Area 3") not in told(found)


@pytest.mark.parametrize("seed", range(20))
def test_a_healthy_station_has_none(seed: int) -> None:
    """At one in a thousand, twenty stations without a disturbance show none."""
    sites, signals = healthy(100 + seed)
    assert told(scanned(sites, signals)) == []


@pytest.mark.parametrize("seed", range(4))
def test_hours_that_the_log_lacks_make_no_incident(seed: int) -> None:
    """A day of receiver 2 is not in the exports: what was due in it and just after says nothing."""
    sites, signals = healthy(200 + seed)
    a, b = clock.at("2026-11-12 00:00"), clock.at("2026-11-13 00:00")
    left = [s for s in signals if s.receiver != "2" or not a <= s.at < b]
    holes = [Hole("2", line, float(a) + 300, float(b) - 300, "export_gap", "I-gap") for line in ("1", "2", "3")]
    assert told(scanned(sites, left, holes=holes)) == []


def rows(found: Any, check: str) -> dict[str, dict[str, Any]]:
    return {row["account_key"].removeprefix("main/"): row for row in found.rows.to_pylist() if row["check_id"] == check}


def test_stragglers_are_blamed_and_the_others_are_not(station: tuple[list[Site], list[Signal]]) -> None:
    """Two sites stay without power after the area has it back: 24 h after its end they are found, not before."""
    sites, signals = station
    late = [s.account for s in of_area(sites)[:2]]
    out = disturbances.power_outage(signals, of_area(sites), BEGIN, END, key=9, stragglers=late)
    # Their panels have shown before that they restore such a loss.
    for site in of_area(sites)[:2]:
        out += [site.say(clock.at("2026-10-20 10:00"), "E301"), site.say(clock.at("2026-10-20 12:00"), "R301")]
    soon, _ = judged(sites, out, ["ac_power_out_standing"], as_of=BEGIN + 25 * HOUR)
    for account in late:
        row = rows(soon, "ac_power_out_standing")[account]
        assert (row["verdict"], row["excused_count"]) == ("not_judged", 1)
        assert row["reason"] == "began in an outage that many accounts share"
    later, _ = judged(sites, out, ["ac_power_out_standing"], as_of=END + 26 * HOUR)
    blamed = {a for a, row in rows(later, "ac_power_out_standing").items() if row["verdict"] == "finding"}
    assert blamed == set(late)
    assert rows(later, "ac_power_out_standing")[late[0]]["excused_count"] == 1


def test_an_outage_without_an_end_hides_nobody_for_more_than_a_day(
    station: tuple[list[Site], list[Signal]],
) -> None:
    sites, signals = station
    struck = of_area(sites)
    signals = [s for s in signals if s.event[1:] != "301" or s.at < BEGIN]  # no power loss of a site's own ends it
    out = disturbances.power_outage(
        signals, struck, BEGIN, END, key=10, share=1.0, stragglers=[s.account for s in struck]
    )
    for site in struck:
        out += [site.say(clock.at("2026-10-20 10:00"), "E301"), site.say(clock.at("2026-10-20 12:00"), "R301")]
    found, _ = judged(sites, out, ["ac_power_out_standing"], as_of=WEEK[1])
    assert found.incidents.incidents[0]["is_open"]
    verdicts = rows(found, "ac_power_out_standing")
    assert {verdicts[s.account]["verdict"] for s in struck} == {"finding"}


def test_tests_missed_inside_are_excused_and_counted(station: tuple[list[Site], list[Signal]]) -> None:
    sites, signals = station
    struck = [s for s in sites if s.exchange == "Exchange 2"]
    out = disturbances.phone_outage(signals, struck, BEGIN, BEGIN + 7 * HOUR, key=11)
    found, desk = judged(sites, out, ["test_overdue"])
    named = found.incidents.incidents[0]["incident_id"]
    states = desk.rows(
        "select state, incident_id, count(*) from kept_slots"
        f" where epoch(due_utc) between {BEGIN} and {BEGIN + 7 * HOUR}"
        " and account_key in (select account_key from incident_members) group by all order by all"
    )
    excused = sum(n for state, incident, n in states if (state, incident) == ("excused", named))
    assert excused >= 8
    assert sum(n for state, _, n in states if state == "missed") <= 0.2 * excused
