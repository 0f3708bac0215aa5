"""Health reports in a real browser: from disk, network off, at several widths, dark, and printed."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pypdf
import pytest
from made_month import HOSTILE, account, path, run, sound

from sigaudit.reporting import health
from sigaudit.reporting.identity import Identity

pytestmark = pytest.mark.browser
WHO = Identity("Invented station", "the desk, 8 to 17", "#0f5873", "#5aa0b8", "en", "a4")


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Pages by name: index (station), dealer, customer (two systems), hostile."""
    folder = tmp_path_factory.mktemp("health")
    tables = sound("0001", "0002", customer="Customer of two", customer_email="c@example.invalid")
    tables["month_accounts"].append(account("0003", site=HOSTILE[0], customer=HOSTILE[0]))
    tables["month_paths"] += [path("0001", "radio", role="backup", last_utc=None), path("0003")]
    tables["month_days"] = [
        {"account_key": "main/0002", "path": "phone", "what": "test", "local_day": date(2026, 10, 9), "missed": 1}
    ]
    written = health.write(run(**tables), folder, WHO, asked=health.Asked(with_pdf=False))
    found = {"index": folder / "index.html"}
    for file in written:
        if file.name == "index.html" and file.parent != folder:
            found["dealer"] = file
        elif file.suffix == ".html" and file.parent != folder:
            found["customer" if "customer-of-two" in file.name else "hostile"] = file
    return found


@pytest.fixture()
def opened(browser: Any) -> Iterator[Any]:
    """Opens a page; fails afterwards if anything was complained of or asked of a network."""
    contexts: list[Any] = []
    complaints: list[str] = []
    asked: list[str] = []

    def open_page(file: Path, *, width: int = 1280, **options: Any) -> Any:
        context = browser.new_context(viewport={"width": width, "height": 900}, offline=True, **options)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: complaints.append(message.text))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(file.as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []
    assert [url for url in asked if not url.startswith(("file://", "data:"))] == []


@pytest.mark.parametrize("width", [340, 768, 1600])
@pytest.mark.parametrize("name", ["index", "dealer", "customer", "hostile"])
def test_no_width_scrolls_sideways(opened: Any, pages: dict[str, Path], name: str, width: int) -> None:
    page = opened(pages[name], width=width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("h1").count() == 1
    assert page.title() != "run"


def test_the_days_are_drawn_and_told(opened: Any, pages: dict[str, Path]) -> None:
    page = opened(pages["customer"])
    strip = page.locator(".strip").nth(1)
    assert (
        strip.get_attribute("aria-label")
        == "Days of October 2026: 30 as expected, 1 with something missing, 0 not counted"
    )
    assert strip.locator("rect.expected").count() == 30 and strip.locator("path.missed").count() == 1
    good = strip.locator("rect.expected").first.evaluate("node => getComputedStyle(node).fill")
    assert good == "rgb(28, 111, 102)"
    page.emulate_media(color_scheme="dark")
    assert strip.locator("rect.expected").first.evaluate("node => getComputedStyle(node).fill") != good
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(20, 24, 27)"


def test_the_dealer_walks_to_the_customer(opened: Any, pages: dict[str, Path]) -> None:
    page = opened(pages["index"])
    page.get_by_role("link", name="Dealer North").click()
    assert page.locator("h1").inner_text() == "Systems of Dealer North October 2026"
    page.get_by_role("link", name="Customer of two").first.click()
    assert "Reported as expected on 30 of 31 days." in page.locator("main").inner_text()


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_printed(opened: Any, pages: dict[str, Path], paper: str, points: tuple[int, int]) -> None:
    page = opened(pages["hostile"])
    sheet = pypdf.PdfReader(io.BytesIO(page.pdf(format=paper)))
    assert len(sheet.pages) == 1
    assert [round(float(side)) for side in sheet.pages[0].mediabox[2:]] == pytest.approx(points, abs=1)
    assert "What this report does not show" in " ".join(sheet.pages[0].extract_text().split())
    two = pypdf.PdfReader(io.BytesIO(opened(pages["customer"]).pdf(format=paper)))
    assert len(two.pages) <= 2
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
