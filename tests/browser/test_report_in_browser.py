"""The weekly report in a real browser: from disk, network off, used as a supervisor uses it."""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pypdf
import pytest
from made_run import small
from run_tables import SCRIPT, MadeRun
from test_weekly_page import big

from sigaudit.reporting import revisit, weekly

pytestmark = pytest.mark.browser

# What a drawn chart leaves in the document: points, bars, and the picture of a heat map.
MARKS = ".scatterlayer .points path, .barlayer .point path, .heatmaplayer image"
Opened = Callable[..., Any]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("report")
    run = small()
    weekly.write(run, made, station="Invented station")
    revisit.write(run, made)
    return made


@pytest.fixture()
def opened(browser: Any, folder: Path) -> Iterator[Opened]:
    """Opens a page of the report; fails afterwards if anything was complained of or asked of a network."""
    contexts: list[Any] = []
    complaints: list[str] = []
    asked: list[str] = []

    def open_page(name: str, *, where: Path = folder, width: int = 1280, **options: Any) -> Any:
        context = browser.new_context(viewport={"width": width, "height": 900}, offline=True, **options)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: complaints.append(f"{name}: {message.text}"))
        page.on("pageerror", lambda fault: complaints.append(f"{name}: {fault}"))
        page.on("request", lambda request: asked.append(request.url))
        page.goto((where / name).as_uri())
        if options.get("java_script_enabled", True) and page.locator("[data-chart]").count():
            page.wait_for_selector("html[data-drawn]")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []
    assert [url for url in asked if not url.startswith(("file://", "data:", "blob:"))] == []


@pytest.mark.parametrize("name", ["index.html", "accounts/0001.html", "accounts/0002.html", "accounts/0004.html"])
def test_every_chart_drew_marks_that_can_be_seen(opened: Opened, name: str) -> None:
    page = opened(name)
    charts = page.locator("figure.chart:has([data-chart])")
    assert charts.count() == page.locator("[data-chart]").count() >= 1
    for i in range(charts.count()):
        chart = charts.nth(i)
        assert chart.locator(MARKS).count() > 0, chart.get_attribute("id")
        drawn = chart.locator(".barlayer .point path").evaluate_all(
            "nodes => nodes.map(n => n.getBoundingClientRect()).filter(r => r.width * r.height > 4).length"
        )
        bars = chart.locator(".barlayer .point path").count()
        assert drawn > 0 or bars == 0
    # A pattern's ground is a colour of its own, not the paper's: a bar painted paper on paper has a size too.
    grounds = page.evaluate("[...document.querySelectorAll('pattern rect')].map(r => getComputedStyle(r).fill)")
    assert "rgb(252, 251, 248)" not in grounds
    assert grounds or name != "index.html"


def test_no_control_of_a_chart_can_send_anything(opened: Opened) -> None:
    for name in ("index.html", "accounts/0001.html"):
        page = opened(name)
        labels = page.locator(".modebar-btn").evaluate_all("nodes => nodes.map(n => n.getAttribute('data-title'))")
        assert set(labels) == {"Zoom in", "Zoom out", "Reset axes"}
        assert page.locator(".modebar a[href], .plotlyjsicon, [data-title*='hare'], [data-title*='loud']").count() == 0
        assert page.locator("form, iframe, a[href^='http'], svg a").count() == 0
        settings = page.evaluate(
            "[...document.querySelectorAll('.js-plotly-plot')]"
            ".map(n => [n._context.showSendToCloud, n._context.plotlyServerURL])"
        )
        assert settings and all(entry == [False, ""] for entry in settings)


def test_the_policy_stops_foreign_script_and_traffic(browser: Any, folder: Path) -> None:
    # Not through the fixture: here the browser must complain.
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto((folder / "index.html").as_uri())
    page.evaluate("""() => {
        const script = document.createElement('script');
        script.textContent = 'window.ran = 1';
        const holder = document.createElement('div');
        holder.innerHTML = '<img src=x onerror="window.ran = 2">';
        document.body.append(script, holder);
    }""")
    page.wait_for_timeout(200)
    assert page.evaluate("window.ran") is None
    assert page.evaluate("fetch('data:text/plain,x').then(() => 'went', () => 'stopped')") == "stopped"
    context.close()


def test_filter_sort_and_open_a_row(opened: Opened) -> None:
    page = opened("index.html")
    body = page.locator("[data-findings] tbody > tr")
    assert body.count() == 8
    page.select_option("[data-filter=severity]", "=major")
    assert body.count() == 3
    assert page.locator("[data-count]").inner_text() == "3 of 8 findings"
    page.select_option("[data-filter=severity]", "")
    page.fill("[data-filter=text]", "invented SITE 3")
    assert body.count() == 1
    page.click("[data-reset]")
    assert body.count() == 8

    def column(place: int) -> list[str]:
        return page.locator(f"[data-findings] tbody > tr > td:nth-child({place})").all_inner_texts()

    head = page.locator("[data-sort=account] button")
    head.click()
    up = column(2)
    assert up == sorted(up) and page.locator("[data-sort=account]").get_attribute("aria-sort") == "ascending"
    head.click()
    assert column(2) == sorted(up, reverse=True)
    # Severity sorts by rank, not by letter: critical, major, minor, note.
    page.locator("[data-sort=severity] button").click()
    assert [text.strip("+ \n") for text in column(1)] == ["critical"] * 2 + ["major"] * 3 + ["minor"] * 2 + ["note"]
    for name in ("site", "title", "since", "status", "dealer", "action", "confidence"):
        page.locator(f"[data-sort={name}] button").click()
        assert body.count() == 8

    opener = page.locator(".opener").first
    opener.click()
    assert opener.get_attribute("aria-expanded") == "true"
    summary = page.locator("tr.more")
    for part in ("Measured", "62.5 h", "24.5 h (interval in the roster, handbook)", "Could also be", "Next step"):
        assert part in summary.inner_text()
    opener.click()
    assert page.locator("tr.more").count() == 0


def test_a_figure_leads_to_its_rows(opened: Opened) -> None:
    page = opened("index.html")
    body = page.locator("[data-findings] tbody > tr")
    page.locator(".numbers-now a", has_text="accounts").nth(1).click()  # degraded: the run says which checks count
    page.locator("[data-count]", has_text="only: degraded now").wait_for()
    assert body.count() == 2
    assert all("test overdue" in text for text in body.all_inner_texts())
    assert page.evaluate("location.hash") == "#findings"
    page.click("[data-reset]")
    assert body.count() == 8
    page.locator("#figures a[data-values*=line_cut]").click()
    page.locator("[data-count]", has_text="1 of 8 findings; only: line cuts").wait_for()
    # What stands elsewhere on the page is led to, folded or not.
    page.locator(".numbers-now a[href='#resolved']").click()
    page.locator("details[open] #resolved").wait_for()
    for target in page.locator("main a[href^='#']").evaluate_all("nodes => nodes.map(n => n.getAttribute('href'))"):
        assert page.locator(target).count() == 1, target


def test_there_and_back_again(opened: Opened) -> None:
    page = opened("index.html")
    page.select_option("[data-filter=severity]", "=critical")
    page.locator("[data-findings] tbody a", has_text="1001").click()
    page.wait_for_selector("h1:has-text('Invented site 1')")
    page.locator(".over a").click()
    page.wait_for_selector("h1:has-text('Weekly audit')")
    page.go_back()
    page.go_back()
    page.wait_for_selector("h1:has-text('Weekly audit')")
    assert page.locator("[data-count]").inner_text() == "2 of 8 findings"
    assert page.locator("[data-filter=severity]").input_value() == "=critical"


def test_the_table_works_by_keyboard(opened: Opened) -> None:
    page = opened("index.html")
    page.focus("[data-sort=site] button")
    page.keyboard.press("Enter")
    assert page.locator("[data-sort=site]").get_attribute("aria-sort") == "ascending"
    page.focus(".opener")
    page.keyboard.press("Space")
    assert page.locator("tr.more").count() == 1
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.tagName") == "A"


def test_hostile_text_stays_text(opened: Opened) -> None:
    for name in ("index.html", "accounts/0002.html"):
        page = opened(name)
        if name == "index.html":
            page.locator(".opener").nth(3).click()
        assert page.title() != "run"
        assert page.locator("img[src=x]").count() == 0
        assert SCRIPT in page.locator("body").inner_text()


@pytest.mark.parametrize("width", [360, 768, 1024, 1600])
@pytest.mark.parametrize("name", ["index.html", "accounts/0001.html", "accounts/0004.html", "revisit.html"])
def test_no_width_scrolls_sideways(opened: Opened, name: str, width: int) -> None:
    page = opened(name, width=width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    for i in range(page.locator(".js-plotly-plot").count()):
        box = page.locator(".js-plotly-plot").nth(i).bounding_box()
        assert box["width"] <= width


def test_dark_and_light_recolour_the_charts(opened: Opened) -> None:
    page = opened("index.html", color_scheme="dark")
    first = page.locator("#figure-tests .xtick text").first
    light_on_dark = first.evaluate("node => getComputedStyle(node).fill")
    page.emulate_media(color_scheme="light")
    page.wait_for_function(
        "old => getComputedStyle(document.querySelector('#figure-tests .xtick text')).fill !== old", arg=light_on_dark
    )
    assert light_on_dark == "rgb(231, 228, 221)"
    assert first.evaluate("node => getComputedStyle(node).fill") == "rgb(29, 34, 39)"


def test_ticks_are_local_midnights_through_the_clock_change(opened: Opened) -> None:
    page = opened("index.html", width=1600)
    ticks = page.evaluate(
        "(() => { const a = document.querySelector('#figure-coverage .js-plotly-plot')._fullLayout.xaxis;"
        " return a.tickvals.map((v, i) => [v, a.ticktext[i]]); })()"
    )
    # Midnight in Vienna is 22:00 UTC until 25 October 2026 (tz database), and the change comes after that midnight.
    assert {value[11:16] for value, _ in ticks} == {"22:00"}
    assert ["2026-10-20 22:00:00.000", "Wed<br>21 Oct"] in ticks or [
        "2026-10-19 22:00:00.000",
        "Tue<br>20 Oct",
    ] in ticks


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_printed(opened: Opened, paper: str, points: tuple[int, int]) -> None:
    page = opened("index.html")
    pdf = pypdf.PdfReader(io.BytesIO(page.pdf(format=paper, print_background=True)))
    assert 4 <= len(pdf.pages) <= 10
    assert [round(float(side)) for side in pdf.pages[0].mediabox[2:]] == pytest.approx(points, abs=1)
    text = " ".join(" ".join(sheet.extract_text().split()) for sheet in pdf.pages)
    for part in (
        "What was read, and what is missing",
        "2 accounts without a proven path now",
        "8 of 8 findings severity account site finding since",
        "82.5 % of 280 tests due came in time",
        "Thu 22 Oct",
        "Cured site",
        "This audit does not replace the station's daily handling of late tests.",
    ):
        assert part in text, part
    # The first page opens with what was read; nothing is cut off at the right because the text is as wide as the paper.
    assert "1,330 lines = 1,000 signals" in " ".join(pdf.pages[0].extract_text().split())
    account = pypdf.PdfReader(io.BytesIO(opened("accounts/0001.html").pdf(format=paper)))
    assert "exports/night.csv" in " ".join(sheet.extract_text() for sheet in account.pages)


def test_printed_in_a_dark_room_is_black_on_white(opened: Opened) -> None:
    page = opened("index.html", color_scheme="dark")
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
    page.wait_for_function(
        "getComputedStyle(document.querySelector('#figure-tests .xtick text')).fill === 'rgb(0, 0, 0)'"
    )
    width = page.locator("#figure-tests .js-plotly-plot .main-svg").first.evaluate(
        "n => n.getBoundingClientRect().width"
    )
    assert width == 690


def test_without_scripts_the_page_still_reads(opened: Opened) -> None:
    page = opened("index.html", java_script_enabled=False)
    assert page.locator("[data-findings] tbody tr").count() == 8
    assert "Drawing needs scripts" in page.locator("#figure-tests").inner_text()
    page.locator("#figure-tests summary").click()
    assert "Mon 19 Oct" in page.locator("#figure-tests table").inner_text()
    assert not page.locator(".filters").is_visible()


def test_without_scripts_nothing_that_cannot_wait_is_missing(opened: Opened, tmp_path: Path) -> None:
    run = big(2_000, 2_000)  # a quarter critical, a quarter major: more than any table would show at once
    weekly.write(
        MadeRun(run.meta, {**run.tables, "evidence": run.tables["evidence"].slice(0, 0)}), tmp_path, station="x"
    )
    page = opened("index.html", where=tmp_path, java_script_enabled=False)
    shown = page.locator("[data-findings] tbody > tr")
    assert shown.count() == 1000
    assert page.locator("[data-findings] .sev-critical").count() == page.locator("[data-findings] .sev-major").count()
    assert shown.locator("a[href^='accounts/']").count() == 1000
    assert page.locator("#act tbody > tr").count() == 500  # every critical one
    last = shown.last.inner_text()
    assert "major" in last and "check" in last


def test_plain_pages_hold_no_script(opened: Opened) -> None:
    for name in ("revisit.html",):
        page = opened(name)
        assert page.locator("script").count() == 0
        assert page.locator("h1").inner_text().endswith("2026-W43")


def test_a_big_week_is_on_screen_within_two_seconds(opened: Opened, tmp_path: Path) -> None:
    run = big(10_000, 10_000)
    from sigaudit.reporting import overview
    from sigaudit.reporting.page import Clock, environment, read_what

    clock = Clock(run.meta["timezone"])
    weekly.write_assets(tmp_path)
    text = (
        environment()
        .get_template("index.html.j2")
        .render(
            **read_what(run, clock),
            **overview.context(run, overview.findings_in_order(run), clock),
            station="x",
            clock=clock,
        )
    )
    (tmp_path / "index.html").write_text(text, encoding="utf-8", newline="\n")
    started = time.perf_counter()
    page = opened("index.html", where=tmp_path)
    drawn = time.perf_counter() - started
    paint = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    assert paint < 2000, f"first paint after {paint:.0f} ms"
    print(f"10,000 findings: first paint {paint:.0f} ms, charts {drawn:.1f} s, page {len(text.encode()):,} bytes")
    assert drawn < 15, f"all charts after {drawn:.1f} s"
    # All that cannot wait is shown, the rest on demand: nothing is cut.
    assert page.locator("[data-findings] tbody > tr").count() == 5000
    started = time.perf_counter()
    page.select_option("[data-filter=check]", "=check_3")
    assert time.perf_counter() - started < 5
    assert page.locator("[data-count]").inner_text().startswith("556 of 10000 findings")
