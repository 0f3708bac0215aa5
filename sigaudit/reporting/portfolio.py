"""What a dealer sees of a month: how the systems stand, beside other months, whom to call, who sends most.

One page per dealer, and one for the station over all dealers. No script; its drawing is a part of the page.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache

from jinja2 import Template

from sigaudit.reporting import catalogue
from sigaudit.reporting.catalogue import Catalogue, Place
from sigaudit.reporting.health_customers import Customer, Dealer
from sigaudit.reporting.health_model import STATES, Month, Site
from sigaudit.reporting.health_page import style
from sigaudit.reporting.health_ways import way_name
from sigaudit.reporting.identity import Identity
from sigaudit.reporting.page import environment

__all__ = ["Past", "page", "station_page"]

_BEST_FIRST = tuple(reversed(STATES))
_MOST_SIGNALS = 10
# A month to compare with, and the dealer as it stood then (None: it had no system).
Past = tuple[Month, Dealer | None]


@dataclass(frozen=True)
class _Share:
    """How the systems of one month stood: counts by state, tests received of due, days held."""

    month: str
    counts: Sequence[tuple[str, int, str]]  # (state, n, share in words)
    bars: Sequence[tuple[str, float, float]]  # (state, x, width) of 600
    systems: int
    tests: str
    held: str


def page(dealer: Dealer, compared: Sequence[Past], identity: Identity, month: Month) -> str:
    """The page of one dealer as HTML text, in the station's language."""
    words = catalogue.of(identity.language, "en")
    shares = [_share(dealer.sites, month, words)]
    shares += [_share(past.sites, then, words) for then, past in compared if past is not None]
    healthy = sum(1 for site in dealer.sites if site.state == "healthy")
    busiest, sent, total = _busiest(dealer)
    return _template().render(
        **_frame(words, identity, month),
        heading=words.say("portfolio.title", dealer=dealer.name or words.say("portfolio.no_dealer")),
        internal=words.say("portfolio.internal"),
        count=_count(dealer.customers, words),
        shares=shares,
        missing=_missing(month, [then for then, past in compared if past is not None], words),
        shares_title=words.say("portfolio.shares_title", share=words.percent(healthy, len(dealer.sites))),
        calls=_calls(dealer, words),
        busiest=[_busy(customer, site, total, words) for customer, site in busiest],
        busiest_share=words.say("portfolio.busiest_share", share=words.percent(sent, total), n=total),
        unproven=_unproven(dealer, words),
        customers=[_row(customer, words) for customer in dealer.customers],
        dealers=[],
    )


def station_page(dealers: Sequence[Dealer], identity: Identity, month: Month) -> str:
    """The page over all dealers, for the station alone."""
    words = catalogue.of(identity.language, "en")
    customers = [customer for dealer in dealers for customer in dealer.customers]
    sites = [site for dealer in dealers for site in dealer.sites]
    healthy = sum(1 for site in sites if site.state == "healthy")
    return _template().render(
        **_frame(words, identity, month),
        heading=words.say("portfolio.station_title"),
        internal=words.say("portfolio.station_internal"),
        count=_count(customers, words),
        shares=[_share(sites, month, words)],
        missing=[],
        shares_title=words.say("portfolio.shares_title", share=words.percent(healthy, len(sites))),
        dealers=[
            {
                "name": dealer.name or words.say("portfolio.no_dealer"),
                "file": f"{dealer.folder}/index.html",
                "share": _share(dealer.sites, month, words),
            }
            for dealer in dealers
        ],
    )


def _frame(words: Catalogue, identity: Identity, month: Month) -> dict[str, object]:
    place = Place(month.clock, words)
    return {
        "say": words.say,
        "number": words.number,
        "language": words.language,
        "identity": identity,
        "style": style(),
        "month": words.month(month.days[0][0]),
        "states": _BEST_FIRST,
        "as_of": place.moment(month.as_of_utc, year=True),
        "zone": month.clock.zone,
    }


def _count(customers: Sequence[Customer], words: Catalogue) -> str:
    systems = sum(len(customer.sites) for customer in customers)
    return words.say("portfolio.count", accounts=systems, customers=len(customers))


def _share(sites: Sequence[Site], month: Month, words: Catalogue) -> _Share:
    states = Counter(site.state for site in sites)
    counts, bars, x = [], [], 0.0
    for state in _BEST_FIRST:
        n = states[state]
        width = 600.0 * n / len(sites) if sites else 0.0
        counts.append((state, n, words.percent(n, len(sites))))
        bars.append((state, round(x, 2), round(width, 2)))
        x += width
    tests = [way.tests for site in sites for way in site.ways if way.tests is not None and way.tests.judged]
    tests += [site.whole for site in sites if site.whole is not None and site.whole.judged]
    got = sum(kept.received for kept in tests)
    due = got + sum(kept.missed for kept in tests)
    said = words.say("portfolio.held", n=got, of=due) + (f" ({words.percent(got, due)})" if due else "")
    held = words.say("portfolio.held", n=month.n_held, of=len(month.days))
    return _Share(words.month(month.days[0][0]), counts, bars, len(sites), said, held)


def _missing(month: Month, held: Sequence[Month], words: Catalogue) -> list[str]:
    """The month before and the same month of the year before, where nothing is held to compare with."""
    first = month.days[0][0]
    before = (first - timedelta(days=1)).replace(day=1)
    wanted = (before, first.replace(year=first.year - 1))
    had = {then.days[0][0] for then in held}
    return [f"{words.month(day)}: {words.say('portfolio.not_held')}" for day in wanted if day not in had]


def _calls(dealer: Dealer, words: Catalogue) -> list[dict[str, object]]:
    """Customers whose system is not heard or needs care, the worst first, each with what is to be said."""
    found = []
    for customer in sorted(dealer.customers, key=lambda c: STATES.index(c.state)):
        if customer.state in ("silent", "degraded"):
            why = [text for site in customer.sites for text in _reasons(site, customer, words)]
            found.append({**_row(customer, words), "why": why})
    return found


def _reasons(site: Site, customer: Customer, words: Catalogue) -> list[str]:
    said = [words.say(f"advice.{key}", way=_way(site, path, words)) for key, path in site.advice]
    said += [words.say(f"condition.{trouble.condition.word}") for trouble in site.troubles if trouble.open]
    return [f"{site.row['site']}: {text}" if len(customer.sites) > 1 else text for text in dict.fromkeys(said)]


def _way(site: Site, path: str, words: Catalogue) -> str:
    way = next((way for way in site.ways if way.path == path), None)
    return way_name(way, words) if way else words.say("ways.panel" if path == "panel" else "ways.whole")


def _busiest(dealer: Dealer) -> tuple[list[tuple[Customer, Site]], int, int]:
    pairs = [(customer, site) for customer in dealer.customers for site in customer.sites]
    total = sum(site.row["signals"] for _, site in pairs)
    pairs.sort(key=lambda pair: (-pair[1].row["signals"], pair[1].key))
    top = [pair for pair in pairs[:_MOST_SIGNALS] if pair[1].row["signals"]]
    return top, sum(site.row["signals"] for _, site in top), total


def _busy(customer: Customer, site: Site, total: int, words: Catalogue) -> dict[str, object]:
    return {
        **_row(customer, words), "site": site.row["site"], "state": site.state,
        "signals": words.number(site.row["signals"]), "share": words.percent(site.row["signals"], total),
    }  # fmt: skip


def _unproven(dealer: Dealer, words: Catalogue) -> list[dict[str, object]]:
    found = []
    for customer in dealer.customers:
        for site in customer.sites:
            if site.state == "not_proven":
                reasons = [_gap(site, what, path, words) for what, path in site.unproven]
                found.append({**_row(customer, words), "site": site.row["site"], "reason": "; ".join(reasons)})
    return found


def _gap(site: Site, what: str, path: str, words: Catalogue) -> str:
    return words.say(f"portfolio.unproven_{what}", way=_way(site, path, words))


def _row(customer: Customer, words: Catalogue) -> dict[str, object]:
    days = ", ".join(words.say("portfolio.held", n=site.n_expected, of=site.n_counted) for site in customer.sites)
    return {
        "name": customer.name or words.say("head.not_named"),
        "sites": [str(site.row["site"]) for site in customer.sites],
        "email": customer.email,
        "state": customer.state,
        "file": f"{customer.stem}.html",
        "days": days,
    }


@lru_cache(maxsize=1)
def _template() -> Template:
    return environment().get_template("health_dealer.html.j2")
