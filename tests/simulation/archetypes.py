"""The kinds of healthy site, and the population of the demo."""

from __future__ import annotations

from datetime import date, timedelta

from tests.simulation import station
from tests.simulation.clock import DAY, HOUR, MINUTE, WEEK
from tests.simulation.dice import Dice
from tests.simulation.numbers import Numbers
from tests.simulation.site import Path, Site, TestTimer, Zone

FIRE, BURGLARY, FIRE_OR_BOTH = ("fire",), ("burglary",), ("fire", "fire", "combined")
# (archetype, how many, system types to draw from, block); a plan takes its sites from its own block, and
# a new line at the end leaves all sites before it as they are
POPULATION = [
    ("fire_dialer", 48, FIRE, ""),
    ("fire_two_lines", 24, FIRE, ""),
    ("fire_radio", 34, FIRE, ""),
    ("fire_phone_cell", 26, FIRE_OR_BOTH, ""),
    ("supervised_single", 9, ("fire", "combined"), ""),
    ("supervised_dual", 11, FIRE_OR_BOTH, ""),
    ("combined_dialer", 16, ("combined",), ""),
    ("burglary_dialer", 62, BURGLARY, ""),
    ("burglary_internet", 36, BURGLARY, ""),
    ("burglary_internet_cell", 24, BURGLARY, ""),
    ("small", 14, ("holdup", "medical", "medical", "environment"), ""),
    ("captured_radio", 18, FIRE, "a"),
    ("captured_line", 16, FIRE, "a"),
    ("captured_dual", 14, FIRE, "a"),
    ("fire_phone_cell", 8, FIRE, "a"),
    ("fire_dialer", 10, FIRE, "a"),
    ("burglary_dialer", 8, BURGLARY, "a"),
    ("burglary_internet", 8, BURGLARY, "a"),
    ("supervised_single", 6, FIRE, "a"),
    ("burglary_wireless", 10, BURGLARY, "b"),
    ("fire_waterflow", 10, FIRE, "b"),
    ("burglary_partitions", 12, BURGLARY, "b"),
    ("burglary_users", 10, BURGLARY, "b"),
    ("fire_dialer", 12, FIRE, "b"),
    ("combined_dialer", 8, ("combined",), "b"),
    ("captured_radio", 6, FIRE, "b"),
    ("burglary_internet", 8, BURGLARY, "b"),
    ("fire_two_lines", 6, FIRE, "b"),
    ("burglary_dialer", 12, BURGLARY, "b"),
    ("fire_phone_cell", 5, FIRE_OR_BOTH, "b"),
    ("burglary_internet_cell", 4, BURGLARY, "b"),
    ("burglary_internet", 3, BURGLARY, "c"),
    ("burglary_dialer", 1, BURGLARY, "c"),
    ("fire_dialer", 4, FIRE, "c"),
    ("fire_phone_cell", 1, FIRE, "c"),
    ("captured_line", 1, FIRE, "c"),
    ("captured_radio", 2, FIRE, "c"),
    ("burglary_users", 1, BURGLARY, "c"),
    ("combined_dialer", 1, ("combined",), "c"),
    ("fire_two_lines", 1, FIRE, "c"),
    ("fire_waterflow", 1, FIRE, "c"),
]
TRANSMITTERS = {
    "fire_dialer": "dialer",
    "fire_two_lines": "two-line dialer",
    "fire_radio": "radio transmitter R",
    "fire_phone_cell": "dialer with cellular unit",
    "supervised_single": "internet communicator S",
    "supervised_dual": "internet communicator S",
    "combined_dialer": "dialer",
    "burglary_dialer": "dialer",
    "burglary_internet": "internet communicator T",
    "burglary_internet_cell": "dual communicator T",
    "small": "dialer",
    "captured_radio": "capturing radio transmitter Q",
    "captured_line": "capturing radio transmitter Q with line sensing",
    "captured_dual": "capturing dual communicator V",
    "burglary_wireless": "internet communicator T",
    "fire_waterflow": "dialer",
    "burglary_partitions": "dialer",
    "burglary_users": "internet communicator T",
    "fire_one_way_radio": "radio transmitter O",  # not in the demo
}
STAMPING = ("captured_dual", "supervised_single", "supervised_dual")
OWN_POINT = "910"  # the point number under which a capturing transmitter speaks of itself
# Archetypes whose panel dials into a transmitter that puts the account number in its place.
CAPTURED = ("captured_radio", "captured_line", "captured_dual")


def account_numbers(dice: Dice, count: int) -> list[str]:
    """Distinct four-digit numbers, leading zeros among them, in a scattered order."""
    numbers = [f"{n:04d}" for n in range(101, 9990) if len(set(f"{n:04d}")) > 1 and n not in (1234, 4321)]
    return dice.shuffled(numbers)[:count]


def population() -> list[Site]:
    """All rostered sites in a fixed order; some numbers are kept back for strangers."""
    dice = Dice(1)
    total = sum(count for _, count, _, _ in POPULATION)
    numbers = account_numbers(dice, total)
    taken = Numbers(set(numbers))
    sites: list[Site] = []
    for archetype, count, types, block in POPULATION:
        for _ in range(count):
            index = len(sites)
            site = make(index, numbers[index], archetype, types, Dice(2, index))
            site.block, site.numbers = block, taken
            sites.append(site)
    _share_premises([s for s in sites if not s.block])
    return sites


def _share_premises(sites: list[Site]) -> None:
    """Six premises hold a fire and a burglary account: planned neighbours."""
    fire = [s for s in sites if s.archetype == "fire_dialer"][-6:]
    for one, other in zip(fire, [s for s in sites if s.archetype == "burglary_dialer"][-6:], strict=True):
        other.site, other.customer, other.area = one.site, one.customer, one.area
        other.exchange, other.dealer, other.installer = one.exchange, one.dealer, one.installer


def make(index: int, account: str, archetype: str, types: tuple[str, ...], dice: Dice) -> Site:
    """One site of a kind, its details drawn from ``dice``."""
    system = dice.pick(types)
    dealer = dice.weighted(list(station.DEALERS), [share for _, share in station.DEALERS.values()])
    panels = station.PANELS.get(system, station.PANELS["other"])
    paths, timers, panel_test = _ways(archetype, system, dice)
    burglary = system in ("burglary", "combined")
    site = Site(
        index=index,
        account=account,
        archetype=archetype,
        site=f"Site {index + 1:03d}",
        customer=f"Customer {dice.whole(1, 260):03d}",
        dealer=dealer,
        installer=dice.pick(station.DEALERS[dealer][0]),
        system_type=system,
        area=dice.pick(station.AREAS),
        exchange=dice.pick(station.EXCHANGES),
        transmitter=TRANSMITTERS[archetype],
        panel=dice.pick(panels),
        paths=paths,
        zones=_zones(system, archetype, dice),
        timers=timers,
        installed_on=str(date(2016, 3, 1) + timedelta(days=dice.whole(0, 3700))),
        keeps_wall_clock=dice.chance(0.55),
        business=burglary and dice.chance(0.6),
        has_contacts="yes" if archetype == "fire_radio" or archetype in CAPTURED else "no",
        panel_test_interval=panel_test,
        sends_openings="yes" if burglary and dice.chance(0.75) else "no",
        stamps=archetype in STAMPING,
    )
    if archetype in CAPTURED:
        site.panel_account = f"{dice.whole(101, 9989):04d}"
    if archetype in ("burglary_partitions", "burglary_users"):
        site.sends_openings = "yes"
    return site


def _ways(archetype: str, system: str, dice: Dice) -> tuple[list[Path], list[TestTimer], str]:
    """Paths, test timers and the panel's own test interval of one kind of site."""
    if archetype in ("fire_dialer", "combined_dialer", "fire_waterflow"):
        return [_path("phone", dice, test="6h")], [TestTimer(("phone",), 6 * HOUR)], ""
    if archetype == "fire_two_lines":
        one = _path("phone1", dice, test="12h", line=("1", "1"))
        two = _path("phone2", dice, "backup", test="12h", line=("1", "2"))
        return [one, two], [TestTimer(("phone1", "phone2"), 6 * HOUR)], ""
    if archetype == "fire_radio":
        ways = [_path("radio", dice, supervision="60min", checks="no")]
        tests = [TestTimer(("radio",), DAY)]
        if dice.chance(0.5):  # a telephone line kept as backup, sensed and tested by the transmitter
            ways[0].supervision_interval = "6h"
            ways.append(_path("phone", dice, "backup", test="24h"))
            tests.append(TestTimer(("phone",), DAY, "communicator"))
        return ways, tests, "24h"
    if archetype == "fire_one_way_radio":  # hears no answer: a test a day, each sent several times by the radio itself
        return [_path("one_way_radio", dice, test="24h")], [TestTimer(("one_way_radio",), DAY)], ""
    if archetype == "fire_phone_cell":
        ways = [_path("phone", dice, test="6h"), _path("cellular", dice, "backup", test="24h")]
        return ways, [TestTimer(("phone",), 6 * HOUR), TestTimer(("cellular",), DAY, "communicator")], ""
    if archetype == "supervised_single":
        way = _path("internet", dice, line=("2", "1"), supervision="60min", checks="yes")
        way.check_in_s = 25 * MINUTE
        return [way], [TestTimer(("internet",), DAY)], "24h"
    if archetype == "supervised_dual":
        first = _path("internet", dice, line=("2", "1"), supervision="6h", checks="yes")
        second = _path("cellular", dice, "backup", supervision="6h", checks="yes")
        first.check_in_s, second.check_in_s = HOUR, 165 * MINUTE
        return [first, second], [TestTimer(("internet",), DAY)], "24h"
    if archetype in ("captured_radio", "captured_line"):
        ways = [_path("radio", dice, supervision="60min", checks="no", line=("2", "3"))]
        if archetype == "captured_line":  # a telephone line as second path, sensed and tested by the transmitter
            ways[0].supervision_interval = "6h"
            ways.append(_path("phone", dice, "backup", test="24h"))
        tests = [TestTimer((way.path,), DAY, "communicator", OWN_POINT) for way in ways]
        return ways, [TestTimer(("radio",), DAY), *tests], "24h"
    if archetype == "captured_dual":
        ways = [
            _path("internet", dice, line=("2", "1"), supervision="6h", checks="yes"),
            _path("cellular", dice, "backup", supervision="6h", checks="yes"),
        ]
        ways[0].check_in_s, ways[1].check_in_s = 2 * HOUR, 165 * MINUTE
        return ways, [TestTimer(("internet",), DAY)], "24h"
    if archetype in ("burglary_internet", "burglary_wireless", "burglary_users"):
        return [_path("internet", dice, test="24h", checks="no")], [TestTimer(("internet",), DAY)], ""
    if archetype == "burglary_internet_cell":
        ways = [_path("internet", dice, test="24h", checks="no")]
        ways.append(_path("cellular", dice, "backup", test="7d", checks="no"))
        return ways, [TestTimer(("internet",), DAY), TestTimer(("cellular",), WEEK, "communicator")], ""
    period, text = (WEEK, "7d") if system == "environment" else (DAY, "24h")
    return [_path("phone", dice, test=text)], [TestTimer(("phone",), period)], ""


def _path(
    name: str,
    dice: Dice,
    role: str = "primary",
    *,
    test: str = "",
    supervision: str = "",
    checks: str = "",
    line: tuple[str, str] | None = None,
) -> Path:
    kind = name.rstrip("0123456789")
    receiver, line_no = line or dice.pick(station.LINES[kind])
    network = dice.pick(station.NETWORKS[kind])
    return Path(name, kind, role, network, receiver, line_no, test, supervision, checks)


def _zones(system: str, archetype: str, dice: Dice) -> list[Zone]:
    zones: list[Zone] = []
    kinds: list[str] = []
    if system in ("fire", "combined"):
        kinds += ["smoke", "pull"] + [dice.pick(station.FIRE_ZONES) for _ in range(dice.whole(3, 8))]
    if system in ("burglary", "combined"):
        kinds += ["entry"] + [dice.pick(station.BURGLARY_ZONES) for _ in range(dice.whole(3, 7))]
    kinds += station.OTHER_ZONES.get(system, [])
    if archetype == "fire_waterflow":
        kinds += ["waterflow", "waterflow", "valve_tamper", "valve_tamper"]
    halves = archetype == "burglary_partitions"
    for number, kind in enumerate(kinds, start=1):
        partition = "02" if halves and 2 * number > len(kinds) else "01"
        zones.append(Zone(partition, f"{number:03d}", kind, f"{kind.replace('_', ' ')} {number}"))
    if archetype == "fire_radio" or archetype in CAPTURED:
        for name, (zone, _) in station.CONTACT_ZONES.items():
            zones.append(Zone("01", zone, "contact_input", f"panel {name} contact"))
    if archetype in CAPTURED:
        zones.append(Zone("00", OWN_POINT, "communicator", "the transmitter itself"))
    if archetype in ("burglary_partitions", "burglary_users"):
        for number in range(1, dice.whole(4, 9)):
            zones.append(Zone("01", f"{number:03d}", "user", f"user {number}"))
            if halves:
                zones.append(Zone("02", f"{number:03d}", "user", f"user {number}"))
    return zones
