"""Answers the engine must give; the first one it gives wrongly with its default settings (DuckDB 2.0.1)."""

from __future__ import annotations

from sigaudit.store import engine_duckdb


def test_a_sum_over_a_left_join_to_nothing_still_compares() -> None:
    with engine_duckdb.connect() as con:
        engine_duckdb.run(
            con, "create table e as select * from (values ('a', 1, 0), ('a', 2, 1), ('b', 1, 0)) v(k, t, d)"
        )
        engine_duckdb.run(con, "create table o(k varchar)")
        found = engine_duckdb.rows(
            con,
            "select e.k, sum(e.d), sum(e.d) > 0 from e left join (select * from o where k >= '') o on e.k = o.k"
            " group by 1 order by 1",
        )
    assert found == [("a", 1, True), ("b", 0, False)]
