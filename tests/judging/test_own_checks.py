"""A station's own check runs like a built-in one, reads the documented tables only, and is named when it is wrong."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from sigaudit.errors import CheckFaulty
from sigaudit.judging.cards import read, read_all
from sigaudit.store.shipped import queries
from tests.checks.case import Case

CASE = Path(__file__).parent.parent / "checks" / "gone_silent" / "fires"
SHIPPED = queries() / "checks"
ROW = """
select
    account_key, '' as subject, 'finding' as verdict, '' as reason, 1.0 as measured, 0.0 as limit_value, 'x' as unit,
    first_utc as since_utc, $until as until_utc, first_utc as evidence_from_utc, $as_of as evidence_until_utc,
    last_utc as last_good_utc, 1 as evidence_count, 0 as excused_count, 2 as grade, 0 as k, 0 as n
from heard
"""


def own(tmp_path: Path, sql: str) -> Case:
    card = (SHIPPED / "gone_silent.toml").read_text(encoding="utf-8")
    (tmp_path / "often_heard.toml").write_text(card.replace('"gone_silent"', '"often_heard"', 1), encoding="utf-8")
    (tmp_path / "often_heard.sql").write_text(sql, encoding="utf-8")
    return Case(CASE)


def test_it_runs_like_a_built_in_one(tmp_path: Path) -> None:
    case = own(tmp_path, ROW)
    rows = case.run(read(tmp_path / "often_heard.toml", own=True))
    assert len(rows) >= 2 and {row["verdict"] for row in rows} == {"finding"}


@pytest.mark.parametrize(
    "sql",
    [
        "select * from read_csv('/etc/passwd')",
        "copy heard to 'x.csv'",
        "select 1; select 2",
        "drop table heard",
        "select * from all_fact_day",
        "install httpfs",
        "select account_key from heard",
        "selec",
    ],
)
def test_what_it_may_not_do_is_refused_by_file(tmp_path: Path, sql: str) -> None:
    case = own(tmp_path, sql)
    with pytest.raises(CheckFaulty, match=r"often_heard\.sql"):
        case.run(read(tmp_path / "often_heard.toml", own=True))
    assert not Path("x.csv").exists()


@pytest.mark.parametrize(
    ("sql", "line", "word"),
    [
        ("-- what I wonder\n\nselect account_key,\n    nope\nfrom heard", 4, "nope"),
        ("\n\nselect *\nfrom nowhere", 4, "nowhere"),
        ("select\n  1 +\nfrom heard", 3, "syntax error"),
        (ROW.replace("1.0 as measured", "cast('x' || account_key as double) as measured"), 3, "Could not convert"),
    ],
)
def test_a_fault_in_the_query_is_told_with_its_line(tmp_path: Path, sql: str, line: int, word: str) -> None:
    with pytest.raises(CheckFaulty, match=rf"often_heard\.sql, line {line}: .*{word}"):
        own(tmp_path, sql).run(read(tmp_path / "often_heard.toml", own=True))


@pytest.mark.parametrize(
    ("was", "becomes", "word"),
    [
        ("1.0 as measured", "'much' as measured", "measured holds string"),
        ("1.0 as measured", "cast('inf' as double) as measured", "measured is infinite"),
        ("0.0 as limit_value", "cast('nan' as double) as limit_value", "limit_value is infinite or no number"),
        ("2 as grade", "null as grade", "grade is null"),
        ("'' as reason", "null as reason", "reason is null"),
        ("'finding' as verdict", "'perhaps' as verdict", "verdict 'perhaps'"),
        ("first_utc as since_utc", "timestamp 'infinity' as since_utc", "since_utc is a time"),
        ("first_utc as since_utc", "date '0900-01-01' as since_utc", "since_utc is a time"),
        ("0 as n", "0 as n, 1 as surplus", "unknown columns: surplus"),
        ("select", "select error('stop'),", "stop"),
        ("$until", "$whenever", "whenever"),
    ],
)
def test_a_row_that_no_page_could_show_is_refused(tmp_path: Path, was: str, becomes: str, word: str) -> None:
    with pytest.raises(CheckFaulty, match=rf"often_heard\.sql.*{word}"):
        own(tmp_path, ROW.replace(was, becomes, 1)).run(read(tmp_path / "often_heard.toml", own=True))


@pytest.mark.parametrize(
    ("was", "becomes", "word"),
    [
        ('scope = "account"', 'scope = "house"', r", line \d+: scope = 'house'"),
        ('scope = "account"', 'scope = "account"\nscop = 1', r", line \d+: unknown: scop"),
        ('scope = "account"', "scope = ", r"TOML: .*line \d+"),
        ("{measured}", "{mesured}", r", line \d+: sentence names \{mesured\}"),
        ("{measured}", "{measured:x}", r", line \d+: sentence names \{measured\}"),
        ("{measured}", "{measured", r", line \d+: sentence: "),
        ("default = ", 'default = "four" #', r", line \d+: limit '\w+' is not a number"),
        ("default = ", "default = nan #", r", line \d+: limit '\w+' is not a number"),
    ],
)
def test_a_fault_in_the_card_is_told_with_its_line(tmp_path: Path, was: str, becomes: str, word: str) -> None:
    own(tmp_path, ROW)
    card = tmp_path / "often_heard.toml"
    text = card.read_text(encoding="utf-8")
    start = text.index("[limits") if was == "default = " else 0
    assert was in text[start:]
    card.write_text(text[:start] + text[start:].replace(was, becomes, 1), encoding="utf-8")
    with pytest.raises(CheckFaulty, match=rf"(?s)often_heard\.toml.*{word}"):
        read(card, own=True)


@pytest.mark.parametrize("name", ["often_heard.toml", "often_heard.sql"])
def test_a_file_that_is_no_text_is_refused(tmp_path: Path, name: str) -> None:
    own(tmp_path, ROW)
    (tmp_path / name).write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CheckFaulty, match=rf"{name}: byte 0"):
        read(tmp_path / "often_heard.toml", own=True)


def test_it_reads_a_table_however_it_is_written(tmp_path: Path) -> None:
    case = own(tmp_path, ROW.replace("from heard", 'from "HEARD" /* a comment */;'))
    assert len(case.run(read(tmp_path / "often_heard.toml", own=True))) >= 2


def test_a_doubled_key_is_an_error(tmp_path: Path) -> None:
    case = own(tmp_path, f"{ROW} union all {ROW}")
    with pytest.raises(CheckFaulty, match="two rows for account"):
        case.run(read(tmp_path / "often_heard.toml", own=True))


def test_pairs_must_be_whole_and_ids_single(tmp_path: Path) -> None:
    own(tmp_path, ROW)
    assert read_all(SHIPPED, tmp_path)["often_heard"].own
    (tmp_path / "often_heard.sql").unlink()
    with pytest.raises(CheckFaulty, match="no query beside it"):
        read_all(SHIPPED, tmp_path)
    shutil.copy(SHIPPED / "gone_silent.toml", tmp_path / "gone_silent.toml")
    shutil.copy(SHIPPED / "gone_silent.sql", tmp_path / "gone_silent.sql")
    (tmp_path / "often_heard.toml").unlink()
    with pytest.raises(CheckFaulty, match="already"):
        read_all(SHIPPED, tmp_path)
