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
