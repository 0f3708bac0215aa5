"""Letters with health reports: who gets which, who waits and why, and the letters themselves (RFC 5322, MIME)."""

from __future__ import annotations

import csv
import hashlib
import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from pathlib import Path

from sigaudit.errors import InputProblem
from sigaudit.reporting import catalogue, health_facts, health_page
from sigaudit.reporting.files import write_csv
from sigaudit.reporting.health_customers import Customer, gather
from sigaudit.reporting.health_document import Document
from sigaudit.reporting.health_pdf import Press
from sigaudit.reporting.health_words import Setting, compose
from sigaudit.reporting.identity import Identity
from sigaudit.reporting.page import RunLike, rows, visible

__all__ = ["HELD_COLUMNS", "Kept", "Ready", "prepare", "read_told", "write_held"]

HELD_COLUMNS = ("report", "dealer", "customer", "why", "told_owner_at")


@dataclass(frozen=True)
class Ready:
    """A letter for one address. key: the same whenever it is made again."""

    key: str
    report: str
    dealer: str
    address: str
    content: bytes


@dataclass(frozen=True)
class Kept:
    """A report that is not sent, and why; ``is_held``: until the owner was told of a critical finding."""

    report: str
    dealer: str
    customer: str
    why: str
    is_held: bool = False


def prepare(
    run: RunLike, identity: Identity, sender: str, told: Mapping[str, str], *, dealer: str = "", customer: str = ""
) -> tuple[list[Ready], list[Kept]]:
    """Letters of a month, and the reports that stay. told: report -> when its owner was told (:func:`read_told`).

    Only what ``send_report`` asks for, to the addresses that the roster gives for that customer: its dealer's by
    ``dealers``, or its own where the dealer has it so. One letter holds one customer's report.
    """
    month = health_facts.month_of(run)
    desks = {row["dealer"]: row for row in rows(run, "dealers")}
    critical = {row["account_key"] for row in rows(run, "findings") if row["severity"] == "critical"}
    setting = Setting(identity.name, identity.contact, month)
    ready: list[Ready] = []
    kept: list[Kept] = []
    wanted = [
        one
        for d in gather(health_facts.read(run))
        for one in d.customers
        if (not dealer or dealer in (d.name, d.folder)) and (not customer or customer in (one.name, one.stem))
    ]
    texts = [identity.name, identity.contact, *(c.name for c in wanted)]
    texts += [text for c in wanted for s in c.sites for text in (str(s.row["site"]), *(t.label for t in s.troubles))]
    with Press(identity, texts) as press:
        for one in wanted:
            addresses, is_dealer = _addresses(one, desks)
            why, is_held = _why_not(one, addresses, critical, told)
            if why:
                kept.append(Kept(one.stem, one.dealer, one.name, why, is_held))
                continue
            document = compose(one, setting, catalogue.of(one.language, identity.language))
            files = {
                f"{one.stem}.html": health_page.page(document, identity).encode("utf-8"),
                f"{one.stem}.pdf": press.pdf(document, month.as_of_utc),
            }
            for address in addresses:
                key = hashlib.sha256(f"{month.label}/{one.stem}/{address}".encode()).hexdigest()[:24]
                letter = _letter(
                    document, identity, sender, address, key, files, is_dealer=is_dealer, at=month.as_of_utc
                )
                ready.append(Ready(key, one.stem, one.dealer, address, letter))
    return ready, kept


def _addresses(customer: Customer, desks: Mapping[str, Mapping[str, str]]) -> tuple[list[str], bool]:
    desk = desks.get(customer.dealer, {"email": "", "deliver_to": "dealer"})
    is_dealer = desk["deliver_to"] != "customer"
    given = desk["email"] if is_dealer else customer.email
    return list(dict.fromkeys(part.strip() for part in str(given).split(";") if part.strip())), is_dealer


def _why_not(
    customer: Customer, addresses: Sequence[str], critical: set[str], told: Mapping[str, str]
) -> tuple[str, bool]:
    if not customer.is_for_sending:
        return "the roster does not ask for it (send_report)", False
    if not addresses:
        return "the roster gives no address for it", False
    if any(site.key in critical for site in customer.sites) and not told.get(customer.stem):
        return "an open critical finding: held until told_owner_at says when the owner was told", True
    return "", False


def _letter(
    document: Document, identity: Identity, sender: str, address: str, key: str, files: Mapping[str, bytes], *,
    is_dealer: bool, at: datetime,
) -> bytes:  # fmt: skip
    """Text, the same as HTML, and the two files; no account number, code, name of a user or detail of a way."""
    words = catalogue.of(identity.language if is_dealer else document.language, "en")
    name = _plain(document.customer)
    opening = words.say(
        "mail.to_dealer" if is_dealer else "mail.to_customer", customer=name, month=words.month(document.first)
    )
    lines = [
        opening,
        words.say(f"state.{document.state}") + ".",
        words.say("limits.signals"),
        *_signature(identity, words),
    ]
    made = EmailMessage(policy=SMTP)
    made["From"] = Address(_plain(identity.name), addr_spec=sender)
    made["To"] = Address(addr_spec=address)
    made["Subject"] = f"{_plain(document.title)}, {document.month}: {name}"
    made["Date"] = format_datetime(at)
    made["Message-ID"] = f"<{key}@{sender.rpartition('@')[2]}>"
    made.set_content("\n\n".join(lines) + "\n")
    paragraphs = "".join(f"<p>{html.escape(line)}</p>" for line in lines)
    made.add_alternative(
        f'<!doctype html><html lang="{words.language}"><body>{paragraphs}</body></html>', subtype="html"
    )
    for file, content in files.items():
        kind = ("application", "pdf") if file.endswith(".pdf") else ("text", "html")
        made.add_attachment(content, maintype=kind[0], subtype=kind[1], filename=file)
    # Equal input gives equal bytes: the lines between the parts are made of the key.
    for n, part in enumerate(made.walk()):
        if part.is_multipart():
            part.set_boundary(f"=_{key}_{n}")
    return made.as_bytes()


def _signature(identity: Identity, words: catalogue.Catalogue) -> list[str]:
    contact = [words.say("head.answers", contact=identity.contact)] if identity.contact else []
    return [*contact, identity.name]


def _plain(text: str) -> str:
    """One line without a sign that could end a header."""
    return " ".join(str(visible(text)).split())


def write_held(folder: Path, kept: Sequence[Kept], told: Mapping[str, str]) -> Path:
    """Write ``held.csv``: a row for each report that waits for its owner to be told; filled rows keep their time."""
    held = [vars(one) | {"told_owner_at": ""} for one in kept if one.is_held]
    named = {row["report"] for row in held}
    filled = [{"report": report, "told_owner_at": at} for report, at in sorted(told.items()) if report not in named]
    return write_csv(folder / "held.csv", HELD_COLUMNS, [*held, *filled])


def read_told(folder: Path) -> dict[str, str]:
    """When which owner was told, by report, from ``held.csv`` as the desk filled it in; {} without one.

    Raises InputProblem: a time that is none, a file that is none.
    """
    path = folder / "held.csv"
    if not path.is_file():
        return {}
    told = {}
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            for number, row in enumerate(csv.DictReader(file), 2):
                at = (row.get("told_owner_at") or "").strip().lstrip("'")
                if at:
                    _read_time(at, f"{path}, row {number}")
                    told[(row.get("report") or "").strip()] = at
    except (UnicodeDecodeError, csv.Error) as fault:
        raise InputProblem(f"{path}: cannot be read: {fault}", next_step="save it as CSV in UTF-8") from fault
    return told


def _read_time(text: str, where: str) -> None:
    try:
        datetime.fromisoformat(text)
    except ValueError as fault:
        raise InputProblem(
            f"{where}: told_owner_at: {text!r} is no time", next_step="write it like 2026-11-02 09:30"
        ) from fault
