"""Charts: the vendored library, what a control may do, form beside colour, local time, contrast."""

from __future__ import annotations

import hashlib
import json
import re
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import plotly.graph_objects as go
import pytest
from made_run import small
from plotly.offline import get_plotlyjs_version
from run_tables import LINKED

from sigaudit.reporting import charts, figures, overview
from sigaudit.reporting.account_page import Pages
from sigaudit.reporting.page import TEMPLATES, Clock, percent, rows
from sigaudit.reporting.timeline import timeline
from sigaudit.reporting.traces import TONES, safe
from sigaudit.store import shipped

CLOCK = Clock("Europe/Vienna")


def all_charts() -> list[figures.Chart]:
    run = small()
    findings = overview.findings_in_order(run)
    account = [Pages(run.table(name)).rows(1) for name in ("evidence", "slots", "spans", "check_in_days")]
    return [
        charts.coverage(rows(run, "coverage"), CLOCK),
        charts.tests_by_day(rows(run, "tests_by_day"), CLOCK.zone),
        charts.by_kind(findings),
        charts.by_dealer(findings, rows(run, "accounts")),
        timeline(*account, CLOCK, datetime(2026, 10, 25, 23)),
    ]


def test_the_vendored_library_is_the_version_that_plotly_writes_for() -> None:
    folder = shipped.data() / "charts"
    head = (folder / "plotly-cartesian.min.js").read_text(encoding="utf-8")[:200]
    assert f"plotly.js (cartesian - minified) v{get_plotlyjs_version()}" in head
    told = dict(
        reversed(line.split("  "))
        for line in (folder / "plotly-cartesian.sha256").read_text(encoding="utf-8").splitlines()
    )
    assert set(told) == {"plotly-cartesian.min.js", "plotly-cartesian.LICENSE"}
    for name, wanted in told.items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == wanted
    assert "MIT License" in (folder / "plotly-cartesian.LICENSE").read_text(encoding="utf-8")


def test_no_control_may_send_data() -> None:
    assert figures.CONFIG["showSendToCloud"] is False
    assert figures.CONFIG["displaylogo"] is False
    assert figures.CONFIG["plotlyServerURL"] == ""
    # A closed list: whatever a later library adds to its default buttons does not appear.
    assert figures.CONFIG["modeBarButtons"] == [["zoomIn2d", "zoomOut2d", "resetScale2d"]]


def test_every_figure_is_one_that_plotly_accepts() -> None:
    for chart in all_charts():
        assert not chart.empty
        again = go.Figure(chart.figure)
        assert len(again.data) >= 1
        types = {trace.type for trace in again.data}
        # The cartesian bundle draws nothing, and says nothing, for a kind of trace it does not hold.
        assert types <= {"bar", "scatter", "heatmap"}


def test_axes_name_units_and_zone_and_titles_say_the_finding() -> None:
    for chart in all_charts():
        x = chart.figure["layout"]["xaxis"]["title"]["text"]
        assert "(count)" in x or "local time (Europe/Vienna)" in x, chart.name
        assert re.search(r"\d", chart.title), chart.title
        assert chart.head and chart.table


def test_colour_is_never_the_only_sign() -> None:
    for chart in all_charts():
        looks: dict[str, set[object]] = {"bar": set(), "scatter": set()}
        for trace in chart.figure["data"]:
            if trace["type"] == "bar":
                pattern = trace["marker"]["pattern"]
                look: object = pattern.get("shape", "")
                # A pattern needs a ground of its own, or it is drawn paper on paper.
                assert pattern["bgcolor"] == trace["marker"]["color"] != pattern["fgcolor"]
                assert look not in looks["bar"], f"{chart.name}: two kinds of bar look alike"
                looks["bar"].add(look)
    for name, (_, _, symbol) in charts._STATES.items():
        assert symbol or name in ("covered", "quiet")


def test_colours_are_names_that_the_style_knows() -> None:
    css = (TEMPLATES / "page.css").read_text(encoding="utf-8")
    for variable in TONES.values():
        # Light, dark and print each give every tone a colour.
        assert len(re.findall(rf"{variable}: #", css)) == 3, variable
    for chart in all_charts():
        used = set(re.findall(r"#[0-9a-fA-F]{6}", json.dumps(chart.figure)))
        assert used <= set(TONES), used - set(TONES)


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def palettes() -> list[dict[str, str]]:
    css = (TEMPLATES / "page.css").read_text(encoding="utf-8")
    found = []
    for block in re.findall(r":root \{(.*?)\}", css, re.S):
        pairs = re.findall(r"--([a-z-]+): (#[0-9a-fA-F]{3,6});", block)
        found.append({n: c if len(c) == 7 else "#" + "".join(2 * d for d in c[1:]) for n, c in pairs})
    return found


@pytest.mark.parametrize("place", range(3), ids=["light", "dark", "print"])
def test_text_has_contrast(place: int) -> None:
    # WCAG 2.1, success criterion 1.4.3: text 4.5:1; 1.4.11: marks of a chart 3:1 (formula from memory).
    colours = palettes()[place]

    def ratio(one: str, two: str) -> float:
        a, b = sorted((luminance(colours[one]), luminance(colours[two])), reverse=True)
        return (a + 0.05) / (b + 0.05)

    for name in ("ink", "soft", "accent", "critical", "major", "minor", "note"):
        assert ratio(name, "paper") >= 4.5, name
        assert ratio(name, "panel") >= 4.5, name
    for name in ("good", "excused"):
        assert ratio(name, "paper") >= 3, name


def test_black_on_white_is_21_to_1() -> None:
    # WCAG 2.1: the ratio ranges from 1 to 21.
    assert (luminance("#ffffff") + 0.05) / (luminance("#000000") + 0.05) == pytest.approx(21)


def test_text_in_a_chart_is_text() -> None:
    assert safe(LINKED) == '&lt;a href="http://example.invalid/"&gt;pay here&lt;/a&gt;'
    for chart in all_charts():
        for trace in chart.figure["data"]:
            for text in [trace.get("name", ""), *trace.get("text", []), *map(str, trace.get("y", []))]:
                assert "<" not in str(text)


@pytest.mark.parametrize("zone", ["Europe/Vienna", "America/New_York", "Asia/Kolkata", "Australia/Lord_Howe"])
def test_offsets_agree_with_zoneinfo(zone: str) -> None:
    # Checked against the time zone database through zoneinfo, hour by hour over both changes of a year.
    clock, known = Clock(zone), ZoneInfo(zone)
    start, end = datetime(2026, 1, 1), datetime(2026, 12, 31)
    offsets = clock.offsets(start, end)
    for hour in range(0, 8700, 7):
        at = datetime.fromtimestamp(start.replace(tzinfo=UTC).timestamp() + hour * 3600, UTC)
        held = [seconds for ms, seconds in offsets if ms <= at.timestamp() * 1000][-1]
        wanted = at.astimezone(known).utcoffset()
        assert wanted is not None and held == wanted.total_seconds(), at


def test_the_repeated_hour_is_told_apart() -> None:
    # 25 October 2026, Vienna: 02:30 comes twice, at 00:30 and 01:30 UTC (tz database).
    first, second = CLOCK.text(datetime(2026, 10, 25, 0, 30)), CLOCK.text(datetime(2026, 10, 25, 1, 30))
    assert first == "Sun 25 Oct 2026 02:30 (UTC+0200)"
    assert second == "Sun 25 Oct 2026 02:30 (UTC+0100)"
    assert CLOCK.text(datetime(2026, 10, 25, 2, 30)) == "Sun 25 Oct 2026 03:30"
    assert CLOCK.noon(date(2026, 10, 25)) == datetime(2026, 10, 25, 11)


def test_a_share_is_never_rounded_to_all_or_none() -> None:
    assert percent(9999, 10000) == "over 99.9 %"
    assert percent(1, 10000) == "under 0.1 %"
    assert (percent(10, 10), percent(0, 10), percent(3, 0)) == ("100.0 %", "0.0 %", "")


def test_templates_are_inside_the_package() -> None:
    assert Path(figures.__file__).parent == TEMPLATES.parent
