"""One judgement: facts, roster and coverage in; verdict rows, incidents and measures out.

Works on a connection that offers the views ``all_fact_day, all_fact_test, all_fact_check_in,
all_fact_edge, all_fact_minute, all_fact_receiver``, cut at ``as_of`` already: nothing here can see
the future. It does not know where they come from.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pyarrow as pa

from sigaudit.judging import checks, coverage, incidents, limits, measures, weighing
from sigaudit.judging.cards import Card
from sigaudit.judging.clocks import Clocks
from sigaudit.judging.coverage import Coverage, Line
from sigaudit.judging.desk import Desk
from sigaudit.judging.incidents import Incidents
from sigaudit.judging.silences import Series
from sigaudit.settings import Settings
from sigaudit.store.progress import Progress, over, silent

# Codes by which a receiver explains a silence: power, restart, supply (DC-05 code table).
_EXPLAIN = "('301', '302', '305', '308', '311', '312', '313', '314')"
SourceSpan = tuple[int, str, str, datetime, datetime]


@dataclass(frozen=True)
class Judged:
    """What one judgement found. The desk's ``kept_*`` tables stay for the reports."""

    rows: pa.Table
    weighed: pa.Table
    coverage: Coverage
    incidents: Incidents
    ranges: list[tuple[str, str]]


def judge(
    desk: Desk,
    roster: Mapping[str, pa.Table],
    cards: Mapping[str, Card],
    settings: Settings,
    sources: Iterable[SourceSpan],
    *,
    progress: Progress = silent,
    ready: Coverage | None = None,
    clocks: Clocks | None = None,
) -> Judged:
    """Verdict rows of all checks that are not switched off.

    sources: (source id, receiver, line, first, last) with the first and last signal of the whole
    source [naive UTC]. ``ready`` replaces the survey of log coverage. clocks: what the exports tell of
    the receivers' clocks, None = nothing. Raises SettingsProblem, CheckFaulty.
    """
    says = limits.severities(cards, settings)
    active = [card for card in cards.values() if says.get(card.id) != "off"]
    found, shared = station(desk, roster, cards, settings, sources, ready=ready, clocks=clocks)
    account_ranges = measures.ranges(desk, settings.account_range)
    for low, high in over(progress, account_ranges, "measuring accounts"):
        measures.measure_range(desk, low, high, shared.onto(found))
    measures.population(desk)
    measures.compare(desk)
    rows = checks.run_all(desk, active, over(progress, account_ranges, "running checks"))
    rows, said = weighing.weigh(desk, rows, settings.zone)
    return Judged(rows, said, found, shared, account_ranges)


def station(
    desk: Desk,
    roster: Mapping[str, pa.Table],
    cards: Mapping[str, Card],
    settings: Settings,
    sources: Iterable[SourceSpan],
    *,
    ready: Coverage | None = None,
    clocks: Clocks | None = None,
) -> tuple[Coverage, Incidents]:
    """What holds for all accounts, before any is measured: log coverage and incidents. Parameters as in ``judge``."""
    clocks = clocks or Clocks()
    clocks.put(desk)
    found = ready or survey(desk, sources, settings, clocks)
    measures.station_wide(desk, roster, cards, settings, found)
    shared = incidents.find(desk, found)
    desk.put("incident_members", shared.members)
    return found, shared


def survey(desk: Desk, sources: Iterable[SourceSpan], settings: Settings, clocks: Clocks) -> Coverage:
    """Log coverage from the first covered minute to ``as_of``."""
    as_of_s = _seconds(desk.window.as_of_utc)
    spans = [(s, r, ln, _seconds(a), _seconds(b)) for s, r, ln, a, b in sources if a < desk.window.as_of_utc]
    traffic = _traffic(desk)
    own = desk.rows(
        "select receiver, epoch(received_utc) from all_fact_receiver"
        f" where code in {_EXPLAIN} or code_group = 'power' order by all"
    )
    failed = desk.rows(
        "select receiver, epoch(received_utc) from all_fact_edge where code = '354' and qualifier = 'E'"
        " union all select receiver, epoch(first_utc) from all_fact_day where code = '354' and qualifier = 'E'"
        " order by all"
    )
    first_s = min((a for *_, a, _ in spans), default=as_of_s)
    return coverage.survey(traffic, spans, own, failed, first_s, as_of_s, settings.zone, clocks.steps)


def _traffic(desk: Desk) -> dict[Line, Series]:
    minutes = desk.run(
        "select receiver, line, epoch(first_utc) as first_s, epoch(last_utc) as last_s, n from all_fact_minute"
        " order by receiver, line, first_utc"
    )
    receivers, lines = (minutes[name].to_pylist() for name in ("receiver", "line"))
    columns = [minutes[name].to_numpy() for name in ("first_s", "last_s", "n")]
    keys = list(zip(receivers, lines, strict=True))
    starts = [i for i in range(len(keys)) if i == 0 or keys[i] != keys[i - 1]]
    traffic = {}
    for start, end in zip(starts, [*starts[1:], len(keys)][: len(starts)], strict=True):
        first, last, n = (column[start:end] for column in columns)
        traffic[keys[start]] = Series(first.astype(np.float64), last.astype(np.float64), n.astype(np.int64))
    return traffic


def _seconds(at: datetime) -> float:
    return (at - datetime(1970, 1, 1)).total_seconds()
