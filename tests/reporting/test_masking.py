"""A masked report holds no number, name or place of the station, and says the same otherwise.

The names are long and strange, so that finding one in any file cannot be chance.
"""

from __future__ import annotations

import csv
import re
import shutil
import zipfile
from pathlib import Path

import pypdf
import pytest
from made_run import small

from sigaudit.reporting import weekly
from sigaudit.reporting.masking import STATION, Masked
from tests.demo_station import DEMO, DemoStation, called

KEY = b"k" * 32
WEEK = "2026-W47"


def everything(folder: Path) -> str:
    """The text of all files below a folder, those inside workbooks too."""
    texts = []
    for file in sorted(folder.rglob("*")):
        if file.suffix == ".xlsx":
            with zipfile.ZipFile(file) as book:
                texts += [book.read(name).decode("utf-8") for name in book.namelist()]
        elif file.suffix == ".pdf":
            texts += [page.extract_text() for page in pypdf.PdfReader(file).pages]
        elif file.is_file() and "assets" not in file.parts:
            texts.append(file.read_text(encoding="utf-8"))
    return "\n".join(texts)


@pytest.fixture(scope="module")
def masked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo under long numbers and strange names, audited with ``--mask``."""
    base = tmp_path_factory.mktemp("masked")
    folder = base / "station"
    shutil.copytree(DEMO / "workspace", folder)
    roster = folder / "roster" / "accounts.csv"
    rows = list(csv.DictReader(roster.open(encoding="utf-8", newline="")))
    for row in rows:
        row["site"] = row["site"] and f"Zzyx premises {row['site'][-3:]}"
        row["customer"] = f"Qwvk {row['customer']}"
        row["dealer"] = row["dealer"].replace("Dealer", "Vlqz")
        row["installer"] = row["installer"].replace("Installer", "Jxqp")
    with roster.open("w", encoding="utf-8", newline="") as out:
        sheet = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
        sheet.writeheader()
        sheet.writerows(rows)
    exports = [str(path) for path in sorted((DEMO / "exports").glob("receiver-*-2026-W4[67]*"))]
    assert called("ingest", *exports, "-w", str(folder)).code == 0
    assert called("roster", str(folder / "roster"), "-w", str(folder)).code == 0
    assert called("audit", "--week", WEEK, "--mask", "-w", str(folder)).code == 0
    assert called("audit", "--week", WEEK, "-w", str(folder)).code == 0
    assert called("health", "--month", "2026-11", "--mask", "-w", str(folder)).code == 0
    assert DemoStation(folder, {}).run(WEEK).table("findings").num_rows > 50
    return folder / "reports"


def test_no_name_of_the_station_is_left(masked: Path) -> None:
    open_text, hidden = everything(masked / f"audit-{WEEK}"), everything(masked / f"audit-{WEEK}-masked")
    names = r"Zzyx|Qwvk|Vlqz|Jxqp|Harbour Watch"
    assert len(re.findall(names, open_text)) > 500  # the same search finds them where they are
    assert re.findall(names, hidden) == []
    assert STATION in hidden


def test_health_reports_hold_no_name_either(masked: Path) -> None:
    folder = masked / "health-2026-11-masked"
    hidden = everything(folder) + "\n".join(str(path.relative_to(folder)) for path in folder.rglob("*"))
    assert re.findall(r"Zzyx|Qwvk|Vlqz|Jxqp|zzyx|qwvk|vlqz|jxqp|Harbour Watch", hidden) == []
    assert len(list(folder.rglob("*.pdf"))) > 100 and "Customer " in hidden and STATION in hidden
    labels = {
        row["label"] for row in csv.DictReader((DEMO / "workspace" / "roster" / "zones.csv").open(encoding="utf-8"))
    }
    assert not [label for label in labels if label and re.search(rf"\b{re.escape(label)}\b", hidden)]


def test_no_line_of_the_log_and_no_file_is_left(masked: Path) -> None:
    hidden = everything(masked / f"audit-{WEEK}-masked")
    assert "contact_id" in everything(masked / f"audit-{WEEK}")
    assert not re.search(r"\d{4}-\d\d-\d\dT[\d:]+,\d,\d,\d{4}", hidden)
    assert not re.search(r"receiver-\d-2026", hidden)


def test_the_findings_are_the_same_but_for_the_names(masked: Path) -> None:
    def read(folder: Path) -> list[dict[str, str]]:
        with (folder / "findings.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    told, hidden = read(masked / f"audit-{WEEK}"), read(masked / f"audit-{WEEK}-masked")
    kept = ("check", "severity", "confidence", "since", "until", "measured", "limit", "unit", "k", "n", "cause")
    order = [tuple(row[name] for name in kept) for row in hidden]
    assert sorted(order) == sorted(tuple(row[name] for name in kept) for row in told)
    accounts = {row["account"] for row in told}
    assert {row["account"] for row in hidden} & accounts == set()
    for row in hidden:
        spoken = " ".join((row["sentence"], row["subject"], row["next_step"], row["limit_where"], row["set_aside"]))
        assert not [word for word in re.findall(r"[\w/]+", spoken) if word.startswith("main/") and word[5:] in accounts]


def test_one_name_has_one_stand_in_and_two_names_two() -> None:
    masked = Masked(small(), KEY)
    assert masked.name("Site", "North Mill") == Masked(small(), KEY).name("Site", "North Mill")
    assert len({masked.account(f"{n:04d}") for n in range(10_000)}) == 10_000
    assert masked.account("0421") != Masked(small(), b"o" * 32).account("0421")
    assert masked.subject("path=radio,peer=main/0421") == f"path=radio,peer={masked.key('main/0421')}"
    assert masked.subject("zone=1/012") == "zone=1/012"
    assert masked.name("Site", "") == masked.account("") == masked.subject("") == ""


def test_text_of_people_and_lines_is_left_out(tmp_path: Path) -> None:
    """What a technician wrote and what stood in the log: neither can be masked word by word."""
    run = Masked(small(), KEY)
    for table, column in (("evidence", "raw"), ("visit_rows", "note"), ("quality", "sample")):
        told, kept = (made.table(table)[column].to_pylist() for made in (small(), run))
        assert any(told) and [bool(value) for value in kept] == [bool(value) for value in told]
        assert {value for value in kept if value} == {"(left out of this copy)"}
    weekly.write(run, tmp_path, station=STATION)
    assert "HYPERLINK" not in everything(tmp_path)
