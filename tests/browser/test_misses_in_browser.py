"""Single misses on the weekly page: one line, folded; opened, every one of them; never in place of a finding."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from made_run import small
from run_tables import SCRIPT

from sigaudit.reporting import weekly

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("width", [1280, 380])
def test_single_misses_are_one_line_that_opens_to_the_list(browser: Any, tmp_path: Path, width: int) -> None:
    weekly.write(small(), tmp_path, station="Invented station")
    context = browser.new_context(viewport={"width": width, "height": 900}, offline=True)
    page = context.new_page()
    page.goto((tmp_path / "index.html").as_uri())
    fold = page.locator("#misses")
    assert fold.locator("summary").inner_text() == "4 single misses, folded: by luck about 3 are expected"
    assert not fold.locator("table").is_visible()
    # Folding hides no finding: every one of them stands in the table above.
    assert page.locator("[data-findings] tbody > tr").count() == 8
    fold.locator("summary").click()
    rows = fold.locator("tbody tr")
    assert rows.count() == 3 and rows.first.is_visible()
    assert rows.first.locator("td").all_inner_texts()[:2] == ["1003", "Invented site 3"]
    assert rows.nth(2).locator("td").nth(1).inner_text() == SCRIPT
    assert "1.00% of 280 due" in fold.inner_text()
    # The list may be wider than a phone, the page may not.
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    rows.first.locator("a").click()
    assert page.url.endswith("accounts/0003.html")
    page.go_back()
    context.close()


def test_on_paper_the_fold_stays_out(browser: Any, tmp_path: Path) -> None:
    weekly.write(small(), tmp_path, station="Invented station")
    page = browser.new_page()
    page.goto((tmp_path / "index.html").as_uri())
    page.emulate_media(media="print")
    assert not page.locator("#misses").is_visible()
    page.close()
