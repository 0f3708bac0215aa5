"""The demo's reports as they are kept in the repository: ``python -m tests.samples`` makes them anew.

Kept under ``reports/demo``: the weekly page with one account page, the revisit list with one visit sheet, one
customer's health report as page and PDF, and pictures of them (where the machine has Chromium). Other pages that these
link to are left out: ``sigaudit demo`` writes them all.
"""

from __future__ import annotations

import io
import re
import shutil
import sys
import tempfile
from pathlib import Path

import pypdf

from sigaudit.reporting import health, identity
from sigaudit.store import runs
from tests.demo_station import DemoStation

ROOT = Path(__file__).resolve().parents[1]
KEPT = ROOT / "reports" / "demo"
WEEK, MONTH = "2026-W47", "2026-10"
# The run's number is made from all that it is made from, the text of every query too: it changes without any effect.
_RUN = re.compile(rf"({WEEK}|{MONTH})-[0-9a-f]{{12}}")
# Picture -> page, width, height and the element at its top.
PICTURES = {
    "weekly.png": ("audit/index.html", 1240, 860, "#unprotected"),
    "act-now.png": ("audit/index.html", 1240, 760, "#act"),
    "account.png": ("audit/accounts/*.html", 1240, 860, "#h-findings"),
    "sheet.png": ("revisit/sheets/*.html", 900, 900, "body"),
    "health.png": ("health/*.html", 900, 900, "body"),
}


def gather(station: DemoStation, folder: Path) -> list[Path]:
    """Copy the chosen reports of a demo that was run into ``folder``; gives the files, each text as it is compared."""
    reports = station.folder / "reports"
    audit, revisit = reports / f"audit-{WEEK}", reports / f"revisit-{WEEK}"
    run = station.run(WEEK)
    numbers = {row["account_key"]: row["page_no"] for row in run.table("accounts").to_pylist()}
    bare = sorted(run.table("unprotected").to_pylist(), key=lambda row: (-row["hours"], row["account_key"]))
    worst = next(row for row in bare if "never heard" not in row["reason"])
    page = f"accounts/{numbers[worst['account_key']]:04d}.html"
    sheet = sorted((revisit / "sheets").glob("*.html"))[0].name
    wanted = [(audit / "index.html", "audit/index.html"), (audit / page, f"audit/{page}")]
    wanted += [(asset, f"audit/assets/{asset.name}") for asset in sorted((audit / "assets").iterdir())]
    wanted += [
        (revisit / "revisit.html", "revisit/revisit.html"),
        (revisit / "sheets" / sheet, f"revisit/sheets/{sheet}"),
    ]
    made = [_copied(source, folder / name, station.folder) for source, name in wanted]
    month = runs.latest(station.store(), MONTH)
    assert month is not None, f"the demo judged no {MONTH}"
    # The customer with the longest report has the most to show.
    pages = [file for file in (reports / f"health-{MONTH}").glob("*/*.html") if file.name != "index.html"]
    longest = max(pages, key=lambda file: (file.stat().st_size, file.name)).stem
    with tempfile.TemporaryDirectory() as scratch:
        asked = health.Asked(customer=longest)
        written = health.write(month, Path(scratch), identity.of(station.settings), asked=asked)
        made += [_copied(file, folder / "health" / f"customer{file.suffix}", station.folder) for file in written]
    return made


def words(file: Path) -> str:
    """What of a kept file is compared: its text without the run's number; of a PDF the text of its pages."""
    if file.suffix == ".pdf":
        sheets = pypdf.PdfReader(io.BytesIO(file.read_bytes())).pages
        return "\n".join(" ".join(sheet.extract_text().split()) for sheet in sheets)
    return _RUN.sub(r"\1-RUN", file.read_text(encoding="utf-8"))


def picture(folder: Path) -> list[Path]:
    """Pictures of the kept pages, as a reader sees them first. Needs Chromium and playwright."""
    from playwright.sync_api import sync_playwright

    made = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
        for name, (pattern, width, height, top) in PICTURES.items():
            page = browser.new_page(viewport={"width": width, "height": height})
            page.goto(next(folder.glob(pattern)).as_uri())
            if page.locator("[data-chart]").count():
                page.wait_for_selector("html[data-drawn]")
            page.evaluate("top => document.querySelector(top).scrollIntoView()", top)
            made.append(folder / "pictures" / name)
            page.screenshot(path=made[-1])
            page.close()
        browser.close()
    return made


def main(folder: Path = KEPT) -> None:
    """Make the kept samples anew from the demo data of this checkout."""
    with tempfile.TemporaryDirectory() as scratch:
        station = DemoStation.made_in(Path(scratch) / "demo")
        for old in folder.iterdir() if folder.is_dir() else ():
            if old.is_dir():
                shutil.rmtree(old)
        for file in (*gather(station, folder), *picture(folder)):
            print(f"{file.stat().st_size:>9,}  {file.relative_to(folder).as_posix()}")


def _copied(source: Path, target: Path, workspace: Path) -> Path:
    """The file as it would be had the demo been run from inside its workspace: exports are named from there."""
    target.parent.mkdir(parents=True, exist_ok=True)
    if source.suffix != ".html":
        return Path(shutil.copyfile(source, target))
    text = source.read_text(encoding="utf-8").replace(f"{workspace.as_posix()}/", "")
    target.write_text(text, encoding="utf-8", newline="\n")
    return target


if __name__ == "__main__":
    main(*(Path(word) for word in sys.argv[1:2]))
