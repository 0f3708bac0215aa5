"""Judged runs in the store: one set of Parquet tables and one document each, found again by name.

A run is named by its window's label and a fingerprint of all it was made from; the same inputs find
the run that is there already.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from sigaudit.errors import StoreProblem
from sigaudit.store.catalog import LiveFile
from sigaudit.store.opening import Store

# Kept for the weeks that later ones compare with; older runs of a label go when a newer one is saved.
_META = "meta"
_MONTH = re.compile(r"\d{4}-\d{2}")


@dataclass(frozen=True)
class Run:
    """One judged window: ``meta`` as saved, tables by name."""

    run_id: str
    meta: dict[str, Any]
    files: Mapping[str, Path]

    def table(self, name: str) -> pa.Table:
        """A table of the run, empty of rows where it has none. Raises StoreProblem for an unknown name."""
        schema = self.meta["tables"].get(name)
        if schema is None:
            raise StoreProblem(f"run {self.run_id} holds no table {name!r}", next_step="judge that week again")
        if name in self.files:
            return pq.read_table(self.files[name])
        return _schema(schema).empty_table()

    def has(self, name: str) -> bool:
        return name in self.meta["tables"]


def save(store: Store, run_id: str, meta: Mapping[str, Any], tables: Mapping[str, pa.Table]) -> Run:
    """Writes a run and makes it the one of its label. Only inside ``store.writing``."""
    told = {
        **meta,
        "run_id": run_id,
        "tables": {name: _written(table.schema) for name, table in tables.items()},
    }
    document = pa.table({"json": pa.array([json.dumps(told, ensure_ascii=False, default=str)], pa.string())})
    placed: list[LiveFile | None] = [_place(store, run_id, _META, document)]
    placed += [_place(store, run_id, name, table) for name, table in sorted(tables.items())]
    label = str(meta["label"])
    old = [file for file in store.files("runs") if file.month == label]
    store.commit(add=[file for file in placed if file is not None], drop=old)
    found = load(store, run_id)
    if found is None:
        raise StoreProblem(f"run {run_id} was saved and is not there", next_step="see whether the disk is full")
    return found


def load(store: Store, run_id: str) -> Run | None:
    """A run by its id, or None."""
    files = {file.tag.partition(".")[2]: store.root / file.path for file in store.files("runs")
             if file.tag.partition(".")[0] == run_id}  # fmt: skip
    if _META not in files:
        return None
    meta = json.loads(pq.read_table(files.pop(_META))["json"][0].as_py())
    return Run(run_id, meta, files)


def latest(store: Store, label: str) -> Run | None:
    """The run last saved for a label (``2026-W47``), or None."""
    ids = {file.tag.partition(".")[0] for file in store.files("runs") if file.month == label}
    return load(store, ids.pop()) if len(ids) == 1 else None


def labels(store: Store) -> list[str]:
    """Labels of weeks and days that have a run, in order. Months are another kind of run, asked for by name."""
    return [label for label in store.months("runs") if not _MONTH.fullmatch(label)]


def _place(store: Store, run_id: str, name: str, table: pa.Table) -> LiveFile | None:
    label = run_id.rpartition("-")[0]

    def write(path: Path) -> None:
        pq.write_table(table, path, compression="zstd")

    return store.place("runs", write, month=label, tag=f"{run_id}.{name}")


def _written(schema: pa.Schema) -> list[list[str]]:
    return [[field.name, str(field.type)] for field in schema]


_TYPES = {
    "string": pa.string(), "large_string": pa.string(), "int64": pa.int64(), "int32": pa.int32(),
    "double": pa.float64(), "bool": pa.bool_(), "timestamp[us]": pa.timestamp("us"), "date32[day]": pa.date32(),
}  # fmt: skip


def _schema(written: list[list[str]]) -> pa.Schema:
    return pa.schema([(name, _TYPES.get(kind, pa.string())) for name, kind in written])
