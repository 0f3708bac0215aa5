"""Which site carries which fault, how strong, and which healthy sites have a story of their own."""

from __future__ import annotations

from dataclasses import dataclass

from tests.simulation import clock, plan_a, plan_b, plan_c
from tests.simulation.clock import HOUR
from tests.simulation.dice import Dice
from tests.simulation.life import live, stamped
from tests.simulation.planters import PLANTERS
from tests.simulation.site import Signal, Site

# (fault, kind of site, strength); the planters say what a strength means
PLAN = [
    ("never_heard", "fire_dialer", "2026-09-14"),
    ("never_heard", "fire_radio", "2026-10-02"),
    ("never_heard", "burglary_dialer", "2026-10-28"),
    ("never_heard", "burglary_internet", "2026-11-11"),
    ("gone_silent", "fire_dialer", "2026-11-18 15:20"),
    ("gone_silent", "fire_radio", "2026-11-09 11:05"),
    ("gone_silent", "combined_dialer", "2026-11-16 09:40"),
    ("gone_silent", "burglary_dialer", "2026-11-05 18:30"),
    ("gone_silent", "burglary_internet", "2026-11-12 02:10"),
    ("test_overdue", "fire_dialer", "2026-11-22 01:30"),
    ("test_overdue", "fire_dialer", "2026-11-21 16:00"),
    ("test_overdue", "burglary_dialer", "2026-11-14 12:00"),
    ("test_overdue", "burglary_dialer", "2026-11-18 12:00"),
    ("tests_missed_often", "fire_dialer", "2026-10-12/0.35"),
    ("tests_missed_often", "fire_dialer", "2026-11-02/0.45"),
    ("tests_missed_often", "combined_dialer", "2026-10-12/0.30"),
    ("tests_missed_often", "burglary_dialer", "2026-10-12/0.50"),
    ("tests_missed_often", "burglary_internet", "2026-10-26/0.50"),
    ("test_interval_too_long", "fire_dialer", "4"),
    ("test_interval_too_long", "fire_dialer", "4"),
    ("test_interval_too_long", "fire_dialer", "2"),
    ("test_interval_too_long", "burglary_dialer", "7"),
    ("test_never_sent", "burglary_dialer", ""),
    ("test_never_sent", "burglary_internet", ""),
    ("test_never_sent", "combined_dialer", ""),
    ("test_never_sent", "fire_dialer", ""),
    ("test_reports_trouble", "fire_dialer", "2026-10-12"),
    ("test_reports_trouble", "combined_dialer", "2026-10-12"),
    ("test_reports_trouble", "fire_two_lines", "2026-11-10"),
    ("test_reports_trouble", "fire_dialer", "2026-11-17"),
    ("supervision_missed", "supervised_single", "3"),
    ("supervision_missed", "supervised_single", "6"),
    ("supervision_missed", "supervised_dual", "3"),
    ("supervision_missed", "supervised_dual", "5"),
    ("supervision_never_seen", "supervised_single", ""),
    ("supervision_never_seen", "supervised_dual", ""),
    ("supervision_never_seen", "supervised_single", ""),
    ("line_cut_standing", "fire_phone_cell", "2026-11-17 10:12"),
    ("line_cut_standing", "fire_phone_cell", "2026-11-13 14:44"),
    ("line_cut_standing", "fire_radio+phone", "2026-11-11 09:05"),
    ("line_cut_standing", "fire_radio+phone", "2026-11-19 16:30"),
    ("line_cut_flapping", "fire_phone_cell", "9"),
    ("line_cut_flapping", "fire_phone_cell", "20"),
    ("line_cut_flapping", "fire_radio+phone", "14"),
    ("line_cut_flapping", "fire_radio+phone", "7"),
    ("primary_path_silent", "fire_phone_cell", "2026-11-10 13:00"),
    ("primary_path_silent", "fire_phone_cell", "2026-11-17 08:00"),
    ("primary_path_silent", "burglary_internet_cell", "2026-11-03 17:15"),
    ("primary_path_silent", "burglary_internet_cell", "2026-11-14 21:00"),
    ("restores_missing", "burglary_dialer", "alarm"),
    ("restores_missing", "burglary_internet", "alarm"),
    ("restores_missing", "fire_dialer", "trouble"),
    ("restores_missing", "burglary_dialer", "ac"),
    ("ac_power_out_standing", "burglary_dialer", "301/2026-11-13 03:20"),
    ("ac_power_out_standing", "burglary_internet", "301/2026-11-18 19:45"),
    ("ac_power_out_standing", "combined_dialer", "301/2026-11-15 07:10"),
    ("ac_power_out_standing", "fire_dialer", "301/2026-11-17 22:05"),
    ("trouble_standing", "fire_dialer", "373/2026-11-12 08:30"),
    ("trouble_standing", "fire_two_lines", "300/2026-11-16 14:00"),
    ("trouble_standing", "combined_dialer", "333/2026-11-09 10:25"),
    ("trouble_standing", "fire_phone_cell", "330/2026-11-18 15:10"),
    ("on_test_too_long", "fire_dialer", "2026-11-12 09:00"),
    ("on_test_too_long", "fire_two_lines", "2026-11-16 08:15"),
    ("on_test_too_long", "fire_radio", "2026-11-09 13:30"),
    ("on_test_too_long", "burglary_dialer", "2026-10-30 10:00"),
    ("roster_incomplete", "burglary_dialer", "system_type"),
    ("roster_incomplete", "fire_dialer", "system_type"),
    ("roster_incomplete", "burglary_internet", "paths"),
    ("roster_incomplete", "fire_dialer", "receiver"),
    ("roster_incomplete", "fire_phone_cell", "paths"),
]
# healthy stories: (story, kind of site, detail)
STORIES = [
    ("new", "fire_dialer", "2026-10-27 10:00"),
    ("new", "fire_two_lines", "2026-10-28 09:00"),
    ("new", "burglary_dialer", "2026-10-28 11:00"),
    ("new", "burglary_dialer", "2026-10-30 13:00"),
    ("new", "combined_dialer", "2026-10-27 08:30"),
    ("cancelled", "burglary_dialer", "2026-10-29 12:00"),
    ("cancelled", "burglary_internet", "2026-11-06 12:00"),
    ("cancelled", "fire_dialer", "2026-11-13 12:00"),
    ("suspended", "burglary_dialer", "2026-10-20 12:00"),
    ("pending", "burglary_internet", ""),
    ("pending", "fire_radio", ""),
    ("seasonal", "burglary_dialer", "2026-10-25"),
    ("seasonal", "burglary_dialer", "2026-11-01"),
    ("seasonal", "burglary_dialer", "2026-11-08"),
    ("inspected", "fire_dialer", "2026-10-15 09:00"),
    ("inspected", "fire_dialer", "2026-10-21 08:30"),
    ("inspected", "fire_radio", "2026-10-23 09:15"),
    ("inspected", "fire_two_lines", "2026-11-04 10:00"),
    ("inspected", "fire_radio", "2026-11-12 08:45"),
    ("inspected", "fire_phone_cell", "2026-11-17 09:30"),
    ("inspected", "supervised_dual", "2026-11-19 13:00"),
    ("inspected", "combined_dialer", "2026-11-05 09:00"),
]


@dataclass
class TruthRow:
    """What ought to be found about one account, and from which week on."""

    account: str
    fault: str
    week: str
    also: str
    note: str
    cause: str = ""


def take(sites: list[Site], kind: str, block: str = "") -> Site:
    """The next site of this kind and block that has no role yet, scattered over the population.

    ``kind`` may go on with ``+kind of path`` and ``@area, exchange or network``.
    """
    kind, _, place = kind.partition("@")
    name, _, extra = kind.partition("+")
    free = [s for s in sites if (s.archetype, s.block, s.role) == (name, block, "") and s.first_at == clock.START]
    if place:
        free = [s for s in free if place in (s.area, s.exchange, *(p.network for p in s.paths))]
    if extra:
        free = [s for s in free if any(p.kind == extra for p in s.paths)]
    elif name == "fire_radio":
        free = [s for s in free if len(s.paths) == 1]
    return free[(len(free) * 5) // 11]


def tell_story(site: Site, story: str, detail: str) -> str:
    """Gives a healthy site its story; answers the note for the truth file."""
    site.role = story
    if story == "new":
        begin = clock.at(detail)
        site.installed_on, site.first_at = detail[:10], begin
        site.on_test.append((begin, begin + 4 * HOUR, "commissioning"))
    elif story in ("cancelled", "suspended"):
        site.status, site.last_at = story, clock.at(detail)
        site.cancelled_on = detail[:10] if story == "cancelled" else ""
    elif story == "pending":
        site.status, site.installed_on, site.last_at = "pending", "", clock.START
    elif story == "seasonal":
        site.status, site.sends_openings = "seasonal", "yes"
        site.openings_end = clock.wall(clock.at(f"{detail} 12:00")).date()
    else:
        begin = clock.at(detail)
        site.on_test.append((begin, begin + 6 * HOUR, "inspection"))
    return f"{story} {detail}".strip()


def play(sites: list[Site]) -> tuple[list[Signal], list[TruthRow]]:
    """Every signal of every rostered site, before incidents, and the truth about each."""
    for site in sites:
        site.first_at, site.last_at = clock.START, clock.END
    notes: dict[int, str] = {}
    faulty: dict[int, tuple[str, str]] = {}
    for fault, kind, strength in PLAN:
        site = take(sites, kind)
        site.role = fault
        if fault == "test_overdue" and site.archetype == "burglary_dialer":
            site.sends_openings = "yes"
        faulty[site.index] = (fault, strength)
    for story, kind, detail in STORIES:
        site = take(sites, kind)
        notes[site.index] = tell_story(site, story, detail)
    for block, plan in (("a", plan_a.PLAN), ("b", plan_b.PLAN), ("c", plan_c.PLAN)):
        for fault, kind, strength in plan:
            site = take(sites, kind, block)
            site.role = fault
            faulty[site.index] = (fault, strength)
    signals: list[Signal] = []
    truth: list[TruthRow] = []
    for site in sites:
        life = live(site)
        if site.index not in faulty:
            truth.append(TruthRow(site.account, "healthy", "", "", notes.get(site.index, "")))
            signals += stamped(site, life)
            continue
        fault, strength = faulty[site.index]
        planted = PLANTERS[fault](site, life, Dice(5, site.index), strength)
        week = clock.week_label(min(planted.shows_at, clock.END - 1))
        truth.append(TruthRow(site.account, planted.fault or fault, week, planted.also, planted.note, planted.cause))
        for stray in planted.strays:
            note = f"what {site.account} sends under a number of no roster"
            truth.append(TruthRow(stray.account, stray.fault, week, stray.also, note))
        signals += stamped(site, planted.signals)
    return signals, truth
