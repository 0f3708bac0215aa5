"""Runs a layout on its own sample lines: what it says they give is what they must give."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sigaudit.errors import LayoutFaulty
from sigaudit.model import silent
from sigaudit.reading.binding import NoFit, bind
from sigaudit.reading.layouts import Layout
from sigaudit.reading.parse import REASONS, SKIPS
from sigaudit.reading.staging import make_passes, stage, timed_sql
from sigaudit.store import engine_duckdb as engine

__all__ = ["SAMPLE_ZONE", "check_samples"]

SAMPLE_ZONE = "UTC"  # stands for the station's zone, so that a sample gives the same everywhere


def check_samples(layout: Layout) -> int:
    """How many samples agree: all of them. Raises LayoutFaulty naming the sample, what it gives and what it should.

    A sample may name its ``header`` line; else the columns the layout asks for stand in their order.
    ``gives``: columns of ``signals`` (received_utc as text), a list of them where a line tells several events;
    ``rejects``: a reason; ``skips``: why it says nothing.
    """
    con = engine.connect(threads=1)
    try:
        with tempfile.TemporaryDirectory() as folder:
            for number, sample in enumerate(layout.samples, start=1):
                _check(con, layout, number, sample, Path(folder))
    finally:
        con.close()
    return len(layout.samples)


def _check(con: engine.Connection, layout: Layout, number: int, sample: Mapping[str, Any], folder: Path) -> None:
    header = str(sample.get("header", layout.dialect.delimiter.join(layout.required))) if layout.header else ""
    row = [f"{layout.sheet or 'Sheet'}!{n}," if layout.sheet is not None else "" for n in (1, 2)]
    content = (f"{row[0]}{header}\n" if layout.header else "") + f"{row[1]}{sample['line']}\n"
    encoded = content.encode(layout.dialect.encodings[0])
    path = folder / "sample"
    path.write_bytes(encoded)
    where = f"{layout.file}: sample {number}"
    try:
        bound = bind(layout, encoded, chosen=True)
    except NoFit as reason:
        raise LayoutFaulty(
            f"{where}: the layout does not fit it: {reason}", next_step="mend one of the two"
        ) from reason
    staged = stage(con, bound, path, where, folder / "stage.parquet", zone=SAMPLE_ZONE, progress=silent)
    if "gives" not in sample:
        kind, known = ("rejects", tuple(REASONS)) if "rejects" in sample else ("skips", SKIPS)
        wanted = sample[kind]
        if wanted not in known:
            raise LayoutFaulty(f"{where}: no such reason: {wanted}", next_step=f"known are {', '.join(known)}")
        found = engine.rows(
            con, f"select reason from {staged.lines_sql} where line_no > {int(layout.header)} order by line_no"
        )
        if found != [(wanted,)]:
            said = {"rejects": "refused", "skips": "skipped"}[kind]
            raise LayoutFaulty(f"{where}: should be {said} as {wanted}, gives {found}", next_step="mend one of the two")
        return
    if staged.repeated:
        make_passes(con, staged, "sample_passes")
    rows = engine.arrow(con, timed_sql(staged, "sample_passes" if staged.repeated else None)).to_pylist()
    rows.sort(key=lambda row: (row["line_no"], row["part"]))
    given = sample["gives"] if isinstance(sample["gives"], list) else [sample["gives"]]
    if len(rows) != len(given):
        wanted = "a signal" if len(given) == 1 else f"{len(given)} signals"
        told = "none" if not rows else f"{len(rows)}"
        raise LayoutFaulty(f"{where}: should be {wanted} and is {told}", next_step="mend one of the two")
    for gives, row in zip(given, rows, strict=True):
        _compare(where, gives, row)


def _compare(where: str, gives: Mapping[str, Any], row: Mapping[str, Any]) -> None:
    for name, wanted in gives.items():
        if name not in row:
            raise LayoutFaulty(f"{where}: no such column: {name}", next_step=f"known are {', '.join(row)}")
        got = row[name]
        if str(got) != str(wanted) and not (name == "received_utc" and got.isoformat(" ").startswith(str(wanted))):
            raise LayoutFaulty(f"{where}: {name} should be {wanted!r}, is {got!r}", next_step="mend one of the two")
