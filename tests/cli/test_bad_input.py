"""Bad input: one clear sentence on stderr, the exit code of the table, and a store as it was before."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.demo_station import Called, DemoStation, called

HEADER = "received_at,receiver,line,account,event,partition,zone\n"
# PNG specification (ISO/IEC 15948), 5.2: the signature; then an IHDR chunk of one pixel.
PNG = bytes.fromhex("89504e470d0a1a0a0000000d4948445200000001000000010806000000 1f15c489") * 40
LAYOUT = """id = "own"
[recognise]
header = ["when", "who", "what"]
[time]
column = "when"
format = "%Y-%m-%d %H:%M:%S"
timezone = "Mars/Base"
[fields]
account = "who"
event = "what"
"""


@pytest.fixture()
def station(tmp_path: Path) -> Path:
    """A workspace that already holds one small export and a roster."""
    folder = tmp_path / "station"
    assert called("init", str(folder), "--name", "Small", "--timezone", "Europe/Berlin").code == 0
    write(folder / "roster" / "accounts.csv", "account,site\n0042,Site one\n")
    write(folder / "roster" / "paths.csv", "account,path,test_interval\n0042,phone,24h\n")
    export = write(tmp_path / "first.csv", HEADER + "2026-11-16T08:00:00,1,1,0042,E602,00,000\n")
    assert called("ingest", str(export), "-w", str(folder)).code == 0
    assert called("roster", str(folder / "roster"), "-w", str(folder)).code == 0
    return folder


def write(path: Path, content: str | bytes) -> Path:
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return path


def state(folder: Path) -> tuple[list[str], dict[str, str]]:
    """Every statement that makes the catalog, and a checksum of every Parquet file."""
    con = sqlite3.connect(folder / "store" / "catalog.sqlite")
    dump = list(con.iterdump())
    con.close()
    files = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.rglob("store/**/*.parquet")}
    return dump, files


def one_sentence(said: Called) -> str:
    """The sentence of an error; nothing on stdout, no traceback."""
    assert said.out == ""
    assert "Traceback" not in said.err
    errors = [line for line in said.err.splitlines() if line.startswith("error[")]
    assert len(errors) == 1, said.err
    return errors[0]


def no_event(folder: Path) -> list[str]:
    export = write(folder.parent / "odd.csv", "received_at,account\n2026-11-16T09:00:00,0042\n")
    return ["ingest", str(export)]


def utf16(folder: Path) -> list[str]:
    text = HEADER + "2026-11-16T09:00:00,1,1,0042,E602,00,000\n"
    return ["ingest", str(write(folder.parent / "wide.csv", text.encode("utf-16-le")))]


def damaged_gzip(folder: Path) -> list[str]:
    import gzip

    whole = gzip.compress((HEADER + "2026-11-16T09:00:00,1,1,0042,E602,00,000\n" * 500).encode())
    return ["ingest", str(write(folder.parent / "cut.csv.gz", whole[: len(whole) // 2]))]


def empty_folder(folder: Path) -> list[str]:
    (folder.parent / "nothing").mkdir()
    return ["ingest", str(folder.parent / "nothing")]


def empty_file(folder: Path) -> list[str]:
    return ["ingest", str(write(folder.parent / "empty.csv", b""))]


def image(folder: Path) -> list[str]:
    return ["ingest", str(write(folder.parent / "photo.png", PNG))]


def no_file(folder: Path) -> list[str]:
    return ["ingest", str(folder.parent / "not-there.csv")]


def unknown_layout(folder: Path) -> list[str]:
    export = write(folder.parent / "second.csv", HEADER + "2026-11-16T09:00:00,1,1,0042,E602,00,000\n")
    return ["ingest", str(export), "--layout", "plan"]


def layout_with_wrong_zone(folder: Path) -> list[str]:
    write(folder / "layouts" / "own.toml", LAYOUT)
    export = write(folder.parent / "second.csv", HEADER + "2026-11-16T09:00:00,1,1,0042,E602,00,000\n")
    return ["ingest", str(export)]


def too_many_rejects(folder: Path) -> list[str]:
    export = write(folder.parent / "bad.csv", HEADER + "not a time,1,1,0042,E602,00,000\n" * 3)
    return ["ingest", str(export), "--max-rejects", "2"]


def doubled_account(folder: Path) -> list[str]:
    write(folder / "roster" / "accounts.csv", "account,site\n0042,Site one\n0042,Site two\n")
    return ["roster", str(folder / "roster")]


def six_fortnights(folder: Path) -> list[str]:
    write(folder / "roster" / "paths.csv", "account,path,test_interval\n0042,phone,6 fortnights\n")
    return ["roster", str(folder / "roster")]


def roster_without_site(folder: Path) -> list[str]:
    write(folder / "roster" / "accounts.csv", "account,customer\n0042,Somebody\n")
    return ["roster", str(folder / "roster")]


def roster_not_there(folder: Path) -> list[str]:
    return ["roster", str(folder / "rooster")]


def no_date(folder: Path) -> list[str]:
    return ["roster", str(folder / "roster"), "--valid-from", "1.11.2026"]


def wrong_zone(folder: Path) -> list[str]:
    text = (folder / "sigaudit.toml").read_text(encoding="utf-8")
    write(folder / "sigaudit.toml", text.replace("Europe/Berlin", "Mars/Base"))
    return ["status"]


def mistyped_key(folder: Path) -> list[str]:
    write(folder / "sigaudit.toml", '[station]\ntimezone = "Europe/Berlin"\n[audit]\nhistory_week = 4\n')
    return ["audit"]


def no_week(folder: Path) -> list[str]:
    return ["audit", "--week", "2026-47"]


def week_after_the_log(folder: Path) -> list[str]:
    return ["audit", "--week", "2027-W10"]


def week_before_the_log(folder: Path) -> list[str]:
    return ["audit", "--week", "2026-W30"]


def unknown_finding(folder: Path) -> list[str]:
    return ["why", "123456"]


def unknown_check(folder: Path) -> list[str]:
    return ["checks", "gone_silen"]


def not_a_select(folder: Path) -> list[str]:
    return ["sql", "delete from signals"]


def two_selects(folder: Path) -> list[str]:
    return ["sql", "select 1; select 2"]


def file_outside(folder: Path) -> list[str]:
    secret = write(folder.parent / "secret.csv", "a\n1\n")
    return ["sql", f"select * from read_csv('{secret.as_posix()}')"]


def other_severity(folder: Path) -> list[str]:
    return ["audit", "--week", "2026-W47", "--fail-on", "severe"]


# (what to do, exit code, words that the sentence must hold)
CASES: list[tuple[Callable[[Path], list[str]], int, tuple[str, ...]]] = [
    (no_event, 4, ("odd.csv", "event")),
    (utf16, 4, ("wide.csv", "UTF-16")),
    (damaged_gzip, 4, ("cut.csv.gz", "damaged")),
    (empty_folder, 3, ("no file",)),
    (empty_file, 3, ("empty.csv", "empty")),
    (image, 4, ("photo.png", "no text")),
    (no_file, 3, ("not-there.csv", "no such file")),
    (unknown_layout, 4, ("plan",)),
    (layout_with_wrong_zone, 4, ("own.toml", "line 7", "Mars/Base")),
    (too_many_rejects, 4, ("3 lines",)),
    (doubled_account, 4, ("accounts.csv", "row 3", "0042")),
    (six_fortnights, 4, ("paths.csv", "row 2", "test_interval", "6 fortnights")),
    (roster_without_site, 4, ("accounts.csv", "site")),
    (roster_not_there, 3, ("rooster",)),
    (no_date, 2, ("1.11.2026",)),
    (wrong_zone, 5, ("sigaudit.toml, line ", "station.timezone", "Area/City")),
    (mistyped_key, 5, ("line 4", "history_week", "audit.history_weeks")),
    (no_week, 2, ("2026-47",)),
    (week_after_the_log, 2, ("2027-W10",)),
    (week_before_the_log, 2, ("2026-W30",)),
    (unknown_finding, 2, ("123456",)),
    (unknown_check, 2, ("gone_silen", "gone_silent")),
    (not_a_select, 2, ("select", "delete")),
    (two_selects, 2, ("2 statements",)),
    (file_outside, 2, ("cannot be run",)),
    (other_severity, 2, ("severe",)),
]


@pytest.mark.parametrize(("words", "code", "told"), CASES, ids=lambda value: getattr(value, "__name__", ""))
def test_bad_input(station: Path, words: Callable[[Path], list[str]], code: int, told: tuple[str, ...]) -> None:
    before = state(station)
    said = called(*words(station), "-w", str(station))
    assert said.code == code, said.err
    sentence = one_sentence(said)
    assert [word for word in told if word not in sentence] == []
    assert state(station) == before


def test_every_fault_of_a_roster_is_told_at_once(station: Path) -> None:
    doubled_account(station)
    said = called(*six_fortnights(station), "-w", str(station))
    assert said.code == 4
    faults = [line for line in said.err.splitlines() if line.startswith("  ") and ", row " in line]
    assert len(faults) == 2
    assert "accounts.csv, row 3" in faults[0] and "paths.csv, row 2" in faults[1]


def test_undecodable_lines_are_kept_as_rejects_and_the_rest_is_taken(station: Path) -> None:
    """A log of the wrong encoding is told by line: its good lines count, the others are kept, exit 0."""
    good, bad = "2026-11-16T09:00:00,1,1,0042,E602,00,000", b"2026-11-16T10:00:00,1,1,0042,E\xe9,00,000"
    export = write(station.parent / "latin.csv", (HEADER + good + "\n").encode("utf-8") + bad + b"\n")
    said = called("ingest", str(export), "-w", str(station))
    assert said.code == 0
    assert "3 lines = 1 signals + 0 held already + 1 rejects + 1 skipped" in said.err
    assert "latin.csv" in called("rejects", "-w", str(station)).out


def test_one_bad_file_among_good_ones_is_named_and_changes_the_exit_code(station: Path) -> None:
    folder = station.parent / "night"
    folder.mkdir()
    write(folder / "a.csv", HEADER + "2026-11-16T09:00:00,1,1,0042,E602,00,000\n")
    write(folder / "b.png", PNG)
    said = called("ingest", str(folder), "-w", str(station))
    assert said.code == 4
    assert "b.png" in said.err and "Traceback" not in said.err
    assert len(DemoStation(station, {}).store().catalog.sources()) == 2


def test_init_refuses_a_zone_that_does_not_exist(tmp_path: Path) -> None:
    said = called("init", str(tmp_path / "new"), "--timezone", "Mars/Base")
    assert said.code == 2
    assert "Mars/Base" in one_sentence(said)
    assert not (tmp_path / "new" / "sigaudit.toml").exists()


def test_too_little_memory_is_said_and_the_store_stays(station: Path, tmp_path: Path) -> None:
    """The engine may use a megabyte: too little for anything; the message names the setting to raise."""
    settings = station / "sigaudit.toml"
    text = settings.read_text(encoding="utf-8")
    text = text.replace("[audit]\n", '[audit]\nmemory_limit = "1MiB"\n')
    settings.write_text(text, encoding="utf-8", newline="\n")
    lines = [f"2026-11-17T{n // 3600:02d}:{n // 60 % 60:02d}:{n % 60:02d},1,1,0042,E602,00,000" for n in range(60_000)]
    export = write(tmp_path / "second.csv", HEADER + "\n".join(lines) + "\n")
    before = state(station)
    said = called("ingest", str(export), "-w", str(station))
    assert said.code != 0
    assert "memory" in one_sentence(said) and "memory_limit" in said.err
    assert state(station) == before
