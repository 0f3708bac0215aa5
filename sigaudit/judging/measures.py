"""Numbers computed for accounts, range by range: facts in, measure tables out.

The order of the files in ``queries/measures`` is the order of work. What needs a whole population
(odds of a broken path, lines that show tests at all) is worked out once for the station; the rest
sees one range of accounts at a time, so that memory stays bounded.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pyarrow as pa

from sigaudit.judging import intervals, limits, odds, test_clocks
from sigaudit.judging.cards import Card
from sigaudit.judging.coverage import Coverage, shared_holes
from sigaudit.judging.desk import Desk
from sigaudit.settings import Settings
from sigaudit.store import calendar
from sigaudit.store.engine_duckdb import literal

FACTS = ("fact_day", "fact_test", "fact_check_in", "fact_edge", "fact_clock", "fact_stated", "fact_burst")
ROSTER = ("accounts", "paths", "zones", "on_test")
# Small tables that checks may read; a range adds its rows to the station-wide one.
KEPT = (
    "heard", "ranks_as", "life", "episodes", "habits", "trouble_tests", "untold", "path_lines", "excuses",
    "shared_losses", "requirements",
    "visible_requirements", "account_line_facts", "slots", "test_measures", "check_in_gaps", "losses",
    "standing", "test_rhythm", "busy_tests", "day_classes", "contact_pairs", "message_forms", "supervision_rules",
    "limits",
    "clock_doubts", "panel_clock", "resolution", "stated_delays",
    "inspections", "tests_on_test", "alarms", "restores_alone", "said", "bursts",
    "test_drift", "panel_signs", "after_end", "used_lines", "test_lateness", "two_combs",
    "co_timed", "near_numbers", "clock_twins",
)  # fmt: skip
# Of these, what compares accounts with one another, worked out once after the ranges, and what it is made from.
COMPARED = ("co_timed", "near_numbers", "clock_twins")
FOR_COMPARING = ("rare_edges", "fallen_silent", "strays")
# What the table of limits is made from, account by account.
LIMITS = ("limit_holders", "limit_sets")
# For the reports only; no check reads them.
SUMS = ("tests_by_day", "received_slots")
MOST_SLOTS = 4096


def station_wide(
    desk: Desk,
    roster: Mapping[str, pa.Table],
    cards: Mapping[str, Card],
    settings: Settings,
    coverage: Coverage,
) -> None:
    """Tables that every range shares. ``all_<fact>`` views must exist; roster tables by name."""
    further = (name.split("_", 1)[1] for name in desk.also)
    desk.drop(f"kept_{table}" for table in (*KEPT, *LIMITS, *SUMS, *FOR_COMPARING, *further))
    for name in FACTS:
        desk.view(name, f"select * from all_{name}")
    for name in ("01_line_facts", "02_family_facts", "03_clock_offsets"):
        desk.make_query(f"measures/{name}")
    for name in ROSTER:
        desk.put(f"all_{name}", roster[name])
    desk.con.execute("update all_accounts set edition = $edition where edition = ''", {"edition": settings.edition})
    desk.make("numbers", f"select cast(range as integer) as i from range(1, {MOST_SLOTS + 1})")
    desk.put("limit_rules", limits.rules(cards, settings))
    desk.put("edition_rules", _edition_rules(settings.confirmed_limits))
    lines = sorted(coverage.traffic)
    desk.put(
        "receiver_lines",
        pa.table(
            {
                "receiver": pa.array([r for r, _ in lines], pa.string()),
                "line": pa.array([ln for _, ln in lines], pa.string()),
                "receiver_group": pa.array([settings.group_of(r, ln) for r, ln in lines], pa.string()),
            }
        ),
    )
    kinds = [(r, ln, settings.path_kind_of(r, ln)) for r, ln in lines if settings.path_kind_of(r, ln)]
    desk.put(
        "receiver_kinds",
        pa.table({n: pa.array([k[i] for k in kinds], pa.string()) for i, n in enumerate(("receiver", "line", "kind"))}),
    )
    first = _first_second(coverage)
    data_first = desk.window.from_utc if first is None else datetime.fromtimestamp(first, UTC).replace(tzinfo=None)
    until = desk.window.as_of_utc + timedelta(days=2)
    desk.put(
        "calendar",
        calendar.table(settings.zone, min(data_first, desk.window.from_utc) - timedelta(days=2), until),
    )
    desk.put("default_accounts", pa.table({"account": pa.array(sorted(set(settings.default_accounts)), pa.string())}))
    desk.put("station", pa.table({"data_first_utc": pa.array([data_first], pa.timestamp("us"))}))
    for name in ROSTER:
        desk.view(name, f"select * from all_{name}")
    desk.view("ways", "select distinct account_key, receiver, line, path from fact_day")
    desk.make_query("measures/10_heard_as")
    desk.make("all_heard_as", "select * from heard_as")


def ranges(desk: Desk, size: int) -> list[tuple[str, str]]:
    """Account-key ranges [low, high) of about ``size`` accounts; '' and U+FFFF stand open at the ends."""
    keys = [
        row[0]
        for row in desk.rows(
            "select account_key from all_accounts union select distinct account_key from all_fact_day"
            " order by account_key"
        )
    ]
    edges = ["", *keys[size::size], "\uffff"]
    return list(pairwise(edges))


def measure_range(desk: Desk, low: str, high: str, coverage: Coverage) -> None:
    """All measures of one range of accounts, added to the station-wide ``kept_*`` tables."""
    _limit_views(desk, low, high)
    inside = f"account_key >= {literal(low)} and account_key < {literal(high)}"
    desk.make("heard_as", f"select * from all_heard_as where {inside}")
    for name in (
        "20_day",
        "21_test",
        "22_check_in",
        "23_edge",
        "24_clock_doubts",
        "25_panel_clock",
        "26_resolution",
        "30_heard",
        "31_life",
        "32_episodes",
    ):
        desk.make_query(f"measures/{name}")
    desk.make_query("measures/33_restore_habits")
    desk.make("habits", "select * from restore_habits")
    for name in ("34_trouble_tests", "35_untold"):
        desk.make_query(f"measures/{name}")
    desk.make("day_classes", "select distinct account_key, code_group from day where qualifier = 'E'")
    desk.make_query("measures/36_ranks_as")
    desk.view(
        "ways_settled",
        "select distinct account_key, path, receiver, line from heard_as where path <> '' or not told",
    )
    desk.make_query("measures/40_path_lines")
    desk.make(
        "path_sets",
        "select account_key, path, string_agg(receiver || '/' || line, '|' order by receiver, line) as line_set"
        " from path_lines group by account_key, path",
    )
    sets = [row[0] for row in desk.rows("select distinct line_set from path_sets")]
    desk.put("set_holes", _holes(shared_holes(coverage, sets)))
    for name in ("41_excuses", "42_account_line_facts", "46_shared_losses"):
        desk.make_query(f"measures/{name}")
    _limits(desk)
    test_clocks.put_tables(desk)
    for name in ("43_test_rhythm", "44_standing"):
        desk.make_query(f"measures/{name}")
    for name in ("50_requirements", "51_visible_requirements", "60_slots", "61_test_measures", "62_check_in_gaps",
                 "63_losses", "64_tests_by_day",
        "65_received_slots",
        "66_busy_tests",
        "70_panel_signs", "70_after_end", "70_used_lines", "70_test_lateness", "71_two_combs", "72_rare_edges",
        "72_fallen_silent", "72_strays",
        "74_contact_pairs", "75_message_forms", "76_supervision_rules",
        "76_stated_delays",
        "77_inspections", "77_tests_on_test", "78_alarms", "78_restores_alone", "79_said", "79_bursts"):  # fmt: skip
        desk.make_query(f"measures/{name}")
    further = [desk.make_query(f"measures/{name}") for name in desk.also]
    mine = [table for table in (*KEPT, *LIMITS, *SUMS, *FOR_COMPARING) if table not in (*COMPARED, "limits")]
    mine += further
    for table in mine:
        desk.keep(table, f"kept_{table}")
    desk.view("kept_limits", limits.EACH.format("kept_"))
    made = ("found_combs", "heard_as", "day", "test", "check_in", "edge", "rhythm", "path_sets", "set_holes")
    desk.drop(("limits", *mine, *made))


def population(desk: Desk) -> None:
    """Odds that a path is broken, from all paths' misses of four weeks: the table ``all_test_odds``.

    Each path weighed against its peers (judging/odds); the methods and their sources stand in judging/stats
    and judging/mixtures.
    """
    desk.view("paths", "select * from all_paths")
    for name in ("test_measures", "path_lines", "ranks_as"):
        desk.view(name, f"select * from kept_{name}")
    desk.make_query("measures/80_misses")
    desk.put("all_test_odds", odds.with_odds(desk.run("select * from misses order by account_key, path, what")))
    desk.drop(("misses", "test_measures", "path_lines", "ranks_as"))


def compare(desk: Desk) -> None:
    """Numbers compared with one another over the whole station: the tables of ``COMPARED``."""
    for name in ROSTER:
        desk.view(name, f"select * from all_{name}")
    for name in (*FOR_COMPARING, "two_combs", "used_lines", "path_lines"):
        desk.view(name, f"select * from kept_{name}")
    for name in COMPARED:
        desk.make_query(f"measures/73_{name}")
        desk.keep(name, f"kept_{name}")
    desk.drop((*COMPARED, *FOR_COMPARING))


def _limit_views(desk: Desk, low: str, high: str) -> None:
    inside = f"account_key >= {literal(low)} and account_key < {literal(high)}"
    for name in ROSTER:
        desk.view(name, f"select * from all_{name} where {inside}")
    # Numbers that only stand for another account's path travel with their owner.
    alias = (
        "select reports_as_key from all_paths where reports_as_key <> account_key"
        " and reports_as_key not in (select account_key from all_accounts)"
    )
    mine = f"{alias} and {inside}"
    for name in FACTS:
        desk.view(
            name,
            f"select * from all_{name} where ({inside} and account_key not in ({alias})) or account_key in ({mine})",
        )


def _limits(desk: Desk) -> None:
    desk.make(
        "limit_subjects",
        "select a.account_key, a.account, r.ranks_as as system_type, a.dealer from accounts as a"
        " inner join ranks_as as r on a.account_key = r.account_key union all"
        " select h.account_key, split_part(h.account_key, '/', 2) as account, '' as system_type, '' as dealer"
        " from heard as h left join accounts as a on h.account_key = a.account_key where a.account_key is null",
    )
    desk.make("limit_holders", limits.HOLDERS)
    desk.make("limit_sets", limits.RESOLVE)
    desk.view("limits", limits.EACH.format(""))


def _edition_rules(confirmed: tuple[str, ...]) -> pa.Table:
    """Dialer tests and path supervision by edition; from memory counts as seen once the station confirms the figure."""
    wanted = {("phone", "test_s"), ("cellular", "supervision_s"), ("internet", "supervision_s")}
    rows = [
        {
            "edition": rule.edition, "kind": rule.technology_kind, "system_type": system, "quantity": rule.quantity,
            "paths": rule.paths,
            "seconds": float(rule.seconds), "known": "seen" if rule.rule_id in confirmed else rule.known,
            "rule_id": rule.rule_id,
        }
        for rule in intervals.load()
        if (rule.technology_kind, rule.quantity) in wanted and rule.system_type == "fire"
        for system in intervals.FIRE_SYSTEMS
    ]  # fmt: skip
    text = [(n, pa.string()) for n in ("edition", "kind", "paths", "system_type", "quantity", "known", "rule_id")]
    return pa.Table.from_pylist(rows, schema=pa.schema([*text, ("seconds", pa.float64())]))


def _holes(rows: list[tuple[str, float, float, str, str]]) -> pa.Table:
    def instants(seconds: list[float]) -> pa.Array:
        return pa.array([datetime.fromtimestamp(at, UTC).replace(tzinfo=None) for at in seconds], pa.timestamp("us"))

    return pa.table(
        {
            "line_set": pa.array([row[0] for row in rows], pa.string()),
            "from_utc": instants([row[1] for row in rows]),
            "until_utc": instants([row[2] for row in rows]),
            "kind": pa.array([row[3] for row in rows], pa.string()),
            "incident_id": pa.array([row[4] for row in rows], pa.string()),
        }
    )


def _first_second(coverage: Coverage) -> float | None:
    """When the log held begins [s since 1970]: its first signal, or its first covered second without traffic."""
    heard = [float(series.first[0]) for series in coverage.traffic.values() if len(series.first)]
    return min(heard or [a for spans in coverage.spans.values() for a, _ in spans], default=None)
