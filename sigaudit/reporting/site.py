"""The page of one account, and of the others of its site, as a folder that opens from disk."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sigaudit.reporting import account_page, overview
from sigaudit.reporting.page import Clock, RunLike, page_name, plain_rows, read_what
from sigaudit.reporting.weekly import write_assets


def write(run: RunLike, folder: Path, account_keys: Sequence[str], *, station: str) -> list[Path]:
    """Write the pages of these accounts into ``folder``; gives them in the order of ``account_keys``.

    Pages of other accounts that lie there stay. Raises OSError: the folder cannot be written.
    """
    clock = Clock(run.meta["timezone"])
    head = {**read_what(run, clock), "station": station}
    numbers = {row["account_key"]: row["page_no"] for row in plain_rows(run.table("accounts"))}
    asked = [numbers[key] for key in account_keys]
    write_assets(folder)
    written = account_page.write_all(run, folder, overview.findings_in_order(run), head, clock, also=asked, home="")
    by_name = {path.name: path for path in written}
    return [by_name[page_name(number)] for number in asked]
