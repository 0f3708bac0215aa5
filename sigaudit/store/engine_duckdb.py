"""The one door to DuckDB: connections, statements, Arrow in, Parquet out.

The engine is always in memory and never reaches outside: no extension is looked for, spill goes to a
folder named here, the session's zone is UTC. Analysis lives in ``queries/``; SQL that turns lines into
signals is composed by the reading wing and run here.
"""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa

from sigaudit.errors import SigauditError, UsageProblem

__all__ = [
    "MEMORY_FAULTS", "Connection", "SqlProblem",
    "arrow", "asked", "connect", "copy_to_parquet", "create", "identifier", "literal",
    "locked_connection", "locked_tables", "one_select", "read_parquet", "register", "rows", "run", "stream",
]  # fmt: skip

Connection = duckdb.DuckDBPyConnection
MEMORY_LIMIT = "1GiB"
# What the engine raises where its memory limit, or the disk it works on instead, is too small.
MEMORY_FAULTS = (duckdb.OutOfMemoryException,)
ROW_GROUP = 100_000
_LINE = re.compile(r"^LINE (\d+):", re.MULTILINE)


class SqlProblem(UsageProblem):
    """A statement somebody typed cannot be run; ``said``: the engine's own words; ``line``: 0 = not known."""

    code = "sql"
    line = 0
    said = ""


def connect(
    *, memory_limit: str = MEMORY_LIMIT, temp_dir: Path | None = None, threads: int | None = None
) -> Connection:
    """An in-memory connection: UTC, nothing fetched, spill under ``temp_dir`` (default: the system's).

    memory_limit: as DuckDB writes sizes (``1GiB``). threads: default all cores, at most 8.
    """
    spill = str(temp_dir or Path(tempfile.gettempdir()) / f"sigaudit-{os.getpid()}")
    con = duckdb.connect(
        ":memory:",
        config={
            "autoinstall_known_extensions": "false",
            "autoload_known_extensions": "false",
            "memory_limit": memory_limit,
            "temp_directory": spill,
            "threads": str(threads or min(os.cpu_count() or 1, 8)),
        },
    )
    con.execute("set TimeZone = 'UTC'")
    # DuckDB 2.0 folds `sum(x) > 0` to false when the sum runs over a left join to a relation it can prove
    # empty, and loses rows without a word (tests/store/test_engine_is_right.py shows it). Slower, and right.
    con.execute("set disabled_optimizers = 'statistics_propagation'")
    return con


def run(con: Connection, sql: str, params: Mapping[str, Any] | Sequence[Any] | None = None) -> None:
    """Runs one statement whose result nobody needs."""
    con.execute(sql, params) if params else con.execute(sql)


def rows(con: Connection, sql: str, params: Mapping[str, Any] | Sequence[Any] | None = None) -> list[tuple[Any, ...]]:
    """All rows of a statement as tuples."""
    found: list[tuple[Any, ...]] = (con.execute(sql, params) if params else con.execute(sql)).fetchall()
    return found


def arrow(con: Connection, sql: str, params: Mapping[str, Any] | Sequence[Any] | None = None) -> pa.Table:
    """All rows of a statement as an Arrow table."""
    return (con.sql(sql, params=params) if params else con.sql(sql)).to_arrow_table()


def register(con: Connection, name: str, table: pa.Table | pa.RecordBatchReader) -> None:
    """Offers an Arrow table, or a reader that can be read once, under ``name``."""
    con.register(name, table)


def create(con: Connection, name: str, table: pa.Table) -> None:
    """Copies an Arrow table into a temporary table ``name``, replacing what stood there."""
    con.register("sigaudit_arriving", table)
    try:
        con.execute(f"create or replace temp table {identifier(name)} as select * from sigaudit_arriving")
    finally:
        con.unregister("sigaudit_arriving")


def stream(con: Connection, name: str, reader: pa.RecordBatchReader, sql: str) -> None:
    """Runs ``sql``, which reads the one-pass ``reader`` as table ``name``."""
    con.register(name, reader)
    try:
        con.execute(sql)
    finally:
        con.unregister(name)


def copy_to_parquet(
    con: Connection,
    sql: str,
    path: Path,
    *,
    row_group: int = ROW_GROUP,
    compression: str = "zstd",
) -> None:
    """Writes the rows of ``sql`` to one Parquet file, in the order the statement gives them."""
    path.parent.mkdir(parents=True, exist_ok=True)
    con.execute(
        f"copy ({sql}) to {literal(path.as_posix())} "
        f"(format parquet, parquet_version v2, compression {compression}, row_group_size {row_group})"
    )


def identifier(name: str) -> str:
    """``name`` as a quoted SQL identifier."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """``text`` as a SQL string constant. A NUL cannot stand in a statement: ValueError."""
    if "\0" in text:
        raise ValueError("a NUL character cannot stand in a statement")
    return "'" + text.replace("'", "''") + "'"


def read_parquet(paths: Iterable[Path]) -> str:
    """Table expression over Parquet files; they must agree in their columns."""
    listed = ", ".join(literal(path.as_posix()) for path in paths)
    return f"read_parquet([{listed}], hive_partitioning = false)"


def one_select(sql: str) -> str:
    """The statement itself if it is exactly one query; raises SqlProblem otherwise.

    The engine's parser decides, not a search for words.
    """
    try:
        found = duckdb.extract_statements(sql)
    except duckdb.Error as error:
        raise _problem("the statement cannot be read", error, "write one select") from error
    if len(found) != 1 or found[0].type != duckdb.StatementType.SELECT:
        raise SqlProblem(
            f"exactly one select is accepted, not {len(found)} statements"
            if len(found) != 1
            else f"only a select is accepted, not {found[0].type.name.lower()}",
            next_step="write one select; the store cannot be changed from here",
        )
    query: str = found[0].query
    return query.strip().rstrip(";")


def locked_connection(
    views: Mapping[str, str],
    allowed_dirs: Iterable[Path],
    *,
    memory_limit: str = MEMORY_LIMIT,
    temp_dir: Path | None = None,
) -> Connection:
    """A connection on which strangers' SQL can only read ``views``.

    The views (name -> select) are made first; then reading is confined to ``allowed_dirs`` (the store's
    Parquet folders), every other access to files or network is off, and the configuration is locked.
    """
    con = connect(memory_limit=memory_limit, temp_dir=temp_dir)
    try:
        for name, select in views.items():
            con.execute(f"create view {identifier(name)} as {select}")
        listed = ", ".join(literal(path.resolve().as_posix() + "/") for path in allowed_dirs)
        con.execute(f"set allowed_directories = [{listed}]")
        con.execute("set enable_external_access = false")
        con.execute("set lock_configuration = true")
    except duckdb.Error as error:
        con.close()
        raise SigauditError(f"the read-only views could not be made: {error}") from error
    return con


def locked_tables(tables: Mapping[str, pa.Table], *, memory_limit: str = MEMORY_LIMIT) -> Connection:
    """A connection that holds copies of some tables and can reach nothing else: for a station's own checks."""
    con = connect(memory_limit=memory_limit)
    for name, table in tables.items():
        create(con, name, table)
    con.execute("set enable_external_access = false")
    con.execute("set lock_configuration = true")
    return con


def asked(con: Connection, sql: str, params: Mapping[str, Any] | None = None) -> pa.Table:
    """The answer to a stranger's select as an Arrow table; raises SqlProblem with the engine's own words."""
    next_step = "the README lists the views"
    try:
        return con.sql(sql, params=params or {}).to_arrow_table()
    except duckdb.Error as error:
        try:  # Run as a statement, not as a relation, it fails alike, and the engine says in which line of the text.
            con.execute(sql, params or {})
        except duckdb.Error as again:
            raise _problem("the select cannot be run", again, next_step) from error
        raise _problem("the select cannot be run", error, next_step) from error


def _problem(what: str, error: duckdb.Error, next_step: str) -> SqlProblem:
    """The engine's first sentence, and the line of the statement that it names."""
    said = str(error).strip()
    found = _LINE.search(said)
    line = int(found[1]) if found else 0
    where = f", line {line}" if line else ""
    told = SqlProblem(f"{what}{where}: {said.splitlines()[0]}", next_step=next_step)
    told.line, told.said = line, said.splitlines()[0]
    return told
