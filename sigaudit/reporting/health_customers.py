"""Who gets which report: sites gathered by customer and dealer, and file names that any system takes.

One report holds one customer's sites of one dealer. Where one name stands with several mail addresses, they are taken
for different people: nobody's data goes to somebody else's address.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sigaudit.reporting.health_model import STATES, Site

__all__ = ["Customer", "Dealer", "gather", "safe_name"]

_LONGEST = 40


@dataclass(frozen=True)
class Customer:
    """One report: ``name`` '' where the roster names nobody; ``stem`` the file name without its ending."""

    name: str
    dealer: str
    email: str
    language: str
    sites: Sequence[Site]
    stem: str

    @property
    def state(self) -> str:
        """That of the worst of its sites."""
        return min((site.state for site in self.sites), key=STATES.index)

    @property
    def is_for_sending(self) -> bool:
        """True where the roster wants every site of it reported by mail."""
        return all(site.row["send_report"] == "yes" for site in self.sites)


@dataclass(frozen=True)
class Dealer:
    """One folder: ``name`` '' for sites without a dealer."""

    name: str
    folder: str
    customers: Sequence[Customer]

    @property
    def sites(self) -> list[Site]:
        return [site for customer in self.customers for site in customer.sites]


def gather(sites: Sequence[Site]) -> list[Dealer]:
    """Every site once, in order of dealer and customer; those without a name come last."""
    groups: dict[tuple[str, str, str, str], list[Site]] = defaultdict(list)
    mails = _mails(sites)
    for site in sites:
        dealer, name, email = (str(site.row[column]).strip() for column in ("dealer", "customer", "customer_email"))
        # Without a customer's name the premises stand for it, and without those the account itself.
        stand_in = "" if name else str(site.row["site"]).strip() or site.key
        known = mails[dealer, name.casefold()]
        shared = next(iter(known)) if name and len(known) == 1 else email.casefold()
        groups[dealer, name.casefold(), stand_in.casefold(), shared].append(site)
    dealers: dict[str, list[Customer]] = defaultdict(list)
    for (dealer, *rest), members in sorted(groups.items(), key=lambda item: (item[0][1] == "", item[0])):
        dealers[dealer].append(_customer(dealer, rest, members))
    found = [Dealer(name, safe_name(name, f"dealer/{name}", "dealer"), held) for name, held in dealers.items()]
    return sorted(found, key=lambda dealer: (dealer.name == "", dealer.name.casefold(), dealer.name))


def _mails(sites: Sequence[Site]) -> Mapping[tuple[str, str], set[str]]:
    found: dict[tuple[str, str], set[str]] = defaultdict(set)
    for site in sites:
        email = str(site.row["customer_email"]).strip().casefold()
        if email:
            found[str(site.row["dealer"]).strip(), str(site.row["customer"]).strip().casefold()].add(email)
    return found


def _customer(dealer: str, rest: Sequence[str], members: Sequence[Site]) -> Customer:
    ordered = sorted(members, key=lambda s: (str(s.row["site"]), str(s.row["system_type"]), s.key))
    name = str(ordered[0].row["customer"]).strip()
    first = {
        column: next((str(s.row[column]) for s in ordered if s.row[column]), "")
        for column in ("customer_email", "language")
    }
    stem = safe_name(name or str(ordered[0].row["site"]), "/".join((dealer, *rest)), "customer")
    return Customer(name, dealer, first["customer_email"].strip(), first["language"], ordered, stem)


def safe_name(text: str, identity: str, fallback: str) -> str:
    """A file name of small letters, digits and hyphens: what can be kept of ``text``, and eight digits of its identity.

    No reserved name, no dot, no blank at an end, at most 49 signs: the rules of Windows. The same from month to month.
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii").lower()
    kept = re.sub("[^a-z0-9]+", "-", plain)[:_LONGEST].strip("-")
    return f"{kept or fallback}-{hashlib.sha256(identity.encode('utf-8')).hexdigest()[:8]}"
