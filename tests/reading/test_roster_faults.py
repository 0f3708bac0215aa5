"""Every fault of a roster is told with file, row, column, value and what was expected; all at once."""

from __future__ import annotations

import tempfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import settings as how
from hypothesis import strategies as st
from roster_cases import TWO_GROUPS, folder, settings, workbook

from sigaudit.errors import Fault, InputProblem, RosterFaulty, SigauditError
from sigaudit.intervals import interval_seconds
from sigaudit.reading.roster import read

HEAD = "account,site\n0421,Mill\n"


def faults(at: Path, text: str = "") -> list[Fault]:
    with pytest.raises(RosterFaulty) as caught:
        read(at, settings(text) if text else settings())
    assert caught.value.exit_code == 4
    assert str(caught.value.faults[0]) in caught.value.message
    return caught.value.faults


# sheet, column, cell, part of what was expected: the cell stands in row 2 of a sheet without other faults
CELLS = [
    ("accounts", "system_type", "fyre", "nearest: fire"),
    ("accounts", "status", "canceled", "nearest: cancelled"),
    ("accounts", "installed_on", "03/04/2026", "YYYY-MM-DD"),
    ("accounts", "installed_on", "20260304", "YYYY-MM-DD"),
    ("accounts", "installed_on", "2026-02-30", "exists"),
    ("accounts", "installed_on", "0206-02-03", "year from 1950"),
    ("accounts", "panel_test_interval", "6 fortnights", "<number><s|min|h|d>"),
    ("accounts", "timezone", "CET", "nearest: Europe/Berlin"),
    ("accounts", "edition", "nfpa72-2018", "nearest: nfpa72-201"),
    ("accounts", "customer_email", "a@b@c", "e-mail"),
    ("accounts", "has_contacts", "maybe", "yes or no"),
    ("accounts", "panel_account", "4,21E+03", "power of ten"),
    ("accounts", "receiver_group", "nort", "sigaudit.toml: main"),
    ("accounts", "address", "a\x00b", "control characters"),
    ("paths", "kind", "radoi", "nearest: radio"),
    ("paths", "role", "main", "primary or backup"),
    ("paths", "test_interval", "24", "24h"),
    ("paths", "checks_in", "1", "yes or no"),
    ("visits", "found", "weak_radio", "nearest: weak_radio_path"),
    ("visits", "fixed", "perhaps", "partly"),
    ("on_test", "to", "2026-01-02", "date and time"),
    ("on_test", "to", "2026-01-02 25:00", "time that exists"),
    ("on_test", "to", "2026-01-01 10:00", "to after from"),
    ("on_test", "to", "2026-01-01 08:59Z", "to after from"),
]
STARTS = {
    "accounts": ("account,site", "0421,Mill"),
    "paths": ("account,path", "0421,radio"),
    "visits": ("account,visited_on", "0421,2026-01-01"),
    "on_test": ("account,from", "0421,2026-01-01 10:00"),
}


@pytest.mark.parametrize(("sheet", "column", "cell", "expected"), CELLS)
def test_a_cell_at_fault(tmp_path: Path, sheet: str, column: str, cell: str, expected: str) -> None:
    header, row = STARTS[sheet]
    text = f'{header},{column}\n{row},"{cell}"\n'
    (fault,) = faults(folder(tmp_path / "r", **{"accounts": HEAD, sheet: text}))
    assert (fault.file, fault.row, fault.column, fault.value) == (f"{sheet}.csv", 2, column, cell)
    assert expected in fault.expected


# sheet, its text, row, column, value, part of what was expected
SHEETS = [
    ("accounts", "account,ste\n0421,x\n", 1, "site", "", "required (nearest: ste)"),
    ("accounts", "account,site\n,x\n", 2, "account", "", "required"),
    ("accounts", "account,site\n0421,  \n", 2, "site", "", "required"),
    ("accounts", HEAD + "\n0421,Quay\n", 4, "account", "0421", "main/0421 is in rows 2 and 4"),
    ("accounts", "account,site\n4.21E+03,x\n", 2, "account", "4.21E+03", "power of ten"),
    ("accounts", "account,site\n04\u200b21,x\n", 2, "account", "04\u200b21", "printable"),
    ("accounts", "account,site\n0421,x,y\n", 2, "", "y", "2 cells as in the header"),
    ("accounts", "account,site,\n0421,x,y\n", 2, "", "y", "name for this column"),
    ("accounts", "account,site,Site\n0421,x,y\n", 1, "site", "site", "each column once"),
    ("accounts", "account,site,a\x00\n0421,x,\n", 1, "", "'a\\x00'", "printable column names"),
    ("accounts", 'account,site\n0421,"x\n0422,y\n', 2, "", "", "closed quotes"),
    ("accounts", b"account,site\n0421,M\xfcller\n", 2, "", "0xfc", "byte 19 is none"),
    ("accounts", HEAD.encode("utf-16"), 1, "", "0xff", "byte 0 is none"),
    ("accounts", "", 1, "", "", "header"),
    ("zone", "account,zone\n", 0, "", "zone", "nearest: zones"),
    ("paths", "account,path\n0412,radio\n", 2, "account", "0412", "nearest: 0421"),
    ("paths", "account\n0421\n", 1, "path", "", "required"),
    ("paths", "account,path\n0421,a\n0421,a\n", 3, "path", "a", "rows 2 and 3"),
    ("zones", "account,zone,partition\n0421,1,1\n0421,001,01\n", 3, "zone", "001", "rows 2 and 3"),
    ("dealers", "dealer\nA\nA\n", 3, "dealer", "A", "rows 2 and 3"),
    ("on_test", "account,from\n0421,2026-01-01\n", 2, "from", "2026-01-01", "date and time"),
]


@pytest.mark.parametrize(("sheet", "text", "row", "column", "value", "expected"), SHEETS)
def test_a_sheet_at_fault(
    tmp_path: Path, sheet: str, text: str | bytes, row: int, column: str, value: str, expected: str
) -> None:
    (fault,) = faults(folder(tmp_path / "r", **{"accounts": HEAD, sheet: text}))
    assert (fault.file, fault.row, fault.column, fault.value) == (f"{sheet}.csv", row, column, value)
    assert expected in fault.expected


def test_cancelled_before_installed(tmp_path: Path) -> None:
    sheet = "account,site,cancelled_on,installed_on\n1,x,2026-01-01,2026-01-02\n2,y,2026-01-01,2026-01-01\n"
    (fault,) = faults(folder(tmp_path / "r", accounts=sheet))
    assert (fault.row, fault.column, fault.value) == (2, "cancelled_on", "2026-01-01")


def test_all_faults_at_once_in_the_order_of_the_sheets(tmp_path: Path) -> None:
    at = folder(
        tmp_path / "r",
        accounts="account,site,system_type\n0421,Mill,fyre\n0422,,fire\n0421,Quay,\n",
        paths="account,path,test_interval\n0999,radio,6 fortnights\n",
        visits=b"\xff",
    )
    found = [(fault.file, fault.row, fault.column) for fault in faults(at)]
    assert found == [
        ("accounts.csv", 2, "system_type"),
        ("accounts.csv", 3, "site"),
        ("accounts.csv", 4, "account"),
        ("paths.csv", 2, "test_interval"),
        ("paths.csv", 2, "account"),
        ("visits.csv", 1, ""),
    ]


def test_a_fault_in_an_account_is_said_once(tmp_path: Path) -> None:
    at = folder(tmp_path / "r", accounts="account,site\n4.21E+03,x\n", zones="account,zone\n4.21E+02,1\n")
    assert [fault.file for fault in faults(at)] == ["accounts.csv", "zones.csv"]
    at = folder(tmp_path / "s", accounts=b"\xff", zones="account,zone\n0421,1\n")
    assert [fault.file for fault in faults(at)] == ["accounts.csv"]


def test_an_ambiguous_account_names_both(tmp_path: Path) -> None:
    at = folder(
        tmp_path / "r",
        accounts="account,receiver_group,site\n0421,north,Mill\n0421,south,Quay\n",
        zones="account,zone\n0421,1\n",
    )
    (fault,) = faults(at, TWO_GROUPS)
    assert (fault.file, fault.row, fault.column) == ("zones.csv", 2, "receiver_group")
    assert "north/0421 (row 2) and south/0421 (row 3)" in fault.expected


def test_an_account_without_a_group_where_there_are_several(tmp_path: Path) -> None:
    at = folder(tmp_path / "r", accounts=HEAD)
    (fault,) = faults(at, TWO_GROUPS)
    assert (fault.row, fault.column) == (2, "receiver_group")
    assert "main, north or south" in fault.expected
    at = folder(tmp_path / "r", accounts=HEAD, paths="account,path,receiver\n0421,a,1\n0421,b,2\n")
    (fault,) = faults(at, TWO_GROUPS)
    assert "north and south" in fault.expected


@pytest.mark.parametrize("clock", ["2026-03-29 02:30", "2026-03-29 02:00", "2026-03-29T02:59:59"])
def test_hours_that_the_clock_change_skips(tmp_path: Path, clock: str) -> None:
    """Berlin went from 02:00 to 03:00 on the last Sunday of March (IANA database through zoneinfo)."""
    (fault,) = faults(folder(tmp_path / "r", accounts=HEAD, on_test=f"account,from\n0421,{clock}\n"))
    assert "skipped" in fault.expected


def test_hours_that_come_twice_need_their_offset(tmp_path: Path) -> None:
    sheet = "account,from,to\n0421,2026-10-25 02:30,2026-10-25 03:00\n"
    (fault,) = faults(folder(tmp_path / "r", accounts=HEAD, on_test=sheet))
    assert (fault.column, "twice" in fault.expected, "+02:00" in fault.expected) == ("from", True, True)
    sheet = "account,from,to\n0421,2026-10-25 02:30+02:00,2026-10-25 02:30+0100\n"
    (span,) = read(folder(tmp_path / "r", accounts=HEAD, on_test=sheet), settings()).tables["on_test"].to_pylist()
    assert (span["until_utc"] - span["from_utc"]).total_seconds() == 3600


def test_accounts_stored_as_numbers(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "accounts"
    for record in (["account", "site"], [421, 7], ["0422", "Quay"], [423.0, "Dock"]):
        sheet.append(record)
    book.save(tmp_path / "r.xlsx")
    found = faults(tmp_path / "r.xlsx")
    assert [(fault.file, fault.row, fault.column, fault.value) for fault in found] == [
        ("r.xlsx [accounts]", 2, "account", "421"),
        ("r.xlsx [accounts]", 4, "account", "423"),
    ]
    assert found[0].expected == ("account stored as a number: leading zeros may be lost; format the column as text")


def test_formulas_without_a_result_are_not_empty_cells(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "accounts"
    for record in (["account", "site", "dealer"], ["0421", "Mill", '="A" & "B"']):
        sheet.append(record)
    book.save(tmp_path / "r.xlsx")
    (fault,) = faults(tmp_path / "r.xlsx")
    assert (fault.row, fault.value) == (2, '="A" & "B"')


def test_files_that_are_no_workbook(tmp_path: Path) -> None:
    (tmp_path / "r.xlsx").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)))
    (fault,) = faults(tmp_path / "r.xlsx")
    assert "expected a whole .xlsx workbook" in fault.expected
    whole = workbook(tmp_path / "s.xlsx", accounts=HEAD).read_bytes()
    (tmp_path / "r.xlsx").write_bytes(whole[: len(whole) // 2])
    assert len(faults(tmp_path / "r.xlsx")) == 1


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("24h", 86400), ("90s", 90), ("5min", 300), ("1.5d", 129600), (" 6 h ", 21600), ("0.5s", 0.5)],
)
def test_intervals(text: str, seconds: float) -> None:
    assert interval_seconds(text) == seconds


@pytest.mark.parametrize(
    "text",
    [
        "6 fortnights",
        "24",
        "h",
        "",
        "0h",
        "-1h",
        "24H",
        "1,5h",
        "24 hours",
        "1e3s",
        "²h",
        "99999d",
        "5m",
        "1h5min",
    ],
)
def test_intervals_that_cannot_be_meant(text: str) -> None:
    with pytest.raises(InputProblem, match="expected <number>"):
        interval_seconds(text)


_PIECES = st.sampled_from([b"account,site\n", b"0421,", b"x\n", b'"', b"\xff", b"\x00", b";", b"\r", b"\xef\xbb\xbf"])


@given(
    sheet=st.sampled_from(["accounts", "paths", "zones", "on_test", "dealers", "visits"]),
    data=st.one_of(st.binary(max_size=200), st.lists(_PIECES, max_size=12).map(b"".join)),
)
def test_any_bytes_in_a_sheet_give_a_roster_or_a_sentence(sheet: str, data: bytes) -> None:
    with tempfile.TemporaryDirectory() as at:
        folder(Path(at), **{"accounts": HEAD, sheet: data})
        try:
            read(Path(at), settings())
        except SigauditError as error:
            assert error.message and error.next_step


@how(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 2**16), st.integers(0, 255)), min_size=1, max_size=5))
def test_a_damaged_workbook_gives_a_roster_or_a_sentence(damage: list[tuple[int, int]]) -> None:
    with tempfile.TemporaryDirectory() as at:
        path = workbook(Path(at) / "r.xlsx", accounts=HEAD, zones="account,zone\n0421,1\n")
        whole = bytearray(path.read_bytes())
        for place, byte in damage:
            whole[place % len(whole)] = byte
        path.write_bytes(bytes(whole))
        try:
            read(path, settings())
        except SigauditError as error:
            assert error.message and error.next_step
