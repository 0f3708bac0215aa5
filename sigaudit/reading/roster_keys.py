"""Which account each roster row means: digits become ``group/account``.

Digits may repeat over receiver groups, so a row that fits two accounts is a fault and never a choice.
"""

from __future__ import annotations

from collections import defaultdict

from sigaudit.reading.roster_rows import Row
from sigaudit.reading.roster_sheets import Sheet
from sigaudit.settings import Settings, did_you_mean, listed

_HINTED = 5  # missing accounts that get a near one named: each search reads the whole list


class AccountKeys:
    """Account keys of a roster, by digits and group. ``resolve`` sets ``key`` on every row it can."""

    def __init__(self, sheets: dict[str, Sheet], rows: dict[str, list[Row]], settings: Settings) -> None:
        self.sheets = sheets
        self.rows = rows
        self.settings = settings
        self.by_account: dict[str, dict[str, int]] = defaultdict(dict)  # account -> group -> row
        self.unsettled: set[str] = set()  # accounts whose own row is at fault: said once, not in every sheet
        self.missing = 0

    def resolve(self) -> None:
        repeated = self._repeated()
        for row in self.rows.get("accounts", []):
            group = self._group_of_account(row, repeated)
            account = row.text("account")
            if not group or not account:
                self.unsettled.add(row.cells.get("account", ""))
                continue
            earlier = self.by_account[account].setdefault(group, row.number)
            if earlier != row.number:
                self.sheets["accounts"].fault(
                    row.number,
                    "account",
                    account,
                    f"expected each account once; {group}/{account} is in rows {earlier} and {row.number}",
                )
            row.key = f"{group}/{account}"
        for name, rows in self.rows.items():
            for row in rows:
                if name not in ("accounts", "dealers") and row.text("account"):
                    row.key = self._look_up(self.sheets[name], row)

    def _repeated(self) -> set[str]:
        seen: set[str] = set()
        twice: set[str] = set()
        for row in self.rows.get("accounts", []):
            (twice if row.text("account") in seen else seen).add(row.text("account"))
        return twice

    def _given_group(self, sheet: Sheet, row: Row) -> str | None:
        """Group the row names, '' if it names none, None after a fault."""
        group = row.text("receiver_group")
        known = self.settings.group_names
        if group and group not in known:
            sheet.fault(
                row.number,
                "receiver_group",
                group,
                f"expected a group of [receivers.groups] in sigaudit.toml: {listed(known)}{did_you_mean(group, known)}",
            )
            return None
        return group

    def _group_of_account(self, row: Row, repeated: set[str]) -> str:
        sheet = self.sheets["accounts"]
        group = self._given_group(sheet, row)
        if group is None or group:
            return group or ""
        account = row.text("account")
        heard = [] if account in repeated else self._groups_heard(account)
        if len(heard) == 1:
            return heard[0]
        if self.settings.only_group and not heard:
            return self.settings.only_group
        if account:
            why = f"its paths come in on groups {' and '.join(heard)}" if heard else "the station has several groups"
            sheet.fault(
                row.number,
                "receiver_group",
                "",
                f"expected {listed(self.settings.group_names)}, or a receiver in paths.csv: {why}",
            )
        return ""

    def _groups_heard(self, account: str) -> list[str]:
        """Groups of the receivers that the account's paths name: of primary paths if there are any."""
        if not self.settings.groups:
            return []
        paths = [
            path for path in self._paths_of.get(account, []) if path.text("receiver") and not path.text("reports_as")
        ]
        paths = [path for path in paths if path.text("role") == "primary"] or paths
        return sorted({self.settings.group_of(path.text("receiver"), path.text("line")) for path in paths})

    @property
    def _paths_of(self) -> dict[str, list[Row]]:
        if not hasattr(self, "_paths"):
            self._paths: dict[str, list[Row]] = defaultdict(list)
            for row in self.rows.get("paths", []):
                self._paths[row.text("account")].append(row)
        return self._paths

    @property
    def _is_complete(self) -> bool:
        """Whether the accounts are known well enough to miss one."""
        return "accounts" in self.sheets and self.sheets["accounts"].is_whole and bool(self.by_account)

    def _look_up(self, sheet: Sheet, row: Row) -> str:
        account = row.text("account")
        group = self._given_group(sheet, row)
        if group is None or account in self.unsettled or not self._is_complete:
            return ""
        groups = self.by_account.get(account, {})
        if group in groups:
            return f"{group}/{account}"
        if len(groups) == 1 and not group:
            return f"{next(iter(groups))}/{account}"
        if groups and not group:
            both = " and ".join(f"{name}/{account} (row {at})" for name, at in groups.items())
            sheet.fault(row.number, "receiver_group", "", f"expected the group: {account} is {both} of accounts")
        else:
            self.missing += 1
            hint = did_you_mean(account, self.by_account) if self.missing <= _HINTED else ""
            shown = f"{group}/{account}" if group else account
            sheet.fault(
                row.number,
                "account",
                shown,
                f"expected an account of the accounts sheet{hint}; former ones stay there as cancelled",
            )
        return ""

    def reports_as(self, path: Row) -> str:
        """Key under which signals of this path arrive: the number used on it, in its receiver's group."""
        group = path.key.partition("/")[0]
        if self.settings.groups and path.text("receiver"):
            group = self.settings.group_of(path.text("receiver"), path.text("line"))
        return f"{group}/{path.text('reports_as') or path.text('account')}"
