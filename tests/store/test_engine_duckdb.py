"""The engine's door: nothing fetched, quoting that holds, and a connection on which strangers can only read."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sigaudit.store import engine_duckdb as engine

OTHERS = st.characters(blacklist_categories=["Cs"], blacklist_characters="\0")


def test_a_connection_is_utc_and_looks_for_no_extension():
    con = engine.connect()
    found = engine.rows(
        con,
        "select current_setting('TimeZone'), current_setting('autoinstall_known_extensions'), "
        "current_setting('autoload_known_extensions'), current_setting('memory_limit')",
    )
    assert found == [("UTC", False, False, "1.0 GiB")]


@settings(max_examples=60, deadline=None)
@given(st.text(OTHERS, max_size=12), st.text(OTHERS, min_size=1, max_size=12))
def test_constants_and_identifiers_come_back_as_they_were(text, name):
    con = engine.connect(threads=1)
    result = con.execute(f"select {engine.literal(text)} as {engine.identifier(name)}")
    assert result.fetchall() == [(text,)] and result.description[0][0] == name


@pytest.fixture
def views(tmp_path: Path) -> tuple[dict[str, str], Path]:
    folder = tmp_path / "signals"
    engine.copy_to_parquet(engine.connect(), "select 42 as answer", folder / "a.parquet")
    (tmp_path / "secret.csv").write_text("a\n1\n", encoding="utf-8")
    return {"answers": f"select * from {engine.read_parquet([folder / 'a.parquet'])}"}, folder


def test_strangers_read_the_views(views):
    con = engine.locked_connection(views[0], [views[1]])
    assert engine.rows(con, engine.one_select("select * from answers;")) == [(42,)]


@pytest.mark.parametrize(
    "sql",
    [
        "select * from read_csv('{0}/secret.csv')", "select * from read_text('{0}/signals/../secret.csv')",
        "select * from '{0}/secret.csv'", "select * from glob('{0}/*')", "select * from read_blob('{0}/secret.csv')",
    ],
)  # fmt: skip
def test_strangers_read_nothing_else(views, sql):
    con = engine.locked_connection(views[0], [views[1]])
    with pytest.raises(Exception, match="disabled by configuration"):
        engine.rows(con, engine.one_select(sql.format(views[1].parent.as_posix())))


@pytest.mark.parametrize("sql", ["set threads = 1", "set enable_external_access = true", "reset allowed_directories"])
def test_the_lock_cannot_be_undone(views, sql):
    con = engine.locked_connection(views[0], [views[1]])
    with pytest.raises(Exception, match="locked"):
        engine.run(con, sql)


@pytest.mark.parametrize(
    "sql",
    [
        "", "selec 1", "select 1; select 2", "copy (select 1) to 'x'", "insert into answers values (1)",
        "drop view answers",
        "attach 'x'", "set threads = 1", "pragma version", "install excel", "create table t (i int)",
        "explain select 1",
        "select 1; drop view answers", "export database 'x'",
    ],
)  # fmt: skip
def test_only_one_select_is_a_question(sql):
    with pytest.raises(engine.SqlProblem) as problem:
        engine.one_select(sql)
    assert problem.value.next_step


@pytest.mark.parametrize(
    "sql", ["select ';' as a", "with a as (select 1 as i) select * from a -- ; drop", "from answers"]
)
def test_a_select_is_a_select_whatever_its_words(sql):
    assert engine.one_select(sql)
