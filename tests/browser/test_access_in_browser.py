"""No serious barrier on any page: axe-core (WCAG 2 A and AA) in the browser, light and dark, both widths.

axe-core is an independent rule set; it comes with the package axe-playwright-python. What it cannot see (whether a text
is plain, whether an order makes sense) no rule set tests.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import made_month
import pytest
from made_run import small

from sigaudit.reporting import health, revisit, weekly
from sigaudit.reporting.identity import Identity

pytestmark = pytest.mark.browser

WHO = Identity("Invented station", "the desk, 8 to 17", "#0f5873", "#5aa0b8", "en", "a4")
RULES = "window.axe.run(document, {resultTypes: ['violations']})"
PAGES = ("index", "account", "odd account", "revisit", "sheet", "health", "health dealer", "health customer")


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    audit, care = tmp_path_factory.mktemp("audit"), tmp_path_factory.mktemp("health")
    run = small()
    weekly.write(run, audit, station="Invented station")
    revisit.write(run, audit)
    tables = made_month.sound("0001", "0002", customer="Customer of two", customer_email="c@example.invalid")
    tables["month_paths"] += [made_month.path("0001", "radio", role="backup", last_utc=None)]
    written = health.write(made_month.run(**tables), care, WHO, asked=health.Asked(with_pdf=False))
    inside = [file for file in written if file.suffix == ".html" and file.parent != care]
    return {
        "index": audit / "index.html",
        "account": audit / "accounts" / "0001.html",
        "odd account": audit / "accounts" / "0006.html",
        "revisit": audit / "revisit.html",
        "sheet": sorted((audit / "sheets").glob("*.html"))[0],
        "health": care / "index.html",
        "health dealer": next(file for file in inside if file.name == "index.html"),
        "health customer": next(file for file in inside if file.name != "index.html"),
    }


@pytest.fixture(scope="module")
def axe() -> Iterator[str]:
    """The rule set as JavaScript."""
    found = find_spec("axe_playwright_python")
    assert found is not None and found.origin is not None, "pip install axe-playwright-python (extra dev)"
    yield (Path(found.origin).parent / "axe.min.js").read_text(encoding="utf-8")


def barriers(page: Any, axe: str) -> list[str]:
    """What axe calls serious or critical: rule and the first place."""
    page.evaluate(axe)  # by the debugger's door: the page's own policy refuses foreign scripts
    found = page.evaluate(RULES)
    assert found["testEngine"]["name"] == "axe-core"
    return [
        f"{rule['id']} ({rule['impact']}, {len(rule['nodes'])}): {rule['nodes'][0]['html'][:160]}"
        for rule in found["violations"]
        if rule["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1400])
@pytest.mark.parametrize("name", PAGES)
def test_no_serious_barrier(browser: Any, pages: dict[str, Path], axe: str, name: str, width: int, scheme: str) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900}, offline=True, color_scheme=scheme)
    page = context.new_page()
    page.goto(pages[name].as_uri())
    if page.locator("[data-chart]").count():
        page.wait_for_selector("html[data-drawn]")
    # What is folded is part of the page.
    page.evaluate("document.querySelectorAll('details').forEach((node) => { node.open = true; })")
    if page.locator(".opener").count():
        page.locator(".opener").first.click()
    found = barriers(page, axe)
    context.close()
    assert found == []


def test_a_barrier_is_found_where_there_is_one(browser: Any, axe: str) -> None:
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.set_content("<!doctype html><html><body><img src='data:,'><button></button><p style='color:#ccc'>pale</p>")
    found = barriers(page, axe)
    context.close()
    assert {text.partition(" ")[0] for text in found} >= {"button-name", "image-alt", "html-has-lang", "color-contrast"}
