"""The roster sheets and the settings of the invented station."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path as FilePath

from tests.simulation import clock
from tests.simulation.site import Site
from tests.simulation.station import DEALERS, STATION

SETTINGS = f"""# The settings of an invented station. Nothing here exists.
[station]
name = "{STATION}"
timezone = "{clock.ZONE_NAME}"
edition = "nfpa72-2019"

[receivers]
# Receiver 3 speaks of itself under this number; the others leave the account empty.
own_accounts = ["0000"]
"""

LAYOUT = """# How receiver 3 writes its log: semicolons, month first, qualifier and code apart.
id = "second_receiver"
title = "Receiver 3, nightly text export"
source = "invented for the demo"

[recognise]
header = ["stamp", "unit", "port", "subscriber", "kind", "number", "group", "point", "message_format"]

[text]
encoding = ["utf-8"]
delimiter = ";"
header = true

[time]
column = "stamp"
format = "%m/%d/%Y %H:%M:%S"
timezone = "station"

[fields]
receiver = "unit"
line = "port"
account = "subscriber"
qualifier = "kind"
code = "number"
partition = "group"
zone = "point"
format = "message_format"

[[samples]]
header = "stamp;unit;port;subscriber;kind;number;group;point;message_format"
line = "11/09/2026 00:07:04;3;1;8508;1;602;0;0;contact_id"
gives = { account = "8508", qualifier = "E", code = "602", receiver = "3", line = "1", partition = "0", zone = "000" }

[[samples]]
header = "stamp;unit;port;subscriber;kind;number;group;point;message_format"
line = "11/10/2026 14:20:00;3;0;0000;3;301;0;0;contact_id"
gives = { account = "0000", qualifier = "R", code = "301", format = "contact_id" }

[[samples]]
header = "stamp;unit;port;subscriber;kind;number;group;point;message_format"
line = "11/22/2026 23:51:59;3;2"
rejects = "too_few_fields"
"""

ACCOUNT_COLUMNS = [
    "account", "site", "customer", "customer_email", "dealer", "installer", "system_type", "status",
    "installed_on", "cancelled_on", "area", "exchange", "transmitter", "panel", "has_contacts",
    "panel_test_interval", "sends_restores", "sends_openings", "language", "panel_account",
]  # fmt: skip
PATH_COLUMNS = [
    "account", "path", "kind", "role", "network", "receiver", "line", "test_interval",
    "supervision_interval", "checks_in", "reports_as",
]  # fmt: skip


def write_csv(path: FilePath, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """One sheet: UTF-8, LF, quotes only where needed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(rows)


def write_workspace(folder: FilePath, sites: list[Site]) -> None:
    """sigaudit.toml, the layout of receiver 3 and the roster sheets."""
    (folder / "layouts").mkdir(parents=True, exist_ok=True)
    (folder / "sigaudit.toml").write_text(SETTINGS, encoding="utf-8", newline="\n")
    (folder / "layouts" / "second_receiver.toml").write_text(LAYOUT, encoding="utf-8", newline="\n")
    roster = folder / "roster"
    ordered = sorted(sites, key=lambda s: s.account)
    write_csv(roster / "accounts.csv", ACCOUNT_COLUMNS, [account_row(s) for s in ordered])
    write_csv(roster / "paths.csv", PATH_COLUMNS, [row for s in ordered for row in path_rows(s)])
    zones = [[s.account, z.partition, z.zone, z.kind, z.label] for s in ordered for z in s.zones]
    write_csv(roster / "zones.csv", ["account", "partition", "zone", "kind", "label"], zones)
    spans = sorted((a, s.account, b, reason) for s in ordered for a, b, reason in s.on_test)
    on_test = [[account, stamp(a), stamp(b), reason] for a, account, b, reason in spans]
    write_csv(roster / "on_test.csv", ["account", "from", "to", "reason"], on_test)
    dealers = []
    for name in DEALERS:
        email = f"service@{name.lower().replace(' ', '-')}.invalid"
        dealers.append([name, name, email, "customer" if name == "Dealer Elm" else "dealer"])
    write_csv(roster / "dealers.csv", ["dealer", "name", "email", "deliver_to"], dealers)


def account_row(s: Site) -> list[str]:
    """A site's row of accounts.csv."""
    email = f"{s.customer.lower().replace(' ', '-')}@example.invalid"
    return [
        s.account, s.site, s.customer, email, s.dealer, s.installer, s.system_type, s.status,
        s.installed_on, s.cancelled_on, s.area, s.exchange, s.transmitter, s.panel, s.has_contacts,
        s.panel_test_interval, s.sends_restores, s.sends_openings, "en", s.panel_account,
    ]  # fmt: skip


def path_rows(s: Site) -> list[list[object]]:
    """A site's rows of paths.csv; none where nobody wrote them down."""
    if not s.paths_on_roster:
        return []
    return [[s.account, *(getattr(p, column) for column in PATH_COLUMNS[1:])] for p in s.paths]


def stamp(moment: int) -> str:
    """A wall time as on_test.csv holds it; empty for 0, still on test."""
    return f"{clock.wall(moment):%Y-%m-%dT%H:%M}" if moment else ""
