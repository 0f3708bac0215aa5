"""The weekly folder: content and its order, hostile text, equal bytes, size at 10,000 accounts."""

from __future__ import annotations

import hashlib
import json
import re
import time
from datetime import timedelta
from html.parser import HTMLParser
from pathlib import Path

import pytest
from made_run import small
from run_tables import FROM, LINKED, SCRIPT, UNTIL, MadeRun, finding, table

from sigaudit.errors import StoreProblem
from sigaudit.reporting import account_page, overview, weekly
from sigaudit.reporting.page import Clock


class Page(HTMLParser):
    """Elements and visible text of a page as Python's own HTML parser sees them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.blocks: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag in ("td", "th", "dt", "dd", "br"):
            self.words.append(" ")

    def handle_data(self, data: str) -> None:
        kind = self.elements[-1] if self.elements else ("", {})
        is_block = kind[0] == "script" and kind[1].get("type") == "application/json" and data.strip()
        (self.blocks if is_block else self.words).append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", "".join(self.words))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("week")
    weekly.write(small(), made, station="Invented station")
    return made


def pages(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.html"))


def test_the_same_run_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    written = weekly.write(small(), tmp_path, station="Invented station")
    assert len(written) == len(set(written)) > 12
    for path in written:
        assert path.read_bytes() == (folder / path.relative_to(tmp_path)).read_bytes(), path.name


def test_the_order_of_rows_in_the_tables_does_not_matter(folder: Path, tmp_path: Path) -> None:
    run = small()
    turned = {name: held.take(list(range(held.num_rows))[::-1]) for name, held in run.tables.items()}
    weekly.write(MadeRun(run.meta, turned), tmp_path, station="Invented station")
    for name in ("index.html", "accounts/0001.html", "findings.csv", "incidents.csv", "revisit.xlsx"):
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes(), name


def test_a_page_for_every_account_with_a_finding_named_by_number(folder: Path) -> None:
    names = [path.name for path in sorted((folder / "accounts").iterdir())]
    assert names == [f"{number:04d}.html" for number in range(1, 8)]


def test_a_page_that_is_no_longer_true_is_removed(tmp_path: Path) -> None:
    stale, kept = tmp_path / "accounts" / "0099.html", tmp_path / "accounts" / "note.txt"
    stale.parent.mkdir()
    stale.write_text("old", encoding="utf-8")
    kept.write_text("somebody's own", encoding="utf-8")
    weekly.write(small(), tmp_path, station="Invented station")
    assert not stale.exists() and kept.exists()


def test_the_week_is_told_in_its_order(folder: Path) -> None:
    whole = Page((folder / "index.html").read_text(encoding="utf-8")).text
    # The list of contents names the same headings: the order is judged after it.
    text = whole[whole.index("What was read, and what is missing") :]
    told = [
        "1,330 lines = 1,000 signals + 310 repeats of lines already held + 4 rejects + 16 skipped",
        "1 hole in the log",
        "2 accounts without a proven path now",
        "Five numbers, with the weeks before",
        "31 of 40 · 77.5 %",
        "W41: 1 · W42: 2",
        "Not our sites: 3 incidents",
        "Not back after the receiver outage of Thu 22 Oct 2026 00:00: 1 of 40 accounts: 1001 Invented site 1",
        "Receiver lines:",
        "Act now: 3 sites",
        "gone silent: 1 site",
        "Would confirm: Look first for primary path dead.",
        "Desk fixes: 5 kinds",
        "Service list: 2 more sites",
        "Came back, or on the list for over 4 weeks: 2 sites",
        "What was not judged, and why",
        "check-ins are not in this log",
        "Rule upkeep: 1 check off or re-rated",
        "Switched off or re-rated in the settings: test_overdue",
        "Data quality",
        "Provenance",
        hashlib.sha256(b"night").hexdigest(),
        "8 findings at 7 accounts",
        "What changed since 2026-W42",
        "Headline figures",
        "The log is held for",
        "Method, sources of limits, cautions",
        "C26",
        "This audit does not replace the station's daily handling of late tests.",
    ]
    places = [text.find(part) for part in told]
    assert -1 not in places, told[places.index(-1)]
    assert places == sorted(places)
    assert "5 new · 1 returned · 2 continuing · 1 resolved" in text


def test_every_caution_is_printed_with_its_source(folder: Path) -> None:
    text = Page((folder / "index.html").read_text(encoding="utf-8")).text
    for row in overview.cautions():
        assert re.sub(r"\s+", " ", f"{row['id']} {row['text']} Source: {row['source']} ({row['known']})") in text


def test_text_from_the_log_is_text_everywhere(folder: Path) -> None:
    for path in pages(folder):
        page = Page(path.read_text(encoding="utf-8"))
        tags = {tag for tag, _ in page.elements}
        assert "img" not in tags and "iframe" not in tags and "form" not in tags, path.name
        assert not [a for _, a in page.elements for name in a if name.startswith("on")], path.name
        for block in page.blocks:
            json.loads(block)
            assert "<" not in block
    index = Page((folder / "index.html").read_text(encoding="utf-8"))
    assert SCRIPT in index.text
    assert LINKED in index.text


def test_nothing_is_fetched_from_elsewhere(folder: Path) -> None:
    for path in pages(folder):
        page = Page(path.read_text(encoding="utf-8"))
        for tag, attributes in page.elements:
            for name in ("src", "href", "action", "data", "poster", "srcset"):
                target = attributes.get(name)
                if target is None:
                    continue
                assert not re.match(r"(?i)\s*([a-z][a-z0-9+.-]*:|//)", target), f"{path.name}: {tag} {target}"
                file = target.partition("#")[0]
                if file:
                    assert (path.parent / file).is_file(), f"{path.name}: {target} leads nowhere"
        policy = next(a["content"] for t, a in page.elements if a.get("http-equiv") == "Content-Security-Policy")
        assert policy is not None and policy.startswith("default-src 'none'; script-src 'self';")
        assert "unsafe-eval" not in policy and "http" not in policy
        scripts = [a for t, a in page.elements if t == "script"]
        assert all(a.get("src") or a.get("type") == "application/json" for a in scripts)


def test_styles_and_own_scripts_fetch_nothing(folder: Path) -> None:
    for name in ("page.css", "figures.js", "table.js"):
        text = (folder / "assets" / name).read_text(encoding="utf-8")
        assert not re.search(
            r"https?:|@import|url\(|fetch\(|XMLHttpRequest|sendBeacon|WebSocket|innerHTML|eval\(", text
        )


def test_one_shared_copy_of_the_chart_library(folder: Path) -> None:
    big = [path for path in folder.rglob("*") if path.is_file() and path.stat().st_size > 500_000]
    assert [path.name for path in big] == ["plotly-cartesian.min.js"]


def test_account_page_says_what_a_flag_must_say(folder: Path) -> None:
    text = Page((folder / "accounts" / "0001.html").read_text(encoding="utf-8")).text
    for part in (
        "0 of 7 tests since 16 Oct; 7 of 7 in each of the four weeks before.",
        "Weighed: silences of this length: 1 of 400 sites.",
        "Weighed: 7 of 7 missed, 0 of 28 in four weeks before (Fisher, p 0.0002); peers miss 0.5 % <b>of all</b>.",
        "It could also be: Site closed for the season",
        "24.5 h; interval in the roster (handbook)",
        "Next step, by remote: Ask for a manual test",
        "continuing, 5 weeks on the list",
        "exports/night.csv : 100",
        "Incident Thu 22 Oct 2026 00:00 Thu 22 Oct 2026 07:00 outage of receiver 2",
        "28 of 33 tests due came (2 more excused); 40 signals in all",
        "Customer 1",
    ):
        assert part in text, part
    assert "Fire alarm out more than 4 hours in 24" in text
    burglary = Page((folder / "accounts" / "0003.html").read_text(encoding="utf-8")).text
    assert "Fire alarm out more than 4 hours in 24: fire watch" not in burglary


def test_a_long_log_is_cut_and_the_page_says_so(folder: Path) -> None:
    page = folder / "accounts" / "0004.html"
    text = Page(page.read_text(encoding="utf-8")).text
    cut = re.search(r"The newest (\d+) lines; (\d+) older lines", text)
    assert cut and int(cut[1]) + int(cut[2]) == 900 and int(cut[1]) <= account_page.MOST_LINES
    assert page.stat().st_size <= account_page.MOST_BYTES


def test_an_account_that_the_roster_does_not_know(folder: Path) -> None:
    text = Page((folder / "accounts" / "0006.html").read_text(encoding="utf-8")).text
    assert "This account is not on the roster in force" in text


def test_a_week_with_nothing_to_tell(tmp_path: Path) -> None:
    run = small()
    bare = {name: held.slice(0, 0) for name, held in run.tables.items()}
    weekly.write(MadeRun({**run.meta, "previous": [], "sources": []}, bare), tmp_path, station="Invented station")
    text = Page((tmp_path / "index.html").read_text(encoding="utf-8")).text
    assert "No check found anything. That is not proof that nothing is wrong" in text
    assert "No earlier run to compare with" in text
    assert "No test was due in this window" in text
    assert not list((tmp_path / "accounts").glob("*")) if (tmp_path / "accounts").exists() else True


def test_an_unknown_zone_is_one_clear_sentence(tmp_path: Path) -> None:
    run = small()
    with pytest.raises(StoreProblem, match="time zone"):
        weekly.write(MadeRun({**run.meta, "timezone": "Mars/Olympus"}, run.tables), tmp_path, station="x")


def big(accounts: int, found: int) -> MadeRun:
    """A run of many accounts; ``found`` of them with a finding each, 40 receiver lines."""
    run = small()
    severities = ["critical", "major", "minor", "note"]
    findings = [
        finding(
            i + 1,
            f"check_{i % 18}",
            severities[min(3, i * 8 // found)] if found < accounts else severities[i % 4],
            account=f"{i:06d}",
            site=f"Invented site number {i} in a street",
            dealer=f"Dealer {i % 60}",
            sentence=f"{i % 7} of 7 tests since 16 Oct; 7 of 7 in each of the four weeks before, {i} of its kind.",
        )
        for i in range(found)
    ]
    hours = int((UNTIL - FROM + timedelta(days=7)).total_seconds() // 3600)
    coverage = [
        {
            "receiver": str(r),
            "line": f"{c:02d}",
            "hour_utc": FROM - timedelta(days=7) + timedelta(hours=h),
            "n": 17,
            "state": "covered",
        }
        for r in range(4)
        for c in range(10)
        for h in range(hours)
    ]
    rows = [
        {
            "account_key": f"main/{i:06d}",
            "account": f"{i:06d}",
            "monitored": True,
            "heard": True,
            "dealer": f"Dealer {i % 60}",
        }
        for i in range(accounts)
    ]
    tables = {**run.tables, "findings": table("findings", findings), "coverage": table("coverage", coverage)}
    return MadeRun(run.meta, {**tables, "accounts": table("accounts", rows)})


@pytest.mark.parametrize("found", [2_000, 10_000])
def test_page_data_stay_under_two_megabytes_at_10_000_accounts(found: int) -> None:
    run = big(10_000, found)
    clock = Clock(run.meta["timezone"])
    started = time.perf_counter()
    findings = overview.findings_in_order(run)
    made = overview.context(run, findings, clock)
    assert time.perf_counter() - started < 20
    from sigaudit.reporting.page import environment, read_what

    page = (
        environment()
        .get_template("index.html.j2")
        .render(**read_what(run, clock), **made, station="Invented station", clock=clock)
    )
    blocks = Page(page).blocks
    assert len(blocks) >= 4
    assert sum(len(block.encode()) for block in blocks) <= 2_000_000
    # Without a script every critical and major finding stands in the page a second time: 5,000 of them at 10,000.
    assert len(page.encode()) <= (2_400_000 if found == 2_000 else 3_600_000)
    assert page.count("sev sev-critical") >= found // 4 // (1 if found == 10_000 else 2)
    held = json.loads(
        next(block for block in blocks if '"columns"' in block and '"words"' in block and '"rows"' in block)
    )
    # No row is ever left out; only sentences of mild findings may be.
    assert len(held["rows"]) == found
    if found == 10_000:
        assert "stand only on their account pages" in page
        sentence = held["columns"].index("sentence")
        severity = held["columns"].index("severity")
        critical = held["words"]["severity"].index("critical")
        assert all(row[sentence] for row in held["rows"] if row[severity] == critical)
