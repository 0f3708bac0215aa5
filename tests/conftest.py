"""What the whole suite shares: the demo as a station would have it, and tests that may not be skipped.

With ``SIGAUDIT_TEST_ALL=1`` a skip becomes a failure: a machine that is to prove everything must not
pass by leaving things out. Without it the closing lines list what was left out and why.
"""

from __future__ import annotations

import os
from collections.abc import Generator
from pathlib import Path

import pytest
from filelock import FileLock
from hypothesis import settings

from tests.demo_station import DemoStation

ALL = "SIGAUDIT_TEST_ALL"

# Time is measured in tests/benchmarks, never here: a busy machine must not turn a test red.
settings.register_profile("suite", deadline=None)
settings.load_profile("suite")


@pytest.fixture(scope="session")
def demo_station(tmp_path_factory: pytest.TempPathFactory) -> DemoStation:
    """The demo with everything run: ``sigaudit demo`` in a fresh folder, once for all workers. Read it only."""
    base = tmp_path_factory.getbasetemp()
    if os.environ.get("PYTEST_XDIST_WORKER"):
        base = base.parent
    with FileLock(base / "demo.lock"):
        return DemoStation.made_in(base / "demo-of-all")


@pytest.fixture(scope="session")
def demo_workspace(demo_station: DemoStation) -> Path:
    """Folder of the demo workspace with store and reports. Read it only."""
    return demo_station.folder


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if os.environ.get(ALL) == "1" and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid}: skipped where {ALL}=1 asks for everything: {report.longrepr}"
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Names each test that this machine could not run."""
    for report in terminalreporter.stats.get("skipped", []):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        terminalreporter.write_line(f"not run here: {report.nodeid}: {reason}")
