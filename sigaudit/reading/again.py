"""Rejected lines read again after a layout was mended: what now parses is added, the sum closes as before."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from sigaudit.errors import InputProblem, LayoutUnknown, SigauditError
from sigaudit.model import Progress, ReceiverMap, silent
from sigaudit.reading import growth, layout_files
from sigaudit.reading.binding import Bound, NoFit, bind
from sigaudit.reading.ingest import IngestResult, settled_results
from sigaudit.reading.intake import Intake, Taken
from sigaudit.reading.rereading import restage
from sigaudit.store import engine_duckdb as engine
from sigaudit.store import heads
from sigaudit.store.catalog import Source
from sigaudit.store.opening import Store

__all__ = ["run"]


def run(
    store: Store, receivers: ReceiverMap, *, layout_id: str | None = None, progress: Progress = silent,
    memory_limit: str = engine.MEMORY_LIMIT,
) -> IngestResult:  # fmt: skip
    """Reads the rejects of every source again, by the source's layout or the one named, and adds what now parses.

    Signals held already stay as they are. A source whose layout is gone, does not fit or fails its samples is
    named in ``problems``; the others go on. Raises LayoutFaulty, LayoutUnknown (no such layout), StoreBusy,
    SumMismatch, and leaves the store untouched then.
    """
    layouts = layout_files.load(receivers.layouts_dir)
    if layout_id is not None and layout_id not in {layout.id for layout in layouts}:
        known = ", ".join(sorted(layout.id for layout in layouts))
        raise LayoutUnknown(f"no layout is called {layout_id}", next_step=f"known are: {known}")
    problems: list[tuple[str, SigauditError]] = []
    with store.writing("ingest"), store.scratch() as scratch:
        con = engine.connect(memory_limit=memory_limit, temp_dir=scratch / "spill")
        try:
            intake = Intake(con, store, receivers, layouts, scratch, progress)
            waiting = [source for source in intake.held if source.n_rejects]
            if not waiting:
                return IngestResult(messages=("nothing is rejected, so there is nothing to read again",))
            for source in waiting:
                try:
                    intake.taken.append(_taken(intake, source, layout_id or source.layout))
                except InputProblem as problem:
                    problems.append((source.name, problem))
            sources = settled_results(store, intake) if intake.taken else []
        finally:
            con.close()
    return IngestResult(tuple(sorted(sources, key=lambda one: one.name)), tuple(problems))


def _taken(intake: Intake, source: Source, layout_id: str) -> Taken:
    """The rejects of a source, staged. Raises LayoutUnknown and LayoutFaulty."""
    bound, head = _bound(intake, source, layout_id)
    intake.prove(bound.layout)
    if intake.layout(source.layout) is None:
        source = replace(source, layout=layout_id)  # what it was read with is gone: it is read on by the new one
    files = [intake.store.root / file.path for file in intake.store.files("rejects", tag=f"s{source.source_id}")]
    intake.progress.start(f"reading again {source.name}", source.n_rejects)
    try:
        staged = restage(
            intake.con, bound, source, files, intake.stage_file(), zone=intake.receivers.timezone,
            progress=intake.progress, keys=intake.keys(bound),
        )  # fmt: skip
    finally:
        intake.progress.done()
    arrival = growth.Arrival(Path(source.name), source.name, head)
    return Taken(arrival, source.source_id, bound, staged, source, source.next_line, False, again=source.n_rejects)


def _bound(intake: Intake, source: Source, layout_id: str) -> tuple[Bound, bytes]:
    layout, head = intake.layout(layout_id), heads.head_of(intake.store.catalog, source.source_id)
    if layout is None:
        raise LayoutUnknown(
            f"{source.name}: it was read with the layout {layout_id}, and there is no such layout any more",
            next_step="put that layout file back, mended, or name another layout with --layout ID",
        )
    try:
        return bind(layout, head or b"", chosen=True), head or b""
    except NoFit as reason:
        if head is None:
            raise LayoutUnknown(
                f"{source.name}: it was taken in by a version that did not keep its beginning",
                next_step=f"take the same file in once more, then again: sigaudit ingest {source.name}",
            ) from reason
        raise LayoutUnknown(
            f"{source.name}: the layout {layout_id} does not fit it: {reason}",
            next_step="mend the layout, or name another with --layout ID",
        ) from reason
