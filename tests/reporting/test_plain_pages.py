"""The revisit list: order, words, no script; and the causes of an account's page."""

from __future__ import annotations

import re
from pathlib import Path

from made_causes import cause
from made_run import small
from run_tables import SCRIPT, table
from test_weekly_page import Page

from sigaudit.reporting import overview, revisit, weekly
from sigaudit.reporting.page import Clock
from sigaudit.reporting.sites import sites

CLOCK = Clock("Europe/Vienna")
# Links that stay in the folder: on the page, from the list to a sheet and back.
OWN = re.compile(r"#main|#n\d+|sheets/\d+\.html|\.\./revisit\.html")


def text_of(path: Path) -> str:
    page = Page(path.read_text(encoding="utf-8"))
    assert not [
        a
        for tag, a in page.elements
        if tag in ("script", "link", "img", "form", "iframe") or (tag == "a" and not OWN.fullmatch(a.get("href") or ""))
    ]
    policy = next(a["content"] for _, a in page.elements if a.get("http-equiv") == "Content-Security-Policy")
    assert policy == "default-src 'none'; style-src 'unsafe-inline'; form-action 'none'; base-uri 'none'"
    return page.text


def test_revisit_is_one_plain_page_with_the_same_bytes(tmp_path: Path) -> None:
    first, *others = revisit.write(small(), tmp_path / "a")
    again, *copies = revisit.write(small(), tmp_path / "b")
    assert first.name == "revisit.html"
    assert [path.read_bytes() for path in (first, *others)] == [path.read_bytes() for path in (again, *copies)]
    assert first.stat().st_size < 150_000
    text = text_of(first)
    assert "6 sites: 4 to visit, 0 by remote, 2 at the desk alone" in text
    assert "1 site with notes alone is not listed here" in text
    assert "This audit does not replace the station's daily handling of late tests." in text
    assert "Hole in the export, receiver 1 line 03" in text


def test_sites_stand_in_order_of_need_and_desk_steps_first() -> None:
    run = small()
    found = sites(run, overview.findings_in_order(run))
    names = [site.name for site in found]
    # Without a proven path first, whatever the severity; the burglary site after the fire site of equal severity.
    assert names[:2] == ["Invented site 1", "-2+3"]
    assert names[2:4] == ["", SCRIPT]
    assert names.index("Invented site 3") > next(i for i, name in enumerate(names) if name.startswith("Very long"))
    assert [row["action"] for row in found[0].steps] == ["remote", "visit"]
    assert found[0].needs == "visit" and found[3].needs == "desk"


def test_a_sites_causes_stand_together_cheapest_step_first() -> None:
    run = small()
    found = {site.name: site for site in sites(run, overview.findings_in_order(run))}
    pair, roster = found["Invented site 1"].causes
    # Both can be looked into at the desk; the likelier entry comes first. What no log tells apart is one entry.
    assert pair.title == "primary path dead or site out of service" and pair.action == "desk"
    assert (pair.probability, pair.confidence) == (0.7, "likely")
    assert roster.title == "roster wrong"
    assert found["Invented site 1"].bring == ("part for primary path dead",)
    assert found["Invented site 3"].causes == ()  # too improbable to be named


def test_a_stray_number_stands_with_the_site_it_is_probably_of() -> None:
    run = small()
    stray = cause(
        1, "account_mistyped", 0.6, stray_key="main/00../x", link=0.9, stray_note="the number may be this one's"
    )
    run.tables["causes"] = table("causes", [stray])
    found = {site.name: site for site in sites(run, overview.findings_in_order(run))}
    assert "" not in found
    assert found["Invented site 1"].accounts == ("00../x", "1001")
    assert found["Invented site 1"].causes[0].first["stray_note"] == "the number may be this one's"


def test_a_step_is_not_told_twice() -> None:
    run = small()
    site = next(s for s in sites(run, overview.findings_in_order(run)) if s.name == "Invented site 1")
    told = {"next_step": "Look first for roster wrong. Then: Call the premises."}
    assert site.step(told) == "Call the premises."
    assert site.step({"next_step": "Call the premises."}) == "Call the premises."


def test_the_page_says_causes_before_steps(tmp_path: Path) -> None:
    path, *_ = revisit.write(small(), tmp_path)
    text = text_of(path)
    assert "Probable cause: primary path dead or site out of service likely, 70 %; the log cannot tell which" in text
    assert text.index("Probable cause: primary") < text.index("0 of 7 tests since 16 Oct")
    assert "To tell it apart from site out of service: call." in text


def test_an_accounts_page_says_what_is_probably_behind_it(tmp_path: Path) -> None:
    weekly.write(small(), tmp_path, station="Invented station")
    text = Page((tmp_path / "accounts" / "0001.html").read_text(encoding="utf-8")).text
    assert "What probably is behind it" in text
    assert "Probable cause: primary path dead or site out of service likely, 70 %; the log cannot tell which" in text
    assert "What probably is behind it" not in Page(
        (tmp_path / "accounts" / "0002.html").read_text(encoding="utf-8")
    ).text  # fmt: skip
