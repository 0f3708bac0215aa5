"""A layout that is too strict and mended afterwards, and what a store then says, to compare it with another."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from sigaudit.reading import again
from sigaudit.reading.ingest import IngestResult, Sum
from tests.reading.small_station import CONTENT, Station

HEADER = "when;note;acct;ev"
DAY = [f"2026-11-02 {h:02d}:00:00;quiet;{1000 + h};E602" for h in range(24)]


def written(
    *, form: str = "%Y-%m-%d %H:%M:%S", quote: str = '"', encoding: str = '"utf-8"', comment: str = "",
    timezone: str = "station",
) -> str:  # fmt: skip
    """A delimited layout as TOML."""
    return f"""
id = "own"
[text]
delimiter = ";"
quote = '{quote}'
encoding = [{encoding}]
comment = "{comment}"
[time]
column = "when"
format = "{form}"
timezone = "{timezone}"
[fields]
account = "acct"
event = "ev"
text = "note"
"""


def put(station: Station, text: str, name: str = "own") -> None:
    """Writes a layout of the station, in place of the one that stood there."""
    (station.receivers.layouts_dir / f"{name}.toml").write_text(text, encoding="utf-8", newline="\n")


def run_again(station: Station, **options: Any) -> IngestResult:
    """Reads the rejects again; every sum closes."""
    result = again.run(station.store, station.receivers, **options)
    for source in result.sources:
        assert source.sum.closes and source.state == "again", source
    for held in station.store.catalog.sources():
        assert held.lines == held.n_signals + held.n_repeats + held.n_rejects + held.n_skipped
    return result


def said(station: Station, *, provisional: bool = True) -> tuple[object, ...]:
    """Everything a store says: signals, where lines stand, rejects, sources and receiver lines.

    provisional: also from where on a source may still change.
    """
    sources = station.store.catalog.sources()
    if not provisional:
        sources = [replace(s, provisional_line=0, provisional_byte=0, provisional_skipped=0) for s in sources]
    lineage = "select source_id, line_no, byte_off, key, second, pass, time_doubt, held from t order by all"
    return (
        station.signals([*CONTENT, "source_id", "line_no"]), station.rows(lineage, "lineage"), station.rejects(),
        sources, station.store.catalog.source_lines(),
    )  # fmt: skip


def fresh(folder: Path, text: str, *files: tuple[str, bytes]) -> Station:
    """A station that had the mended layout from the start."""
    made = Station(folder)
    put(made, text)
    for file in files:
        made.take(file)
    return made


def named_alike(mended: Station, other: Station) -> None:
    """Gives the sources of the second store the names of the first, so that only what they say differs."""
    with other.store.catalog.connection() as con:
        for source in mended.store.catalog.sources():
            con.execute("update sources set name = ? where source_id = ?", (source.name, source.source_id))


def log(*lines: str, header: str = HEADER) -> bytes:
    return "".join(f"{line}\n" for line in (header, *lines)).encode("utf-8")


def mended(station: Station, strict: str, loose: str, *contents: bytes, provisional: bool = True) -> Sum:
    """The sum of reading again; the store then says what one says that had the mended layout from the start."""
    put(station, strict)
    files = [(f"{i}.log", content) for i, content in enumerate(contents)]
    for file in files:
        station.take(file)
    put(station, loose)
    result = run_again(station)
    assert result.exit_code == 0
    other = fresh(station.folder.parent / "fresh", loose, *files)
    named_alike(station, other)
    assert said(station, provisional=provisional) == said(other, provisional=provisional)
    return result.sum
