"""The faults of who is heard at all, and under which number."""

from __future__ import annotations

from dataclasses import replace

from tests.simulation import clock
from tests.simulation.clock import DAY, HOUR, MINUTE
from tests.simulation.dice import Dice
from tests.simulation.episodes import Pairs
from tests.simulation.happenings import lively
from tests.simulation.life import live
from tests.simulation.planting import Planted, Planter, Stray
from tests.simulation.site import Signal, Site
from tests.simulation.station import LINES


def account_near_miss(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = kind of slip/from when on; ``panel``: the transmitter no longer puts its number in."""
    kind, since_text = strength.split("/")
    since = clock.at(since_text)
    note = f"under another number by {kind} since {since_text}"
    if kind == "panel":
        life = life + lively(site, dice, 4)
        wrong = site.panel_account = site.numbers.free(dice)
        kept = [replace(s, account=wrong) if s.origin == "panel" and s.at >= since else s for s in life]
        stray = Stray(wrong, also="account_near_miss")
        # What the panel no longer says under this number, its contacts still do.
        also = "panel_silent;contacts_only;test_overdue;trouble_standing;ac_power_out_standing"
        return Planted(kept, since + 4 * DAY, note, also, "override_not_set", [stray])
    wrong = site.numbers.slip(site.account, kind)
    kept = [replace(s, account=wrong) if s.at >= since else s for s in life]
    also = "gone_silent;test_overdue"
    return Planted(kept, since + 3 * DAY, note, also, "account_mistyped", [Stray(wrong, also="account_near_miss")])


def default_account_in_use(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = number/from when on: a new box that was never given its number. Found on that number."""
    number, since_text = strength.split("/")
    since = clock.at(since_text)
    kept = [replace(s, account=number) if s.at >= since else s for s in life]
    note = f"a box exchanged {since_text} sends under {number}"
    stray = Stray(number, "default_account_in_use", "account_not_on_roster")
    return Planted(kept, since + 3 * DAY, note, "test_overdue", "override_not_set", [stray], "gone_silent")


def cancelled_still_sending(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = cancelled on/share of the signals that go on coming."""
    day, share = strength.split("/")
    end = clock.at(f"{day} 12:00")
    site.status, site.cancelled_on = "cancelled", day
    kept = [s for s in life if s.at < end or dice.chance(float(share))]
    return Planted(kept, end + 8 * DAY, f"cancelled {day}, {share} of its signals go on", cause="roster_wrong")


def two_accounts_one_site(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = happenings a week/share also heard by telephone under the panel's own number."""
    a_week, share = strength.split("/")
    life = life + lively(site, dice, int(a_week))
    own = site.panel_account = site.numbers.free(dice)
    receiver, line = dice.pick(LINES["phone"])
    copies = [
        replace(s, account=own, receiver=receiver, line=line, at=s.at + dice.whole(6, 45), pair=0)
        for s in life
        if s.origin == "panel" and dice.chance(float(share))
    ]
    note = f"{share} of what the panel says also comes by telephone under {own}"
    stray = Stray(own, also="two_accounts_one_site;account_near_miss")
    return Planted(life + copies, clock.monday(3), note, "account_near_miss", "override_not_set", [stray])


def one_account_two_sites(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = from when on a second site sends under the number/``same`` or ``other`` receiver line."""
    since_text, where = strength.split("/")
    since = clock.at(since_text)
    twin = replace(site, index=site.index + 50_000, paths=[replace(p) for p in site.paths], zones=[], timers=[])
    for way in twin.paths:
        others = [spot for spot in LINES[way.kind] if spot != (way.receiver, way.line)]
        if others and where == "other":
            way.receiver, way.line = dice.pick(others)
    twin.timers = list(site.timers)
    twin.zones = [
        replace(z, zone=f"{int(z.zone) + 30:03d}") if z.kind not in ("contact_input", "communicator") else z
        for z in site.zones
    ]
    second = [s for s in live(twin) + lively(twin, dice, 3) if s.at >= since]
    note = f"a second system sends under this number since {since_text}, {where} line"
    also = "zone_not_listed;test_timer_doubled;unexpected_receiver_line"
    return Planted(life + second, since + 10 * DAY, note, also, "account_shared")


def unexpected_receiver_line(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = from when on/share of the signals that come in on another line."""
    since_text, share = strength.split("/")
    since, first = clock.at(since_text), site.way()
    # A neighbour line of the same receiver may be its hunting group; another receiver never is.
    others = sorted(LINES[first.kind], key=lambda spot: (spot[0] == first.receiver, spot))
    receiver, line = next(spot for spot in others if spot != (first.receiver, first.line))
    moved = [
        replace(s, receiver=receiver, line=line)
        if s.at >= since and (s.receiver, s.line) == (first.receiver, first.line) and dice.chance(float(share))
        else s
        for s in life
    ]
    note = f"{share} of its signals come in on {receiver}/{line} since {since_text}"
    return Planted(moved, since + 4 * DAY, note, "", "roster_wrong")


def panel_silent(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = how/from when on: ``dead``, a panel that does nothing, or ``uncaptured``, one nobody hears.

    A panel that is not captured still works its contacts, and puts itself in trouble minutes after each message
    it could not deliver.
    """
    how, since_text = strength.split("/")
    since = clock.at(since_text)
    life = life + lively(site, dice, 3)
    if how == "dead":
        kept = [s for s in life if s.at < since or (s.origin != "panel" and s.form != "contact_input")]
        note = f"nothing of the panel since {since_text}; the transmitter goes on"
        return Planted(kept, since + 3 * DAY, note, "test_overdue", "supervision_not_enabled")
    kept = [s for s in life if s.at < since or s.origin != "panel"]
    kept += failed_calls(site, life, dice, since)
    note = f"no message of the panel captured since {since_text}; its contacts and the transmitter go on"
    return Planted(kept, since + 3 * DAY, note, "test_overdue;contacts_only;trouble_returning", "panel_not_captured")


def failed_calls(site: Site, life: list[Signal], dice: Dice, since: int) -> list[Signal]:
    """The trouble contact of a panel that could not deliver, minutes after each message lost, and back."""
    zone = next((z for z in site.zones if z.kind == "contact_input" and "trouble" in z.label), None)
    if zone is None:
        return []
    pairs, found, busy = Pairs(site.index + 1, 7000), [], 0.0
    form = {"form": "contact_input", "origin": "communicator"}
    for s in sorted(life, key=lambda one: one.at):
        if s.origin == "panel" and s.at >= since and s.at > busy and s.event[0] == "E" and s.at < clock.END - 2 * HOUR:
            start, length = s.at + dice.between(4 * MINUTE, 8 * MINUTE), dice.between(5 * MINUTE, 50 * MINUTE)
            found += pairs.episode(site, start, length, "300", zone.zone, zone.partition, **form)
            busy = start + length
    return found


def silent_after_power_loss(site: Site, life: list[Signal], dice: Dice, strength: str) -> Planted:
    """``strength`` = when the mains went/hours the battery held."""
    lost_text, hours = strength.split("/")
    lost = clock.at(lost_text)
    end = lost + float(hours) * HOUR
    kept = [s for s in life if s.at < lost or (s.at < end and s.event[1:] not in ("301", "302"))]
    kept.append(site.say(lost, "E301"))
    if float(hours) > 0.5:
        kept.append(site.say(end - dice.between(10 * MINUTE, 25 * MINUTE), "E302"))
    note = f"mains lost {lost_text}, silent {hours} h later"
    also = "gone_silent;test_overdue;ac_power_out_standing;battery_low_standing"
    return Planted(kept, lost + 2 * DAY, note, also, "battery_aged")


PLANTERS: dict[str, Planter] = {
    "account_near_miss": account_near_miss,
    "default_account_in_use": default_account_in_use,
    "cancelled_still_sending": cancelled_still_sending,
    "two_accounts_one_site": two_accounts_one_site,
    "one_account_two_sites": one_account_two_sites,
    "unexpected_receiver_line": unexpected_receiver_line,
    "panel_silent": panel_silent,
    "silent_after_power_loss": silent_after_power_loss,
}
