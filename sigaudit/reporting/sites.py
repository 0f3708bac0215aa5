"""Findings and causes gathered by site: one entry per place to go to, all its faults in it, in order of need."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sigaudit.reporting import site_causes
from sigaudit.reporting.page import ACTIONS, SEVERITIES, SYSTEM_ORDER, Row, RunLike, rank, rows
from sigaudit.reporting.site_causes import SiteCause


@dataclass(frozen=True)
class Site:
    """One site: its accounts, its findings and probable causes (desk steps first), and where it stands in the order.

    A stray number that is probably of one of its accounts is among them.
    """

    key: str
    name: str
    accounts: tuple[str, ...]
    customer: str
    dealer: str
    installer: str
    system_types: tuple[str, ...]
    unprotected: str
    steps: tuple[Row, ...]
    causes: tuple[SiteCause, ...] = ()

    @property
    def severity(self) -> str:
        """Worst severity of its findings."""
        return str(min((row["severity"] for row in self.steps), key=lambda word: rank(SEVERITIES, word)))

    @property
    def oldest(self) -> datetime | None:
        """Since when its oldest finding stands; None if no date is known."""
        return min((row["since"] for row in self.steps if row["since"]), default=None)

    @property
    def needs(self) -> str:
        """Furthest any step goes: ``desk``, ``remote``, ``visit`` or ``none``."""
        held = {row["action"] for row in self.steps}
        return next((word for word in ("visit", "remote", "desk") if word in held), "none")

    @property
    def bring(self) -> tuple[str, ...]:
        """Parts to have on the one visit, of all its causes."""
        return tuple(dict.fromkeys(part for cause in self.causes for part in cause.listed("parts")))

    def step(self, row: Row) -> str:
        """A finding's next step without a field check that stands with its cause already."""
        checks = (f"{member['field_check']} Then: " for cause in self.causes for member in cause.members)
        return str(next((row["next_step"].removeprefix(c) for c in checks if row["next_step"].startswith(c)),
                        row["next_step"]))  # fmt: skip

    def order(self) -> tuple[Any, ...]:
        """Sort key: unprotected, life at stake, severity, age, what is cheapest to do, then name."""
        life = min((rank(SYSTEM_ORDER, kind) for kind in self.system_types), default=len(SYSTEM_ORDER))
        lives = 0 if life <= SYSTEM_ORDER.index("") else 1
        oldest = self.oldest
        return (
            not self.unprotected,
            lives,
            rank(SEVERITIES, self.severity),
            oldest is None,
            oldest or "",
            life,
            rank(ACTIONS, self.needs),
            self.name,
            self.key,
        )


def sites(run: RunLike, findings: Sequence[Row]) -> list[Site]:
    """Sites with a finding, most needed first; an account without a site is a place of its own.

    ``findings`` come in the order of ``overview.findings_in_order``; those of the whole station are left out.
    """
    customers = {row["account_key"]: row["customer"] for row in rows(run, "accounts")}
    bare = {row["account_key"]: row for row in rows(run, "unprotected")}
    strays, causes = site_causes.strays(run), site_causes.by_site(run)
    gathered: dict[str, list[Row]] = {}
    for row in findings:
        if row["account_key"]:
            gathered.setdefault(strays.get(row["account_key"], site_causes.place_of(row)), []).append(row)
    made = []
    for key, found in gathered.items():
        keys = sorted({row["account_key"] for row in found})
        # A stray number says nothing of the system that it is probably of.
        own = [row for row in found if row["account_key"] not in strays] or found
        reasons = [bare[account]["reason"] for account in keys if account in bare]
        made.append(
            Site(
                key=key,
                name=_first(row["site"] for row in found) or ("" if key.startswith("account ") else key),
                accounts=tuple(sorted({row["account"] for row in found})),
                customer=_first(customers.get(account, "") for account in keys),
                dealer=_first(row["dealer"] for row in found),
                installer=_first(row["installer"] for row in found),
                system_types=tuple(sorted({row["system_type"] or "" for row in own})),
                unprotected="; ".join(dict.fromkeys(reasons)),
                steps=tuple(sorted(found, key=lambda r: (rank(ACTIONS, r["action"]), rank(SEVERITIES, r["severity"])))),
                causes=causes.get(key, ()),
            )
        )
    return sorted(made, key=Site.order)


def _first(texts: Any) -> str:
    return next((text for text in texts if text), "")
