"""Points of a site that a fault needs, and events of one point with the contact copy where there is one."""

from __future__ import annotations

from tests.simulation.dice import Dice
from tests.simulation.episodes import Pairs, protecting
from tests.simulation.site import Signal, Site, Zone
from tests.simulation.station import CONTACT_ZONES


def point(site: Site, kind: str) -> Zone:
    """The first listed point of this kind; a site without one gets it, on its zone list too."""
    found = next((z for z in site.zones if z.kind == kind), None)
    if found is None:
        number = f"{next_number(site):03d}"
        found = Zone("01", number, kind, f"{kind.replace('_', ' ')} {int(number)}")
        site.zones.append(found)
    return found


def next_number(site: Site) -> int:
    """The number after the last listed point of the panel itself."""
    return max(int(z.zone) for z in protecting(site)) + 1


def is_fire(site: Site) -> bool:
    """True where the panel is a fire panel, alone or combined."""
    return site.system_type in ("fire", "combined")


def episode(
    site: Site, pairs: Pairs, dice: Dice, start: float, length: float, code: str, at: Zone, path: str = ""
) -> list[Signal]:  # fmt: skip
    """Event and restore of one point, after the contact copy where the site has contacts."""
    found: list[Signal] = []
    if site.has_contacts == "yes":
        name = "supervisory" if code[0] == "2" else "trouble" if code[0] == "3" else "alarm"
        zone, copy = CONTACT_ZONES[name]
        found += pairs.episode(site, start, length + 1, copy, zone, form="contact_input", origin="communicator")
        start += dice.between(5, 25)
    return found + pairs.episode(site, start, length, code, at.zone, at.partition, path=path)
