"""The five numbers by week and who did not come back, counted a second way. The definitions are the tool's own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest

from sigaudit.judging import meeting
from sigaudit.judging.cards import read_all
from sigaudit.judging.desk import Desk, Window
from sigaudit.store import engine_duckdb
from sigaudit.store.shipped import queries

FROM, UNTIL = datetime(2026, 11, 16), datetime(2026, 11, 23)
HOUR = timedelta(hours=1)
COLUMNS = ("account_key", "account", "site", "check", "finding_id", "title", "since", "until")
TIME = pa.timestamp("us")


@dataclass(frozen=True)
class Past:
    """A run of an earlier week."""

    meta: dict[str, Any]
    tables: dict[str, pa.Table]

    def table(self, name: str) -> pa.Table:
        return self.tables[name]


def found(*rows: tuple[str, str, datetime | None, datetime | None]) -> pa.Table:
    """Findings from (account, check, since, until)."""
    told = [
        {"account_key": f"main/{a}", "account": a, "site": f"Site {a}", "check": c, "finding_id": f"{a}-{c}",
         "title": c, "since": since, "until": until}
        for a, c, since, until in rows
    ]  # fmt: skip
    schema = pa.schema([(n, TIME if n in ("since", "until") else pa.string()) for n in COLUMNS])
    return pa.Table.from_pylist(told, schema=schema)


def figures(unjudged: float, monitored: float) -> pa.Table:
    return pa.table({"name": ["accounts_heard", "not_judged_accounts"], "value": [1.0, unjudged], "of": [1, monitored]})


def gone(n: int) -> pa.Table:
    return pa.table({"finding_id": pa.array([str(i) for i in range(n)], pa.string())})


@pytest.fixture()
def desk() -> Iterator[Desk]:
    with engine_duckdb.connect() as con:
        yield Desk(con, Window(FROM, UNTIL, UNTIL))


def test_an_account_counts_once_a_week_and_silence_comes_before_degraded(desk: Desk) -> None:
    now = found(
        ("1", "gone_silent", FROM, None),
        ("1", "test_overdue", FROM, None),
        ("2", "primary_path_silent", FROM, None),
        ("2", "test_overdue", FROM, None),
        ("3", "on_test_too_long", FROM, None),
        ("4", "zone_not_listed", FROM, None),
    )
    past = Past(
        {"label": "2026-W46"},
        {"findings": found(("9", "never_heard", None, None)), "figures": figures(5, 40), "resolved": gone(3)},
    )
    told = meeting.weeks(desk, "2026-W47", now, figures(12, 50), gone(2), [past])  # type: ignore[list-item]
    numbers = {(r["week"], r["name"]): (r["value"], r["of"]) for r in told.to_pylist()}
    assert numbers == {
        ("2026-W47", "judged"): (38, 50),
        ("2026-W47", "silent_now"): (1, None),
        ("2026-W47", "degraded_now"): (1, None),
        ("2026-W47", "on_test_over_limit"): (1, None),
        ("2026-W47", "cured"): (2, None),
        ("2026-W46", "judged"): (35, 40),
        ("2026-W46", "silent_now"): (1, None),
        ("2026-W46", "degraded_now"): (0, None),
        ("2026-W46", "on_test_over_limit"): (0, None),
    }  # what was cured in the first week held cannot be told
    assert told["week"].to_pylist() == ["2026-W47"] * 5 + ["2026-W46"] * 4


def test_who_is_still_away_when_an_incident_is_over(desk: Desk) -> None:
    began, over = FROM + 30 * HOUR, FROM + 36 * HOUR
    time = pa.array([over, None], TIME)
    incidents = pa.table({"incident_id": ["I-1", "I-2"], "from_utc": pa.array([began, began], TIME), "until_utc": time})
    accounts = ["1", "2", "3", "4", "5", "6"]
    desk.put(
        "kept_excuses",
        pa.table({"incident_id": ["I-1"] * 5 + ["I-2"], "account_key": [f"main/{a}" for a in accounts]}),
    )
    told = meeting.stragglers(
        desk,
        found(
            ("1", "gone_silent", began - 6 * HOUR, None),  # last heard in the day before: a straggler
            ("2", "line_cut_standing", began + HOUR, UNTIL),  # lost inside it, still so at the end: a straggler
            ("3", "test_overdue", began + HOUR, over + HOUR),  # back since
            ("4", "gone_silent", began - 26 * HOUR, None),  # away before it began
            ("5", "zone_not_listed", began + HOUR, None),  # says nothing of a path
            ("6", "gone_silent", began + HOUR, None),  # an incident that has not ended
        ),
        incidents,
    ).to_pylist()
    assert [(r["incident_id"], r["account"], r["title"]) for r in told] == [
        ("I-1", "1", "gone_silent"),
        ("I-1", "2", "line_cut_standing"),
    ]


def test_the_checks_named_are_checks() -> None:
    named = [*meeting.SILENT, *meeting.DEGRADED, *meeting.ON_TEST]
    assert len(named) == len(set(named))
    assert set(named) <= set(read_all(Path(queries()) / "checks"))
