"""The faults of messages that come damaged, twice, in another format or with a wrong time."""

from __future__ import annotations

from dataclasses import replace

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR
from tests.simulation.dice import Dice
from tests.simulation.happenings import lively
from tests.simulation.planting import Planted, Planter
from tests.simulation.site import Signal, Site

# A panel set to a pulse format: two digits and nothing else. Which digits is up to who programmed it.
PULSES = {"E1": "11", "R1": "21", "E3": "31", "R3": "41", "E2": "12", "R2": "22", "E4": "51", "R4": "61", "E6": "91"}


def repeated_delivery(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = from when on/share of the messages that the panel sends again, tests among them.

    Two to four copies a few seconds apart within a call, at times once more on the next call, and now and then
    a 354 after the series.
    """
    since_text, share = strength.split("/")
    since = clock.at(since_text)
    life = life + lively(site, dice, 2)
    more: list[Signal] = []
    for s in life:
        if s.origin != "panel" or s.form != "contact_id" or s.at < since or not dice.chance(float(share)):
            continue
        at = s.at
        for _ in range(dice.whole(1, 3)):
            at += dice.whole(3, 6)
            more.append(replace(s, at=at))
        if dice.chance(0.25):
            more.append(replace(s, at=at + dice.whole(30, 40)))
        if dice.chance(0.04) and s.at < clock.END - HOUR:
            more += [site.say(at + 70, "E354"), site.say(at + 110, "R354")]
    note = f"{share} of the panel's messages come two to four times since {since_text}"
    # Counted over four weeks, of which those before were sound.
    shows_at = since + (7 if float(share) > 0.5 else 16) * DAY
    return Planted(life + more, shows_at, note, "dialer_fails_to_report", "tone_level_marginal")


def garbled_messages(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = from when on/share of the calls that arrive damaged: a digit lost in code or point."""
    since_text, share = strength.split("/")
    since = clock.at(since_text)
    life = life + lively(site, dice, 3)
    told = []
    for s in life:
        if s.origin != "panel" or s.form != "contact_id" or s.at < since or not dice.chance(float(share)):
            told.append(s)
        elif dice.chance(0.25):
            continue  # answered, and no data
        else:
            spot = dice.whole(1, 3)
            told.append(replace(s, event=s.event[:spot] + dice.pick("#?ABD") + s.event[spot + 1 :]))
    note = f"{share} of the panel's messages are damaged or lost since {since_text}"
    # A restore that was lost leaves open what is over.
    also = "tests_missed_often;test_overdue;restores_missing;ac_power_out_standing;trouble_standing"
    return Planted(told, since + 10 * DAY, note, also, "tone_level_marginal")


def format_unexpected(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = from when on/share of the messages in a short format: two digits, no point, no area."""
    since_text, share = strength.split("/")
    since = clock.at(since_text)
    life = life + lively(site, dice, 3)
    told = []
    for s in life:
        if s.origin != "panel" or s.form != "contact_id" or s.at < since or not dice.chance(float(share)):
            told.append(s)
        else:
            told.append(replace(s, event=PULSES[s.event[:2]], partition="", zone="", form="other"))
    note = f"{share} of the panel's messages come in a two-digit format since {since_text}"
    # A contact whose message nobody can read stands alone.
    also = "test_overdue;tests_missed_often;test_never_sent;restores_missing;ac_power_out_standing;contacts_only"
    return Planted(told, since + 7 * DAY, note, also, "report_format_wrong")


def clock_offset(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = from when on/seconds the panel's clock is off. For panels whose own time reaches the log.

    The trade speaks of 30 to 60 min of drift over months, and of the hour of a summer time not followed.
    """
    since_text, seconds = strength.split("/")
    since, off = clock.at(since_text), int(seconds)
    life = life + lively(site, dice, 2)
    told = [
        replace(s, panel_time=s.at + off - dice.whole(5, 12)) if s.origin == "panel" and s.at >= since else s
        for s in life
    ]
    note = f"the panel's clock is {seconds} s off since {since_text}"
    # Old days count as long as they are the more.
    return Planted(told, since + 15 * DAY, note, "", "panel_clock_wrong")


PLANTERS: dict[str, Planter] = {
    "repeated_delivery": repeated_delivery,
    "garbled_messages": garbled_messages,
    "format_unexpected": format_unexpected,
    "clock_offset": clock_offset,
}
