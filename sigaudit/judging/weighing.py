"""What the statistics say of a finding, in words with their numbers, and since when it is so.

A check compares and decides; nothing here changes a verdict. Rates are told with exact limits, weighed against
peers and against the account's own weeks before; standing conditions against how long such ones last here;
chatter by the time between signals. Where a change of rate stands out clearly, it dates the finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.judging import weighed_clocks, weighed_counts, weighed_lasting, weighed_tests
from sigaudit.judging.desk import Desk
from sigaudit.judging.weighed import SCHEMA, Key, Said

_ROOMS = (weighed_tests, weighed_counts, weighed_lasting, weighed_clocks)


def weigh(desk: Desk, rows: pa.Table, zone: ZoneInfo) -> tuple[pa.Table, pa.Table]:
    """The verdict rows with ``since_utc`` from a clear change of rate, and what was weighed (weighed.SCHEMA).

    rows: verdict rows of all checks; the desk holds the ``kept_*`` tables they were judged by. Times in words
    are those of ``zone``.
    """
    findings = rows.filter(pc.equal(rows["verdict"], "finding")).to_pylist()
    by_check: dict[str, list[Mapping[str, object]]] = {}
    for row in findings:
        by_check.setdefault(row["check_id"], []).append(row)
    said: list[Said] = []
    since: dict[Key, datetime] = {}
    for room in _ROOMS:
        told, dates = room.weigh(desk, by_check, zone)
        said.extend(told)
        since.update(dates)
    said.sort(key=lambda s: (s.check_id, s.account_key, s.subject, s.rank_no))
    return _dated(rows, since), pa.Table.from_pylist([vars(one) for one in said], schema=SCHEMA)


def _dated(rows: pa.Table, since: Mapping[Key, datetime]) -> pa.Table:
    if not since:
        return rows
    keys = zip(*(rows[name].to_pylist() for name in ("check_id", "account_key", "subject", "verdict")), strict=True)
    dated = [
        since.get((check, account, subject), old) if verdict == "finding" else old
        for (check, account, subject, verdict), old in zip(keys, rows["since_utc"].to_pylist(), strict=True)
    ]
    place = rows.schema.get_field_index("since_utc")
    return rows.set_column(place, "since_utc", pa.array(dated, pa.timestamp("us")))
