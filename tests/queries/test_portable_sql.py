"""Every file under ``queries/`` keeps to the SQL that two engines read alike.

The shipped engine is one of several that could run these files. What is allowed here was tried on a
second, distributed engine with equal rows; what gave other rows there without an error (elapsed or
calendar differences, weekdays, zone arithmetic, order inside a list) is refused. The allow-lists name
everything that occurs: a new function or construct is a decision, not an accident.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlglot
from sqlglot import exp

from sigaudit.judging.checks import STATION_TABLES
from sigaudit.judging.measures import FACTS, KEPT, ROSTER
from sigaudit.store.shipped import queries

ROOT = queries()
FILES = sorted(ROOT.rglob("*.sql"))
KEYS = ("purpose", "grain", "reads", "params", "returns")
PARAMS = {"as_of", "from", "until"}
WIDEST = 80

# Function -> what to know of it. Equal rows on both engines unless a remark says when not.
FUNCTIONS: dict[str, str] = {
    "Coalesce": "",
    "Greatest": "skips nulls on both",
    "Least": "skips nulls on both",
    "Round": "halves away from zero on both",
    "Floor": "",
    "Ceil": "",
    "Pow": "",
    "Sum": "",
    "Min": "",
    "Max": "",
    "Avg": "",
    "Count": "",
    "StddevSamp": "",
    "Lag": "only over an order without ties, see test_neighbours_are_certain",
    "Lead": "as lag",
    "RowNumber": "as lag",
    "TimeToUnix": "epoch(): whole seconds on the second engine, so only for instants of whole seconds",
    "TimestampTrunc": "date_trunc() of a naive instant",
    "SplitPart": "",
    "Substring": "counts from 1 on both",
    "Length": "characters on both",
    "Replace": "",
    "Median": "the mean of the middle two on both; nulls are left out",
    "TryCast": "null for what cannot be read, on both; text of our own making only",
    "Cast": "see test_no_cast_decides_how_to_round",
    "Case": "",
    "If": "the branch of a case",
    "Exists": "",
}
CONSTRUCTS = {
    "Add", "Alias", "And", "Between", "Boolean", "CTE", "Column", "DPipe", "DataType", "Distinct", "Div", "EQ",
    "Filter", "From", "GT", "GTE", "Group", "Having", "Identifier", "In", "Interval", "Is", "Join", "LT", "LTE",
    "Like", "Literal", "Mul", "NEQ", "Neg", "Not", "Null", "Or", "Order", "Ordered", "Paren", "Placeholder",
    "Qualify", "Select", "Star", "Sub", "Subquery", "Table", "TableAlias", "Union", "Var", "Where", "Window",
    "WindowSpec", "With",
}  # fmt: skip

# Tables by folder: what the rooms that run these files put on the desk.
_FACTS = {*FACTS, "fact_minute", "fact_receiver"}
_ON_THE_WAY = {
    "heard_as", "day", "test", "check_in", "edge", "ways", "ways_settled", "receiver_lines", "receiver_kinds",
    "path_sets", "set_holes", "incident_members", "numbers", "edition_rules", "rhythm", "received_slots",
    "order_breaks", "coarse_lines", "found_combs", "rare_edges", "fallen_silent", "strays", "month_span",
}  # fmt: skip
_OF_A_RUN = {
    *(f"all_{name}" for name in (*FACTS, *ROSTER)), *(f"kept_{name}" for name in (*KEPT, "tests_by_day")),
    "kept_received_slots", "all_test_odds", "asked", "asked_keys", "page_events", "page_signals", "proof_limits",
    "rejects", "seen_sources", "source_names", "station", "signals", "codes", "calendar", "accounts", "zones",
    "life", "heard", "told_of", "ranks_as", "kept_ranks_as", "requirements", "paths", "account_line_facts",
    "visible_requirements", "excuses", "check_in_gaps", "day_classes", "order_breaks", "unordered", "clock_offsets",
    "all_fact_minute", "all_fact_receiver", "fact_test", "heard_as", "all_heard_as", "all_visits",
    "told_paths", "told_points", "told_accounts", "told_families",
    "week_labels", "week_findings", "week_families", "ended_incidents",
    "month_span", "local_days", "kept_month_received", "kept_month_gaps",
}  # fmt: skip
TABLES: dict[str, set[str]] = {
    "events": {"signals", "codes"},
    "facts": {"events", "panel_times", "sia_closes"},
    "measures": {*FACTS, *ROSTER, *KEPT, *STATION_TABLES, *_ON_THE_WAY},
    "checks": {*ROSTER, *KEPT, *STATION_TABLES},
    "incidents": {*_FACTS, *ROSTER, "heard_as", "losses", "places", "line_holes", "calendar"},
    "evidence": {"signals", "codes", "asked", "due", "on_test", "accounts", "paths", "slots"},
    "report": _OF_A_RUN,
}


def parsed(sql: str) -> exp.Expression:
    """The one SELECT (or union of SELECTs) of a text; fails the test for anything else."""
    statements = [statement for statement in sqlglot.parse(sql, read="duckdb") if statement is not None]
    assert len(statements) == 1, f"{len(statements)} statements"
    assert isinstance(statements[0], exp.Select | exp.Union), type(statements[0]).__name__
    return statements[0]


def refused(tree: exp.Expression) -> Iterator[str]:
    """What two engines would read differently, or one not at all."""
    for node in tree.walk():
        name = type(node).__name__
        if isinstance(node, exp.Anonymous | exp.AnonymousAggFunc):
            yield f"function {node.name}()"
        elif isinstance(node, exp.Func) and not isinstance(node, exp.Connector):
            if name not in FUNCTIONS:
                yield f"function {name}: {node.sql('duckdb')}"
        elif name not in CONSTRUCTS:
            yield f"{name}: {node.sql('duckdb')}"
        if isinstance(node, exp.Join) and (node.method or not (node.args.get("on") or node.kind == "CROSS")):
            yield f"join without its condition, or of another kind: {node.sql('duckdb')}"
        if isinstance(node, exp.Placeholder) and node.name not in PARAMS:
            yield f"parameter ${node.name}"
        if isinstance(node, exp.Sub) and all(_is_instant(side) for side in (node.left, node.right)):
            yield f"difference of instants without epoch(): {node.sql('duckdb')}"


def _is_instant(node: exp.Expression | None) -> bool:
    return isinstance(node, exp.Placeholder) or (isinstance(node, exp.Column) and node.name.endswith("_utc"))


def text(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def header(sql: str) -> dict[str, str]:
    """Keys of the comment at the top; a continued value is indented by three spaces or more."""
    found: dict[str, str] = {}
    key = ""
    for line in sql.splitlines():
        if not line.startswith("--"):
            break
        told = re.match(r"-- ([a-z]+): +(.*)", line)
        if told and told[1] in (*KEYS, "order"):
            key = told[1]
            found[key] = told[2].strip()
        elif key and line.startswith("--   "):
            found[key] += " " + line.removeprefix("--").strip()
        else:
            key = ""
    return found


def tables(tree: exp.Expression) -> set[str]:
    named = {cte.alias for cte in tree.find_all(exp.CTE)}
    return {table.name for table in tree.find_all(exp.Table)} - named


def code(sql: str) -> str:
    """The text without comments and quoted text."""
    return re.sub(r"'(?:[^']|'')*'", "''", re.sub(r"--[^\n]*", "", sql))


per_file = pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(ROOT).as_posix())


def test_there_are_files() -> None:
    assert {path.relative_to(ROOT).parts[0] for path in FILES} >= {"events", "facts", "measures", "checks", "evidence"}


@per_file
def test_one_select_of_the_portable_subset(path: Path) -> None:
    assert not list(refused(parsed(text(path))))


@per_file
def test_second_engine_reads_it(path: Path) -> None:
    bound = parsed(text(path)).transform(_bound)
    written = bound.sql(dialect="spark", unsupported_level=sqlglot.ErrorLevel.RAISE)
    assert sqlglot.parse_one(written, read="spark") is not None


def _bound(node: exp.Expression) -> exp.Expression:
    """An instant in place of its name: ``from`` is a keyword where names are marked otherwise."""
    return (
        exp.cast(exp.Literal.string("2026-11-16 05:00:00"), "timestamp") if isinstance(node, exp.Placeholder) else node
    )


@per_file
def test_reads_known_tables(path: Path) -> None:
    used = tables(parsed(text(path)))
    unknown = used - TABLES[path.relative_to(ROOT).parts[0]]
    assert not unknown
    listed = set(re.findall(r"[a-z_0-9]+", header(text(path))["reads"]))
    assert (sorted(used - listed), sorted(listed - used)) == ([], []), "not listed, not read"


@per_file
def test_header_says_what_it_is(path: Path) -> None:
    told = header(text(path))
    assert [key for key in told if key != "order"] == list(KEYS)
    assert all(told.values())
    used = {node.name for node in parsed(text(path)).find_all(exp.Placeholder)}
    assert set(re.findall(r"\$([a-z_]+)", told["params"])) == used
    assert bool(used) != (told["params"] == "none")


@per_file
def test_form(path: Path) -> None:
    sql = text(path)
    assert not [line for line in sql.splitlines() if len(line) > WIDEST or line != line.rstrip()]
    assert not re.findall(r"\b\w*[A-Z]\w*", code(sql))
    assert "\t" not in sql and "\r" not in sql and sql.endswith("\n") and not sql.endswith("\n\n")


@per_file
def test_no_cast_decides_how_to_round(path: Path) -> None:
    """One engine rounds a fraction cast to a whole number, the other cuts it off: say which."""
    rounding = exp.Round | exp.Floor | exp.Ceil
    for cast in parsed(text(path)).find_all(exp.Cast):
        if cast.to.this in exp.DataType.INTEGER_TYPES and not isinstance(cast.this, rounding):
            inner = [n for n in cast.this.walk(prune=lambda n: isinstance(n, rounding)) if isinstance(n, exp.Div)]
            assert not inner and not cast.this.find(exp.Avg), cast.sql("duckdb")


@per_file
def test_neighbours_are_certain(path: Path) -> None:
    """What stands before or after a row must not hang on how an engine orders equal rows.

    So the order ends with the place of the line in its source, or the value asked for is itself the
    order, or the file says with row_number() what comes first.
    """
    tree = parsed(text(path))
    for window in tree.find_all(exp.Window):
        if not isinstance(window.this, exp.Lag | exp.Lead):
            continue
        order = _order(window)
        assert order, window.sql("duckdb")
        value = window.this.this
        alone = len(order) == 1 and isinstance(value, exp.Column) and order[0] == value.name
        assert alone or order[-1] == "line_no" or order[-2:] == ["line_no", "part"], window.sql("duckdb")


def _order(window: exp.Window) -> list[str]:
    """Columns of the order of a window, its own or that of the named one."""
    if window.alias:
        select = window.find_ancestor(exp.Select)
        named = {one.name: one for one in (select.args.get("windows") if select else None) or []}
        window = named[window.alias]
    order = window.args.get("order")
    return [ordered.this.name for ordered in order.expressions] if order else []


@pytest.mark.parametrize(
    "sql",
    [
        "select a from t asof join u on t.b >= u.b",
        "select list_transform(a, lambda x: x + 1) from t",
        "select list_transform(a, x -> x + 1) from t",
        "pivot t on a using sum(b)",
        "select [1, 2] as a",
        "select {'a': 1} as b",
        "select a[1] from t",
        "select now()",
        "select current_date",
        "select current_timestamp",
        "select random()",
        "select at_utc at time zone 'Europe/Berlin' from t",
        "select timezone('UTC', at_utc) from t",
        "select date_diff('hour', a_utc, b_utc) from t",
        "select datesub('hour', a_utc, b_utc) from t",
        "select dayofweek(a_utc), isodow(a_utc) from t",
        "select extract(dow from a_utc) from t",
        "select a_utc - b_utc from t",
        "select $since",
        "select hash(a) from t",
        "select list(a order by b) from t",
        "select quantile_cont(a, 0.5) from t",
        "select arg_max(a, b) from t",
        "select i from range(3) as r(i)",
        "select epoch_ms(a_utc) from t",
        "select a from t, u",
        "select a from t natural join u",
        "select a from t using sample 3 rows",
        "select getvariable('a')",
    ],
)
def test_the_rules_refuse_what_they_name(sql: str) -> None:
    trees = [tree for tree in sqlglot.parse(sql, read="duckdb") if tree is not None]
    assert list(refused(trees[0])), sql


def test_no_list_keeps_what_nobody_uses() -> None:
    used = {type(node).__name__ for path in FILES for node in parsed(text(path)).walk()}
    assert not set(FUNCTIONS) - used
