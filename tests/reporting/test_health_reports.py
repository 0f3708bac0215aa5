"""The files of a month's health reports: who stands in which, what they may hold, and that they print."""

from __future__ import annotations

import base64
import re
from pathlib import Path
from typing import Any

import pypdf
import pytest
from made_month import HOSTILE, account, daily, path, run, sound
from test_weekly_page import Page

from sigaudit.errors import UsageProblem
from sigaudit.known_names import LANGUAGES
from sigaudit.reporting import health
from sigaudit.reporting.health_customers import gather, safe_name
from sigaudit.reporting.health_facts import read
from sigaudit.reporting.identity import Identity

PLAIN = Identity("Invented station", "the desk, 8 to 17", "#0f5873", "#5aa0b8", "en", "a4")
# One pixel, made by hand: PNG signature, IHDR, IDAT, IEND.
PIXEL = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)
RESERVED = {"con", "prn", "aux", "nul", *(f"com{n}" for n in range(10)), *(f"lpt{n}" for n in range(10))}


def written(tmp_path: Path, made: Any, identity: Identity = PLAIN, **asked: Any) -> dict[str, Path]:
    """Files by name below the folder."""
    files = health.write(made, tmp_path, identity, asked=health.Asked(**asked))
    return {file.relative_to(tmp_path).as_posix(): file for file in files}


def pages_of(found: dict[str, Path], ending: str = ".html") -> list[Path]:
    return [file for name, file in found.items() if name.endswith(ending) and not name.endswith("index.html")]


def printed(file: Path) -> str:
    return " ".join(" ".join(sheet.extract_text().split()) for sheet in pypdf.PdfReader(file).pages)


def test_a_folder_per_dealer_and_two_files_per_customer(tmp_path: Path) -> None:
    tables = sound("0001", "0002", "0003")
    tables["month_accounts"][1]["customer"] = tables["month_accounts"][0]["customer"]
    tables["month_accounts"][1]["customer_email"] = ""
    tables["month_accounts"][2]["dealer"] = ""
    found = written(tmp_path, run(**tables))
    folders = {name.split("/")[0] for name in found if "/" in name}
    assert len(folders) == 2 and all(f.startswith("dealer-") for f in folders)
    assert len(pages_of(found)) == len(pages_of(found, ".pdf")) == 2
    both = next(file for file in pages_of(found) if "Site 0001" in file.read_text(encoding="utf-8"))
    assert "Site 0002" in both.read_text(encoding="utf-8")  # one customer, one report
    again = written(tmp_path / "again", run(**tables))
    assert {n: f.read_bytes() for n, f in found.items()} == {n: f.read_bytes() for n, f in again.items()}


def test_one_name_with_two_addresses_or_two_dealers_is_not_one_customer() -> None:
    accounts = [
        account("0001", customer="J. Miller", customer_email="one@example.invalid"),
        account("0002", customer="J. Miller", customer_email="two@example.invalid"),
        account("0003", customer="j. miller ", customer_email="ONE@example.invalid"),
        account("0004", customer="J. Miller", customer_email=""),
        account("0005", customer="J. Miller", dealer="Dealer South", customer_email=""),
        account("0006", customer="", site="Mill Lane 4", customer_email=""),
        account("0007", customer="", site="Mill Lane 4", customer_email=""),
        account("0008", customer="", site="Mill Lane 6"),
    ]
    dealers = gather(read(run(month_accounts=accounts)))
    held = {tuple(s.row["account"] for s in c.sites): c for d in dealers for c in d.customers}
    assert set(held) == {("0001", "0003"), ("0002",), ("0004",), ("0005",), ("0006", "0007"), ("0008",)}
    assert held["0004",].email == ""  # nobody's data to somebody's address
    assert len({customer.stem for customer in held.values()}) == 6


@pytest.mark.parametrize("text", [*HOSTILE, "", "CON", "ÄÖ Straße 1", "株式会社", "a" * 300, "...", " x ", "Com1.txt"])
def test_file_names_that_windows_takes(text: str) -> None:
    name = safe_name(text, text, "customer")
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name) and len(name) <= 49
    assert name.split(".")[0] not in RESERVED
    assert name == safe_name(text, text, "customer") != safe_name(text, text + "x", "customer")


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_page_holds_no_script_and_asks_for_nothing(tmp_path: Path, language: str) -> None:
    found = written(
        tmp_path,
        run(**sound("0001", language=language)),
        Identity(**{**vars(PLAIN), "logo": PIXEL, "logo_kind": "image/png"}),
    )
    for file in (*pages_of(found), *(f for n, f in found.items() if n.endswith("index.html"))):
        text = file.read_text(encoding="utf-8")
        page = Page(text)
        assert file.stat().st_size < 150_000
        assert not {tag for tag, _ in page.elements} & {"script", "link", "iframe", "form", "object", "embed", "base"}
        policy = next(a["content"] for _, a in page.elements if a.get("http-equiv") == "Content-Security-Policy")
        assert policy == (
            "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'none'; base-uri 'none'"
        )
        for _, attributes in page.elements:
            assert not [name for name in attributes if name.startswith("on")]
            assert (attributes.get("src") or "data:").startswith("data:image/png;base64,") or "src" not in attributes
            assert not re.match(r"https?:|//|javascript:", attributes.get("href") or "")
        assert "http" not in re.sub(r"http-equiv", "", text)
    (page_file,) = pages_of(found)
    assert f'<html lang="{language}">' in page_file.read_text(encoding="utf-8")


def test_hostile_texts_of_the_roster_never_become_markup_or_paths(tmp_path: Path) -> None:
    accounts, paths, needs, episodes = [], [], [], []
    for n, text in enumerate(HOSTILE):
        key = f"{n:04d}"
        accounts.append(
            account(key, site=text, customer=text, dealer=text, language=text, customer_email="", last_panel_utc=None)
        )
        paths.append({**path(key, text), "kind": ""})
        needs.append(daily(key, text))
        episodes.append(
            {"account_key": f"main/{key}", "family": "380", "code_group": "supervision", "zone": text, "label": text,
             "started_utc": accounts[-1]["first_heard_utc"], "would_tell": True}
        )  # fmt: skip
    made = run(month_accounts=accounts, month_paths=paths, month_requirements=needs, month_episodes=episodes)
    found = written(tmp_path, made)
    assert len(pages_of(found)) == len(HOSTILE)
    assert sorted(p.relative_to(tmp_path).as_posix() for p in tmp_path.rglob("*") if p.is_file()) == sorted(found)
    for name, file in found.items():
        assert re.fullmatch(r"([a-z0-9-]+/)?[a-z0-9-]+\.(html|pdf|csv)", name), name
        if name.endswith(".html"):
            text = file.read_text(encoding="utf-8")
            page = Page(text)
            tags = {tag for tag, _ in page.elements}
            assert not tags & {"script", "img", "iframe"}, name
            assert [a for t, a in page.elements if t == "a" and "example.invalid" in str(a.get("href"))] == []
            assert not re.search("[\x00-\x08\x0b-\x1f\u202a-\u202e]", text)
    shown = " ".join(Page(file.read_text(encoding="utf-8")).text for file in pages_of(found))
    assert "</script><img src=x" in shown and "% % {n} {way}" in shown
    listed = (tmp_path / "health.csv").read_text(encoding="utf-8")
    assert "'=HYPERLINK" in listed


def test_the_pdf_says_the_same_with_its_own_fonts_and_a_language(tmp_path: Path) -> None:
    tables = sound("0001", customer="Ζωή Ёлкина Łódź", language="fr")
    found = written(tmp_path, run(**tables))
    (file,) = pages_of(found, ".pdf")
    reader = pypdf.PdfReader(file)
    assert len(reader.pages) == 1
    assert [round(float(side)) for side in reader.pages[0].mediabox[2:]] == [595, 842]
    assert reader.trailer["/Root"]["/Lang"] == "fr"
    assert reader.metadata is not None and "octobre 2026" in str(reader.metadata.title)
    text = printed(file)
    for part in (
        "Ζωή Ёлкина Łódź",
        "Signaux reçus comme prévu 31 jours sur 31.",
        "31 sur 31",
        "Rapport sur le système d’alarme",
    ):
        assert part in text, part
    fonts = [font.get_object() for font in reader.pages[0]["/Resources"]["/Font"].get_object().values()]
    for font in fonts:
        inner = font["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        assert "/FontFile2" in inner and "SourceSans" in str(inner["/FontName"])
    assert file.stat().st_size < 60_000


def test_what_no_font_can_write_is_a_square_in_print_and_itself_on_the_page(tmp_path: Path) -> None:
    found = written(tmp_path, run(**sound("0001", customer="株式会社")))
    assert "株式会社" in pages_of(found)[0].read_text(encoding="utf-8")
    assert "☐☐☐☐" in printed(pages_of(found, ".pdf")[0])


def test_letter_paper_and_logo(tmp_path: Path) -> None:
    identity = Identity(**{**vars(PLAIN), "paper": "letter", "logo": PIXEL, "logo_kind": "image/png"})
    found = written(tmp_path, run(**sound("0001")), identity)
    reader = pypdf.PdfReader(pages_of(found, ".pdf")[0])
    assert [round(float(side)) for side in reader.pages[0].mediabox[2:]] == [612, 792]
    assert len(reader.pages[0].images) == 1


def test_a_customer_with_many_systems_runs_on_over_pages(tmp_path: Path) -> None:
    keys = [f"{n:04d}" for n in range(1, 13)]
    tables = sound(*keys, customer="Customer of many", customer_email="m@example.invalid")
    found = written(tmp_path, run(**tables))
    (file,) = pages_of(found, ".pdf")
    text = printed(file)
    assert 3 <= len(pypdf.PdfReader(file).pages) <= 8
    assert all(f"Site {key}" in text for key in keys)
    assert f"1 / {len(pypdf.PdfReader(file).pages)}" in text
    assert pages_of(found)[0].stat().st_size < 150_000


def test_only_what_was_asked_for_is_written_and_what_is_gone_is_removed(tmp_path: Path) -> None:
    tables = sound("0001", "0002")
    tables["month_accounts"][1]["dealer"] = "Dealer South"
    made = run(**tables)
    written(tmp_path, made)
    everything = {p: p.stat().st_mtime_ns for p in tmp_path.rglob("*") if p.is_file()}
    assert set(written(tmp_path, made, customer="Customer 0001", with_pdf=False)) < {
        p.relative_to(tmp_path).as_posix() for p in everything
    }
    assert len(written(tmp_path, made, dealer="Dealer South")) == 3
    with pytest.raises(UsageProblem, match=r"no customer 'Custmer 0001'.*nearest: Customer 000"):
        written(tmp_path, made, customer="Custmer 0001")
    with pytest.raises(UsageProblem, match="no dealer"):
        written(tmp_path, made, dealer="Nobody")
    tables = sound("0001")
    written(tmp_path, run(**tables), with_pdf=False)
    left = [p.relative_to(tmp_path).as_posix() for p in tmp_path.rglob("*") if p.is_file()]
    assert len([name for name in left if name.endswith(".html")]) == 3  # station, dealer, customer
    assert not [name for name in left if "south" in name]


def test_the_dealer_page_counts_compares_and_names_whom_to_call(tmp_path: Path) -> None:
    tables = sound(*(f"{n:04d}" for n in range(1, 14)))
    for n, row in enumerate(tables["month_accounts"]):
        row["signals"] = 10 * (n + 1)
    tables["findings"] = [{"account_key": "main/0002", "check": "gone_silent", "severity": "critical"}]
    tables["month_paths"].append(path("0003", "radio", role="backup", last_utc=None))
    before = run(**sound("0001", "0002"))
    before.meta["label"] = "2026-09"
    files = health.write(run(**tables), tmp_path, PLAIN, compared=[before], asked=health.Asked(with_pdf=False))
    page = next(f for f in files if f.name == "index.html" and f.parent != tmp_path)
    text = Page(page.read_text(encoding="utf-8")).text
    assert "13 systems of 13 customers" in text
    assert "84.6% of the systems are proven and in order" in text  # 11 of 13
    assert "11 (84.6%)" in text and "1 (7.7%)" in text and "2 (100%)" in text
    assert "Customers to call (1)" in text and "Have the system and its connection checked" in text
    # 40 + 50 + ... + 130 of 10 + 20 + ... + 130 signals: 850 of 910.
    assert "They sent 93.4% of 910 signals" in text
    assert "Not fully proven, and why (1)" in text and "Second way: radio never seen" in text
    assert "October 2025: no records held" in text
    assert "403 of 403 (100%)" in text
