"""The Python entry and ``sql``: the documented views, read-only, and nothing else within reach."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

import sigaudit
from sigaudit.errors import UsageProblem
from sigaudit.store import facts, views
from tests.demo_station import DemoStation

README = Path(__file__).parent.parent / "README.md"


@pytest.fixture(scope="module")
def station(demo_workspace: Path) -> sigaudit.station.Station:
    return sigaudit.open(demo_workspace)


def test_findings_are_those_of_the_csv(station: sigaudit.station.Station, demo_workspace: Path) -> None:
    frame = station.findings("2026-W47")
    written = pd.read_csv(demo_workspace / "reports" / "audit-2026-W47" / "findings.csv", dtype=str)
    assert sorted(frame["finding_id"]) == sorted(written["finding_id"])


def test_causes_are_those_that_the_findings_name(station: sigaudit.station.Station) -> None:
    """Every cause in a finding of the week is a named one of the same week, and pairs hold both ways."""
    causes, findings = station.causes("2026-W47"), station.findings("2026-W47")
    named = set(causes[causes["shown"]]["cause"])
    told = {cause for text in findings["cause"] for cause in text.split(" or ") if cause not in ("", "unclear")}
    assert told and told <= named
    pairs = {(row.account_key, row.cause, other) for row in causes.itertuples() for other in row.pair.split()}
    assert {(key, other, cause) for key, cause, other in pairs} == pairs


def test_signals_and_events_agree_in_number(station: sigaudit.station.Station) -> None:
    signals, events = station.signals(), station.events()
    assert len(signals) == len(events) > 60_000
    assert {"raw", "received_wall", "line_no"} <= set(signals.column_names)
    assert {"event_class", "is_resend"} <= set(events.column_names)


VIEWS = (
    *("signals", "rejects", "lineage", "sources", "source_lines", "codes", "events"),
    *("fact_day", "fact_test", "fact_check_in", "fact_edge", "fact_burst", "fact_minute"),
    *("accounts", "paths", "zones", "on_test", "findings", "verdicts", "incidents", "figures"),
)


@pytest.mark.parametrize("view", VIEWS)
def test_every_documented_view_answers(station: sigaudit.station.Station, view: str) -> None:
    assert station.sql(f"select count(*) as n from {view}")["n"][0].as_py() >= 0
    assert view in README.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "text",
    [
        "select * from read_csv('/etc/passwd')",
        "select * from read_text('{catalog}')",
        "copy (select 1) to '{out}'",
        "attach '{out}' as x",
        "create table x as select 1",
        "select 1; select 2",
        "set memory_limit = '1TB'",
        "install httpfs",
        "",
        "selec 1",
        "select * from nowhere",
    ],
)
def test_nothing_else_is_within_reach(
    station: sigaudit.station.Station, demo_workspace: Path, tmp_path: Path, text: str
) -> None:
    out = tmp_path / "out.csv"
    text = text.format(out=out.as_posix(), catalog=(tmp_path / "beside.txt").as_posix())
    (tmp_path / "beside.txt").write_text("x", encoding="utf-8")
    with pytest.raises(UsageProblem):
        station.sql(text)
    assert not out.exists()


def test_a_week_without_an_audit_is_named(station: sigaudit.station.Station) -> None:
    with pytest.raises(UsageProblem, match="2020-W01 has no audit"):
        views.ask(station.store, "select 1", week="2020-W01", memory_limit="512MiB")


def test_a_fact_that_no_signal_led_to_is_an_empty_view(tmp_path: Path) -> None:
    """No sending times, no conditions: the views are there, typed and empty."""
    export = tmp_path / "tests.csv"
    rows = [f"2026-11-{day:02d}T04:00:00,1,1,0001,E602,00,000" for day in range(1, 9)]
    text = "\n".join(["received_at,receiver,line,account,event,partition,zone", *rows, ""])
    export.write_text(text, encoding="utf-8", newline="\n")
    made = DemoStation.of(tmp_path / "station", [export])
    facts.build(made.store(), memory_limit="1GiB")
    for name, column in (("fact_clock", "offset_s"), ("fact_edge", "family"), ("fact_receiver", "event_raw")):
        assert made.sql(f"select {column} from {name}").num_rows == 0
    assert made.sql("select n from fact_day").num_rows == 8
