"""The browser of the page tests: Debian's Chromium, headless, with the network cut off."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "reporting"))

CHROMIUM = Path(os.environ.get("SIGAUDIT_CHROMIUM", "/usr/bin/chromium"))


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    """A running browser. Without one the test is skipped, or fails where everything must run."""
    missing = ""
    if not CHROMIUM.exists():
        missing = f"no Chromium at {CHROMIUM} (apt install chromium, or set SIGAUDIT_CHROMIUM)"
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing = "playwright is not installed"
    if missing:
        if os.environ.get("SIGAUDIT_TEST_ALL") == "1":
            pytest.fail(missing)
        pytest.skip(missing)
    with sync_playwright() as play:
        running = play.chromium.launch(
            executable_path=str(CHROMIUM),
            args=["--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu", "--disable-background-networking"],
        )
        yield running
        running.close()
