"""The health reports of a month: one folder per dealer, one page and one PDF per customer, and who is to be called."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

from sigaudit.errors import UsageProblem
from sigaudit.known_names import did_you_mean
from sigaudit.reporting import catalogue, health_facts, health_page, health_pdf, portfolio
from sigaudit.reporting.files import write_csv, write_text
from sigaudit.reporting.health_customers import Customer, Dealer, gather
from sigaudit.reporting.health_words import Setting, compose
from sigaudit.reporting.identity import Identity
from sigaudit.reporting.page import RunLike
from sigaudit.store.progress import Progress, over, silent

__all__ = ["LIST_COLUMNS", "Asked", "write"]

# One row per system: what the folder holds, for spreadsheets and for sending.
LIST_COLUMNS = (
    "dealer", "customer", "site", "account_key", "state", "days_as_expected", "days_counted", "language", "report",
)  # fmt: skip
_OURS = ("*.html", "*.pdf")


@dataclass(frozen=True)
class Asked:
    """What is wanted: everything, one customer's report, or one dealer's folder."""

    customer: str = ""
    dealer: str = ""
    with_pdf: bool = True


def write(
    run: RunLike, folder: Path, identity: Identity, *, compared: Sequence[RunLike] = (), asked: Asked | None = None,
    progress: Progress = silent,
) -> list[Path]:  # fmt: skip
    """Write the reports of a month's run into ``folder``; gives every file written. The same run gives the same bytes.

    compared: runs of the months that a dealer's page is compared with, the latest first. Files
    of customers that are gone are removed from the folders written anew.
    Raises UsageProblem: no such customer or dealer.
    """
    asked = asked or Asked()
    dealers = gather(health_facts.read(run))
    wanted = _chosen(dealers, asked)
    month = health_facts.month_of(run)
    written = _customers(wanted, Setting(identity.name, identity.contact, month), folder, identity, asked, progress)
    if asked.customer:
        return written
    earlier = [(health_facts.month_of(past), gather(health_facts.read(past))) for past in compared]
    for dealer in wanted:
        page = portfolio.page(dealer, [(then, _same(dealer, held)) for then, held in earlier], identity, month)
        written.append(write_text(folder / dealer.folder / "index.html", page))
        _sweep(folder / dealer.folder, written)
    if not asked.dealer:
        written.append(write_text(folder / "index.html", portfolio.station_page(dealers, identity, month)))
        written.append(write_csv(folder / "health.csv", LIST_COLUMNS, _listed(dealers)))
        _sweep_folders(folder, {dealer.folder for dealer in dealers})
    return written


def _customers(
    dealers: Sequence[Dealer], setting: Setting, folder: Path, identity: Identity, asked: Asked,
    progress: Progress,
) -> list[Path]:  # fmt: skip
    written = []
    folders = {dealer.name: folder / dealer.folder for dealer in dealers}
    customers = [customer for dealer in dealers for customer in dealer.customers]
    with health_pdf.Press(identity, _texts(customers, identity)) if asked.with_pdf else nullcontext() as press:
        for customer in over(progress, customers, "writing health reports"):
            document = compose(customer, setting, catalogue.of(customer.language, identity.language))
            path = folders[customer.dealer] / f"{customer.stem}.html"
            written.append(write_text(path, health_page.page(document, identity)))
            if press is not None:
                printed = path.with_suffix(".pdf")
                printed.write_bytes(press.pdf(document, setting.month.as_of_utc))
                written.append(printed)
    return written


def _texts(customers: Sequence[Customer], identity: Identity) -> Iterable[str]:
    """Every text of the roster and the settings that a report can hold: the fonts are cut to their signs."""
    yield from (identity.name, identity.contact)
    for customer in customers:
        yield customer.name
        for site in customer.sites:
            yield str(site.row["site"])
            yield from (trouble.label for trouble in site.troubles)


def _same(dealer: Dealer, held: Sequence[Dealer]) -> Dealer | None:
    return next((other for other in held if other.name == dealer.name), None)


def _chosen(dealers: Sequence[Dealer], asked: Asked) -> list[Dealer]:
    if asked.dealer:
        named = [dealer for dealer in dealers if asked.dealer in (dealer.name, dealer.folder)]
        if not named:
            near = did_you_mean(asked.dealer, [dealer.name for dealer in dealers])
            raise UsageProblem(
                f"no dealer {asked.dealer!r} has a monitored account{near}", next_step="see roster/accounts.csv"
            )
        return named
    if not asked.customer:
        return list(dealers)
    found = []
    for dealer in dealers:
        mine = [c for c in dealer.customers if asked.customer in (c.name, c.stem)]
        found += [Dealer(dealer.name, dealer.folder, mine)] if mine else []
    if not found:
        near = did_you_mean(asked.customer, [c.name for dealer in dealers for c in dealer.customers])
        raise UsageProblem(
            f"no customer {asked.customer!r} has a monitored account{near}",
            next_step="give the name as the roster has it, or the name of the report's file without its ending",
        )
    return found


def _listed(dealers: Sequence[Dealer]) -> list[dict[str, object]]:
    return [
        {
            "dealer": dealer.name, "customer": customer.name, "site": site.row["site"], "account_key": site.key,
            "state": site.state, "days_as_expected": site.n_expected, "days_counted": site.n_counted,
            "language": customer.language, "report": f"{dealer.folder}/{customer.stem}.html",
        }
        for dealer in dealers
        for customer in dealer.customers
        for site in customer.sites
    ]  # fmt: skip


def _sweep(folder: Path, written: Sequence[Path]) -> None:
    """Remove reports that an earlier run left: what is no longer true must not lie beside what is."""
    kept = set(written)
    for pattern in _OURS:
        for old in folder.glob(pattern):
            if old not in kept and (old.suffix == ".html" or old.with_suffix(".html") not in kept):
                old.unlink()


def _sweep_folders(folder: Path, kept: set[str]) -> None:
    for old in folder.iterdir():
        if old.is_dir() and old.name not in kept and (old / "index.html").is_file():
            shutil.rmtree(old)
