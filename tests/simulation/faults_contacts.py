"""The faults of dry contacts beside the captured messages."""

from __future__ import annotations

from dataclasses import replace

from tests.simulation import clock
from tests.simulation.clock import DAY
from tests.simulation.dice import Dice
from tests.simulation.faults_reach import failed_calls
from tests.simulation.happenings import lively
from tests.simulation.planting import Planted, Planter
from tests.simulation.site import Signal, Site
from tests.simulation.station import CONTACT_ZONES

KINDS = ("alarm", "trouble")


def _contact(s: Signal) -> bool:
    return s.form == "contact_input"


def contacts_only(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = from when on/happenings a week: contacts still come, the messages beside them do not."""
    since_text, a_week = strength.split("/")
    since = clock.at(since_text)
    life = life + lively(site, dice, int(a_week), KINDS)
    kept = [s for s in life if s.at < since or s.origin != "panel" or _contact(s)]
    kept += failed_calls(site, life, dice, since)
    note = f"no captured message since {since_text}, {a_week} happenings a week by contact"
    return Planted(kept, since + 7 * DAY, note, "panel_silent;test_overdue;trouble_returning", "panel_not_captured")


def contacts_missing(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = from when on/which contact (alarm, trouble or all)/happenings a week."""
    since_text, which, a_week = strength.split("/")
    since = clock.at(since_text)
    gone = {zone for name, (zone, _) in CONTACT_ZONES.items() if which in ("all", name)}
    life = life + lively(site, dice, int(a_week), KINDS)
    kept = [s for s in life if s.at < since or not _contact(s) or s.zone not in gone]
    note = f"no {which} contact since {since_text}; the messages come"
    return Planted(kept, since + 10 * DAY, note, "", "contacts_not_wired")


def contacts_disagree(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = how/happenings a week: ``inverted``, ``crossed`` or ``type``, from the first day on."""
    how, a_week = strength.split("/")
    life = life + lively(site, dice, int(a_week), KINDS)
    alarm, trouble = CONTACT_ZONES["alarm"], CONTACT_ZONES["trouble"]
    other = {alarm: trouble, trouble: alarm}
    told = []
    for s in life:
        key = (s.zone, s.event[1:])
        if not _contact(s) or key not in other:
            told.append(s)
        elif how == "inverted":
            told.append(replace(s, event=("R" if s.event[0] == "E" else "E") + s.event[1:]))
        elif how == "crossed":
            zone, code = other[key]
            told.append(replace(s, zone=zone, event=s.event[0] + code))
        else:  # one input reports a kind that is not its own
            told.append(replace(s, event=s.event[0] + "200") if key == alarm else s)
    causes = {"inverted": "contacts_inverted", "crossed": "contacts_crossed", "type": "contact_type_wrong"}
    turned = "restore_before_event;trouble_standing;point_rests_in_alarm"
    also = turned if how == "inverted" else "contacts_missing"
    note = f"contacts {how}, {a_week} happenings a week"
    return Planted(told, clock.monday(3), note, also, causes[how])


PLANTERS: dict[str, Planter] = {
    "contacts_only": contacts_only,
    "contacts_missing": contacts_missing,
    "contacts_disagree": contacts_disagree,
}
