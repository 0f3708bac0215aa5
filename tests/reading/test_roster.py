"""A good roster becomes the tables that judging joins on."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import pytest
from roster_cases import TWO_GROUPS, folder, settings, workbook

from sigaudit.errors import InputProblem, NothingToRead
from sigaudit.reading.roster import read
from sigaudit.store.roster_tables import SCHEMAS

ACCOUNTS = (
    "account,site,system_type,status,installed_on,panel_test_interval,panel_account,has_contacts,key_safe\n"
    "0421,Old mill,Fire,,2024-02-29,24h,0007; 0008,yes,left of the door\n"
    "0422,Quay,burglary,suspended,,,,,\n"
)
PATHS = (
    "account,path,kind,role,receiver,line,reports_as,test_interval,supervision_interval,checks_in\n"
    "0421,radio1,,primary,3,1,9421,,90s,yes\n"
    "0421,phone-2,,backup,1,2,,1.5d,,\n"
    "0422,A,,,4,1,,,5 min,no\n"
)
ZONES = "account,partition,zone,kind,label\n0421,01,15,Smoke,Attic\n0421,00,0015,user,Cleaner\n0421,,1204,,\n"
ON_TEST = (
    "account,from,to,reason\n"
    "0421,2026-07-01 08:00,2026-07-01T10:30:15,yearly test\n"
    "0422,2026-12-01 08:00,,moving\n"
    "0422,2026-12-02 08:00-05:00,2026-12-02T14:00Z,\n"
)
DEALERS = "dealer,name,email,deliver_to\nA,Dealer A,service@a.invalid,\nB,,,customer\n"
VISITS = "account,visited_on,technician,found,fixed,note\n0421,2026-07-02,T. One,weak_radio_path,partly,\n"
WHOLE = {
    "accounts": ACCOUNTS,
    "paths": PATHS,
    "zones": ZONES,
    "on_test": ON_TEST,
    "dealers": DEALERS,
    "visits": VISITS,
}


def test_all_sheets(tmp_path: Path) -> None:
    roster = read(folder(tmp_path / "r", **WHOLE), settings('[receivers.paths]\n"4" = "satellite"\n' + SETTINGS))
    for name, schema in SCHEMAS.items():
        assert roster.tables[name].schema.names[: len(schema.names)] == schema.names
        assert all(roster.tables[name].schema.field(field.name).type == field.type for field in schema)
    first, second = roster.tables["accounts"].to_pylist()
    assert first["account_key"] == "main/0421"
    assert (first["system_type"], first["status"], first["monitored"]) == ("fire", "active", True)
    assert (first["installed_on"], first["cancelled_on"]) == (dt.date(2024, 2, 29), None)
    assert (first["panel_test_s"], first["panel_account"]) == (86400.0, "0007;0008")
    assert (first["has_contacts"], first["roster_row"], first["key_safe"]) == ("yes", 2, "left of the door")
    assert (second["monitored"], second["panel_test_s"], second["has_contacts"]) == (False, None, "")
    assert second["customer"] == ""  # a column that is missing is not known, and no fault
    assert [(p["kind"], p["reports_as_key"], p["test_s"], p["supervision_s"]) for p in rows(roster, "paths")] == [
        ("radio", "main/9421", None, 90.0),
        ("phone", "main/0421", 129600.0, None),
        ("satellite", "main/0422", None, 300.0),
    ]
    assert [(z["partition"], z["zone"], z["kind"]) for z in rows(roster, "zones")] == [
        ("1", "015", "smoke"),
        ("0", "015", "user"),
        ("", "1204", ""),
    ]
    assert [(t["from_utc"], t["until_utc"]) for t in rows(roster, "on_test")] == [
        (dt.datetime(2026, 7, 1, 6, 0), dt.datetime(2026, 7, 1, 8, 30, 15)),
        (dt.datetime(2026, 12, 1, 7, 0), None),
        (dt.datetime(2026, 12, 2, 13, 0), dt.datetime(2026, 12, 2, 14, 0)),
    ]
    assert [d["deliver_to"] for d in rows(roster, "dealers")] == ["dealer", "customer"]
    assert rows(roster, "visits")[0]["visited_on"] == dt.date(2026, 7, 2)
    assert roster.unknown_columns == {"accounts": ("key_safe",)}
    assert [file.name for file in roster.files] == sorted(f"{name}.csv" for name in WHOLE)


SETTINGS = '[station]\ntimezone = "Europe/Berlin"\n'


def rows(roster: object, name: str) -> list[dict[str, object]]:
    return list(roster.tables[name].to_pylist())  # type: ignore[attr-defined]


def test_a_workbook_equals_its_csv_sheets(tmp_path: Path) -> None:
    from_csv = read(folder(tmp_path / "r", **WHOLE), settings())
    from_xlsx = read(workbook(tmp_path / "r.xlsx", **WHOLE), settings())
    assert from_csv.tables == from_xlsx.tables


def test_a_workbook_with_typed_cells(tmp_path: Path) -> None:
    """Dates, times and truth values typed as such mean what their text would mean."""
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Accounts"
    for record in (
        ["Account", "Site ", "installed_on", "sends_restores"],
        ["0421", 12, dt.date(2026, 2, 3), True],
    ):
        sheet.append(record)
    tests = book.create_sheet("on_test")
    tests.append(["account", "from", "to"])
    tests.append(["0421", dt.datetime(2026, 2, 3, 0, 0), dt.datetime(2026, 2, 3, 12, 30)])
    book.create_sheet("Holiday plan").append(["x"])
    book.save(tmp_path / "r.xlsx")
    roster = read(tmp_path / "r.xlsx", settings())
    (account,) = rows(roster, "accounts")
    assert (account["site"], account["installed_on"], account["sends_restores"]) == (
        "12",
        dt.date(2026, 2, 3),
        "yes",
    )
    (span,) = rows(roster, "on_test")
    assert span["from_utc"] == dt.datetime(2026, 2, 2, 23, 0)
    assert roster.notes == ("r.xlsx [Holiday plan]: not a sheet of the roster, left alone",)


def test_rows_outside_the_stored_extent_are_read(tmp_path: Path) -> None:
    """Some programs write a worksheet's extent wrongly; rows beyond it are rows all the same."""
    import zipfile

    good = workbook(tmp_path / "good.xlsx", accounts=ACCOUNTS)
    with zipfile.ZipFile(good) as old, zipfile.ZipFile(tmp_path / "r.xlsx", "w") as new:
        for part in old.namelist():
            data = old.read(part)
            if part.startswith("xl/worksheets/"):
                assert b'<dimension ref="A1:I3"' in data
                data = data.replace(b'<dimension ref="A1:I3"', b'<dimension ref="A1"')
            new.writestr(part, data)
    assert read(tmp_path / "r.xlsx", settings()).tables == read(good, settings()).tables


@pytest.mark.parametrize("sign", [",", ";", "\t"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_delimiters_marks_and_line_ends(tmp_path: Path, sign: str, mark: str, end: str) -> None:
    text = mark + end.join([sign.join(["Account", "SITE"]), sign.join(["0421", '"Mill, east; ""old"""']), "", ""])
    roster = read(folder(tmp_path / "r", accounts=text), settings())
    assert [(a["account"], a["site"]) for a in rows(roster, "accounts")] == [("0421", 'Mill, east; "old"')]


def test_cells_over_several_lines_keep_the_rows_counted(tmp_path: Path) -> None:
    text = 'account,site,address\n0421,Mill,"Mill Road 1\r\nHarbour"\n\n0422,Quay,\n'
    roster = read(folder(tmp_path / "r", accounts=text), settings())
    assert [(a["address"], a["roster_row"]) for a in rows(roster, "accounts")] == [
        ("Mill Road 1 Harbour", 2),
        ("", 4),
    ]


def test_unknown_columns_never_shadow_ours(tmp_path: Path) -> None:
    roster = read(folder(tmp_path / "r", accounts="account,site,monitored,instaler\n0421,Mill,no,T. One\n"), settings())
    (account,) = rows(roster, "accounts")
    assert (account["monitored"], account["monitored_as_given"], account["instaler"]) == (
        True,
        "no",
        "T. One",
    )
    assert "accounts.csv: column 'instaler' is kept and not used; was installer meant?" in roster.notes


def test_digits_that_repeat_over_groups(tmp_path: Path) -> None:
    at = folder(
        tmp_path / "r",
        accounts="account,receiver_group,site\n0421,north,Mill\n0421,south,Quay\n0500,,Dock\n",
        paths="account,receiver_group,path,role,receiver,reports_as\n"
        "0421,south,radio,primary,2,\n0421,north,phone,primary,1,\n0500,,phone,primary,2,\n0500,,radio,backup,1,9500\n",
    )
    roster = read(at, settings(TWO_GROUPS))
    assert [a["account_key"] for a in rows(roster, "accounts")] == ["north/0421", "south/0421", "south/0500"]
    assert [(p["account_key"], p["reports_as_key"]) for p in rows(roster, "paths")] == [
        ("south/0421", "south/0421"),
        ("north/0421", "north/0421"),
        ("south/0500", "south/0500"),
        ("south/0500", "north/9500"),
    ]


def test_one_group_is_everybodys_group(tmp_path: Path) -> None:
    at = folder(tmp_path / "r", accounts="account,site\n0421,Mill\n")
    one = settings(SETTINGS + '[receivers.groups]\n"1" = "north"\n')
    assert rows(read(at, one), "accounts")[0]["account_key"] == "north/0421"


def test_nothing_to_read(tmp_path: Path) -> None:
    with pytest.raises(NothingToRead, match="is not there"):
        read(tmp_path / "nowhere", settings())
    with pytest.raises(NothingToRead, match=r"holds no accounts\.csv"):
        read(folder(tmp_path / "r", zones=ZONES), settings())
    with pytest.raises(NothingToRead, match="holds no account"):
        read(folder(tmp_path / "s", accounts="account,site\n"), settings())
    with pytest.raises(NothingToRead, match="no sheet named accounts"):
        read(workbook(tmp_path / "r.xlsx", zones=ZONES), settings())
    with pytest.raises(InputProblem, match=r"neither a folder of CSV files nor an \.xlsx"):
        read(folder(tmp_path / "t", accounts=ACCOUNTS) / "accounts.csv", settings())
