"""Takes exports in: files to staged lines, union with what is held, one commit.

A run is atomic: either everything it read counts, or nothing. A file that cannot be read at all is named in
the result (and alone, raised) while the others are taken in; the caller's exit status should say so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sigaudit.errors import InputProblem, NothingToRead, SigauditError, SumMismatch, TooManyRejects
from sigaudit.model import Progress, ReceiverMap, silent
from sigaudit.reading import growth, layout_files, order_breaks
from sigaudit.reading.intake import Intake
from sigaudit.reading.lines import head_of
from sigaudit.reading.settling import Settled, settle
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.catalog import Source
from sigaudit.store.heads import put_heads
from sigaudit.store.opening import Store

__all__ = ["IngestResult", "SourceResult", "Sum", "run", "settled_results"]


@dataclass(frozen=True)
class Sum:
    """lines = signals + repeats + rejects + skipped."""

    lines: int = 0
    signals: int = 0
    repeats: int = 0
    rejects: int = 0
    skipped: int = 0

    @property
    def closes(self) -> bool:
        return self.lines == self.signals + self.repeats + self.rejects + self.skipped

    def __add__(self, other: Sum) -> Sum:
        return Sum(
            self.lines + other.lines, self.signals + other.signals, self.repeats + other.repeats,
            self.rejects + other.rejects, self.skipped + other.skipped,
        )  # fmt: skip


@dataclass(frozen=True)
class SourceResult:
    """What one file came to. state: 'new', 'grown' (only what was added is counted), 'held' (nothing to do) or
    'again' (its rejects were read again, only they are counted)."""

    name: str
    source_id: int
    state: str
    layout: str
    sum: Sum
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class IngestResult:
    """sources: one per file taken in or held; problems: (name, error) of files that could not be read."""

    sources: tuple[SourceResult, ...] = ()
    problems: tuple[tuple[str, SigauditError], ...] = ()
    messages: tuple[str, ...] = field(default=())

    @property
    def sum(self) -> Sum:
        total = Sum()
        for source in self.sources:
            total = total + source.sum
        return total

    @property
    def exit_code(self) -> int:
        """0, or that of the first file that could not be read."""
        return self.problems[0][1].exit_code if self.problems else 0


def run(
    store: Store, receivers: ReceiverMap, paths: Sequence[Path], *, layout_id: str | None = None,
    progress: Progress = silent, max_rejects: int | None = None, memory_limit: str = engine.MEMORY_LIMIT,
) -> IngestResult:  # fmt: skip
    """Takes in files, and of folders the files in them that are new or have grown.

    receivers: the station's settings (zone, receiver groups, own accounts, layouts folder).
    Raises LayoutFaulty, TooManyRejects, StoreBusy, SumMismatch; NothingToRead or InputProblem when not one
    file could be read. The store is untouched in each of these cases.
    """
    layouts = layout_files.load(receivers.layouts_dir)
    problems: list[tuple[str, SigauditError]] = []
    messages: list[str] = []
    arrivals = []
    for path, named in _expanded(paths):
        name = path.as_posix()
        try:
            arrivals.append(growth.Arrival(path, name, head_of(path, name)))
        except NothingToRead as problem:
            if named:
                problems.append((name, problem))
            else:
                messages.append(problem.message)
        except InputProblem as problem:
            problems.append((name, problem))
    with store.writing("ingest"), store.scratch() as scratch:
        con = engine.connect(memory_limit=memory_limit, temp_dir=scratch / "spill")
        try:
            intake = Intake(con, store, receivers, layouts, scratch, progress)
            for arrival in growth.in_order(arrivals):
                try:
                    intake.take(arrival, layout_id)
                except InputProblem as problem:
                    problems.append((arrival.name, problem))
            if not intake.taken and not intake.known:
                _nothing(problems, messages)
            rejects = sum(one.staged.rejects for one in intake.taken)
            if max_rejects is not None and rejects > max_rejects:
                raise TooManyRejects(
                    f"{rejects} lines could not be used, more than the {max_rejects} allowed; nothing was taken in",
                    next_step="look at the lines, mend the layout, or allow more with --max-rejects",
                )
            sources = settled_results(store, intake) if intake.taken else []
            if intake.heads and not intake.taken:
                store.commit(catalog_changes=lambda con: put_heads(con, intake.heads))
        finally:
            con.close()
    sources += [SourceResult(a.name, s.source_id, "held", s.layout, _all_held(s)) for a, s in intake.known]
    return IngestResult(tuple(sorted(sources, key=lambda one: one.name)), tuple(problems), tuple(messages))


def settled_results(store: Store, intake: Intake) -> list[SourceResult]:
    """Writes the files, checks the sums, commits. Only inside ``store.writing``; raises SumMismatch."""
    settled = settle(intake)
    results = []
    for one in intake.taken:
        staged, kept = one.staged, settled.kept[one.source_id]
        total = Sum(staged.lines, kept, staged.signals - kept, staged.rejects, staged.skipped)
        if not total.closes or min(total.signals, total.repeats) < 0:
            raise SumMismatch(f"{one.arrival.name}: the sum does not close: {total}", next_step="report this")
        state = "again" if one.again else "grown" if one.before is not None else "new"
        notes = (*staged.notes, *order_breaks.notes(settled.breaks[one.source_id], one.resume))
        results.append(SourceResult(one.arrival.name, one.source_id, state, one.bound.layout.id, total, notes))
    _check(store, settled)
    store.commit(add=settled.add, drop=settled.drop, catalog_changes=settled.apply)
    return results


def _check(store: Store, settled: Settled) -> None:
    """The rows of the signals files are the signals of the sources, and every source's sum closes."""
    dropped = {file.path for file in settled.drop}
    rows = sum(file.rows for file in settled.add if file.kind == "signals")
    rows += sum(file.rows for file in store.files("signals") if file.path not in dropped)
    sources = {source.source_id: source for source in store.catalog.sources()} | settled.changed
    counted = sum(source.n_signals + source.n_more for source in sources.values())
    if rows != counted:
        raise SumMismatch(f"{rows} signals lie in files, {counted} belong to sources", next_step="report this")
    for source in settled.changed.values():
        if not _whole(source).closes:
            raise SumMismatch(f"{source.name}: the sum does not close: {_whole(source)}", next_step="report this")


def _whole(source: Source) -> Sum:
    return Sum(source.lines, source.n_signals, source.n_repeats, source.n_rejects, source.n_skipped)


def _all_held(source: Source) -> Sum:
    """The sum of a file whose every line was held before it came."""
    whole = _whole(source)
    return Sum(whole.lines, 0, whole.signals + whole.repeats, whole.rejects, whole.skipped)


def _expanded(paths: Sequence[Path]) -> list[tuple[Path, bool]]:
    """(file, whether it was named itself) of files and folders, each once."""
    found: dict[Path, bool] = {}
    for path in paths:
        if path.is_dir():
            for inside in sorted(path.iterdir()):
                if inside.is_file() and not inside.name.startswith("."):
                    found.setdefault(inside, False)
        else:
            found[path] = True
    return list(found.items())


def _nothing(problems: Sequence[tuple[str, SigauditError]], messages: Sequence[str]) -> None:
    if problems:
        raise problems[0][1]
    raise NothingToRead(
        messages[0] if messages else "there is no file to read", next_step="name a file, or a folder with files in it"
    )
