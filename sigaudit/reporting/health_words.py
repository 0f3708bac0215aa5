"""A customer's report in words: every sentence of it, from the facts and one language's catalogue.

No code, no account number, no name of a user or a technician: what a customer can read, and nothing about people.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sigaudit.reporting.catalogue import Catalogue, Place
from sigaudit.reporting.health_customers import Customer
from sigaudit.reporting.health_document import Document, Fact, FactLine, SiteBlock, Strip
from sigaudit.reporting.health_model import EXPECTED, MISSED, SILENT, Month, Site, Trouble
from sigaudit.reporting.health_ways import missing_lines, way_name, way_rows

__all__ = ["Setting", "compose", "site_name"]

# Rows that are printed under one statement; the page holds the others folded.
_SHOWN = 3


@dataclass(frozen=True)
class Setting:
    """What stands on every report of a run: who sends it, whom to ask."""

    station: str
    contact: str
    month: Month


def compose(customer: Customer, setting: Setting, words: Catalogue) -> Document:
    """The report of one customer."""
    place = Place(setting.month.clock, words)
    month = words.month(setting.month.days[0][0])
    as_of = place.moment(setting.month.as_of_utc, year=True)
    names = [site_name(site, customer, words) for site in customer.sites]
    blocks = [_site(site, name, setting.month, place) for site, name in zip(customer.sites, names, strict=True)]
    foot = [words.say("head.made_from", station=setting.station, as_of=as_of, zone=setting.month.clock.zone)]
    if setting.contact:
        foot.insert(0, words.say("head.answers", contact=setting.contact))
    return Document(
        language=words.language,
        title=words.say("head.title"),
        month=month,
        first=setting.month.days[0][0],
        station=setting.station,
        customer=customer.name or words.say("head.not_named"),
        state=customer.state,
        state_word=words.say(f"state.{customer.state}"),
        headline=_headline(customer, words),
        advice=_advice(customer, names, words),
        needs=_needs(customer, words),
        sites=blocks,
        limits=_limits(customer, as_of, words),
        foot=foot,
        skip=words.say("head.skip"),
    )


def site_name(site: Site, customer: Customer, words: Catalogue) -> str:
    """The premises; where two systems of a customer share them, with what each is for."""
    name = str(site.row["site"])
    alike = [other for other in customer.sites if other.row["site"] == site.row["site"]]
    if len(alike) < 2:
        return name
    system = words.say(f"system.{site.row['system_type'] or 'unknown'}")
    same = [other for other in alike if other.row["system_type"] == site.row["system_type"]]
    if len(same) > 1:
        system = words.say("system.number", system=system, n=same.index(site) + 1)
    return f"{name}: {system}"


def _headline(customer: Customer, words: Catalogue) -> str:
    silent = [site for site in customer.sites if site.state == "silent"]
    if not silent:
        return words.say(f"headline.{customer.state}")
    if len(silent) < len(customer.sites):
        return words.say("headline.silent_some")
    unheard = any({f["check"] for f in site.findings} & SILENT for site in silent)
    return words.say("headline.silent" if unheard else "headline.overdue")


def _site(site: Site, name: str, month: Month, place: Place) -> SiteBlock:
    words = place.words
    lead, notes = _days(site, words)
    return SiteBlock(
        name=name,
        system="" if name != site.row["site"] else words.say(f"system.{site.row['system_type'] or 'unknown'}"),
        state=site.state,
        state_word=words.say(f"state.{site.state}"),
        lead=lead,
        notes=notes,
        strip=_strip(site, month, words),
        ways_title=words.say("ways.title"),
        ways_head=[words.say(f"ways.{key}") for key in ("way", "last", "tests", "check_ins")],
        ways=way_rows(site, place),
        missing=missing_lines(site, place),
        facts=_facts(site, month, place),
    )


def _facts(site: Site, month: Month, place: Place) -> list[Fact]:
    """Power, connections, devices and what was left open; parts without a word from the system are one line."""
    told = [_power(site, month, place), _part("lines", site, month, place), _part("care", site, month, place)]
    quiet = [fact.title for fact in told if not fact.lines]
    facts = [fact for fact in told if fact.lines]
    if quiet:
        quiet = [title if no == 0 else title[0].lower() + title[1:] for no, title in enumerate(quiet)]
        facts.append(Fact(place.words.listed(quiet), [FactLine(place.words.say("trouble.none"))]))
    return [*facts, _open(site, place)]


def _days(site: Site, words: Catalogue) -> tuple[str, list[str]]:
    notes = []
    missed = [day.day for day in site.days if day.state == MISSED]
    if missed:
        notes.append(words.say("days.missed", days=words.days(missed)))
    why: dict[str, list[date]] = defaultdict(list)
    for day in site.days:
        if not day.counts:
            why[day.state].append(day.day)
    if why:
        parts = [
            words.say("days.reason", days=words.days(days), why=words.say(f"why.{key}")) for key, days in why.items()
        ]
        notes.append(words.say("days.not_counted", list="; ".join(parts)))
    if not site.n_counted:
        return words.say("days.none"), notes
    if any(what != "days" for what, _ in site.unproven):
        notes.append(words.say("days.without"))
    return words.say("days.as_expected", n=site.n_expected, of=site.n_counted), notes


def _strip(site: Site, month: Month, words: Catalogue) -> Strip:
    cells = [(day.day, day.state if day.counts else "uncounted") for day in site.days]
    counts = {state: sum(1 for _, s in cells if s == state) for state in (EXPECTED, MISSED, "uncounted")}
    label = words.say(
        "days.strip", month=words.month(month.days[0][0]), n=counts[EXPECTED], missed=counts[MISSED],
        uncounted=counts["uncounted"],
    )  # fmt: skip
    names = ((EXPECTED, "key_expected"), (MISSED, "key_missed"), ("uncounted", "key_uncounted"))
    return Strip(label, cells, [(state, words.say(f"days.{key}")) for state, key in names if counts[state]])


def _power(site: Site, month: Month, place: Place) -> Fact:
    fact = _part("power", site, month, place)
    off = [t for t in site.troubles if t.condition.word == "mains_off"]
    weak = [t for t in site.troubles if t.condition.word in ("battery_low", "battery_missing")]
    if not off:
        return fact
    n = sum(1 for cut in off if any(_overlaps(cut, low, month) for low in weak))
    line = place.words.many("power.battery_low", n) if n else place.words.say("power.battery_quiet")
    return Fact(fact.title, [*fact.lines, FactLine(line)])


def _overlaps(one: Trouble, other: Trouble, month: Month) -> bool:
    ends = [t.until_utc or month.as_of_utc for t in (one, other)]
    return one.from_utc <= ends[1] and other.from_utc <= ends[0]


def _part(part: str, site: Site, month: Month, place: Place) -> Fact:
    """The troubles of one part, gathered by what and where, the worst of each with their times."""
    words = place.words
    groups: dict[str, list[Trouble]] = defaultdict(list)
    for trouble in site.troubles:
        listed = trouble.condition.part == part or (
            part == "care" and trouble.condition.part == "state" and trouble.condition.word != "bypass"
        )
        if listed:
            groups[_what(trouble, words)].append(trouble)
    lines = [_trouble_line(what, held, month, place) for what, held in groups.items()]
    return Fact(words.say(f"{part}.title"), lines)


def _trouble_line(what: str, held: Sequence[Trouble], month: Month, place: Place) -> FactLine:
    words, as_of = place.words, month.as_of_utc
    lengths = [t.seconds(as_of) for t in held if t.until_utc or t.open]
    if lengths:
        said = words.many(
            "trouble.sum", len(held), total=words.lasting(sum(lengths)), longest=words.lasting(max(lengths))
        )
    else:
        said = words.many("trouble.times", len(held))
    worst = sorted(held, key=lambda t: (not t.open, -t.seconds(as_of), t.from_utc))
    shown = sorted(worst[:_SHOWN], key=lambda t: t.from_utc)
    rest = sorted(worst[_SHOWN:], key=lambda t: t.from_utc)
    more = words.many("trouble.and_more", len(rest)) if rest else ""
    rows, folded = ([_span(t, as_of_s, place) for t in part] for part, as_of_s in ((shown, month), (rest, month)))
    return FactLine(f"{what}: {said}", rows, folded, more, any(t.open for t in held))


def _span(trouble: Trouble, month: Month, place: Place) -> str:
    words = place.words
    begins = place.moment(trouble.from_utc)
    if place.day_of(trouble.from_utc) < month.days[0][0]:
        begins = place.moment(trouble.from_utc, year=True)
    lasted = words.lasting(trouble.seconds(month.as_of_utc))
    if trouble.until_utc:
        end = place.end(trouble.from_utc, trouble.until_utc)
    else:
        end = words.say("trouble.open" if trouble.open else "trouble.unknown_end")
    said = f"{begins} – {end}" + (f" ({lasted})" if trouble.until_utc or trouble.open else "")
    return words.say("trouble.shared", what=said) if trouble.shared else said


def _what(trouble: Trouble, words: Catalogue) -> str:
    word = words.say(f"condition.{trouble.condition.word}")
    zone = trouble.zone.lstrip("0")
    if trouble.condition.part in ("care", "state") and (trouble.label or zone):
        return words.say("trouble.at", what=word, label=trouble.label or words.say("trouble.zone", n=zone))
    return word


def _open(site: Site, place: Place) -> Fact:
    words = place.words
    lines = [
        FactLine(words.say("open.since", what=_what(t, words), moment=place.moment(t.from_utc)), is_bad=True)
        for t in site.troubles
        if t.open
    ]
    if site.on_test_since:
        lines.append(FactLine(words.say("open.on_test", moment=place.moment(site.on_test_since)), is_bad=True))
    return Fact(words.say("open.title"), lines or [FactLine(words.say("open.none"))])


def _advice(customer: Customer, names: Sequence[str], words: Catalogue) -> Fact:
    lines = []
    for site, name in zip(customer.sites, names, strict=True):
        for key, path in site.advice:
            said = words.say(f"advice.{key}", way=_way_of(site, path, words))
            lines.append(FactLine(f"{name}: {said}" if len(customer.sites) > 1 else said))
    return Fact(words.say("advice.title"), lines or [FactLine(words.say("advice.none"))])


def _way_of(site: Site, path: str, words: Catalogue) -> str:
    way = next((way for way in site.ways if way.path == path), None)
    if way is not None:
        return way_name(way, words)
    return words.say("ways.panel" if path == "panel" else "ways.whole")


def _needs(customer: Customer, words: Catalogue) -> Fact:
    asked = {need for site in customer.sites for need in site.needs}
    keys = [key for key in ("access", "mains", "work_done") if key in asked]
    return Fact(words.say("need.title"), [FactLine(words.say(f"need.{key}")) for key in (*keys, "changes", "people")])


def _limits(customer: Customer, as_of: str, words: Catalogue) -> Fact:
    keys = ["signals", "silent_parts", "uncounted"]
    if any(len(site.ways) > 1 for site in customer.sites):
        keys.append("other_way")
    if any(kept.source == "inferred" for site in customer.sites for kept in site.judged()):
        keys.append("inferred")
    said = [words.say(f"limits.{key}") for key in keys] + [words.say("limits.judged", as_of=as_of)]
    return Fact(words.say("limits.title"), [FactLine(line) for line in said])
