"""The files of one run: each identified, given its layout, staged. Nothing is written to the store here."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sigaudit.errors import LayoutUnknown
from sigaudit.model import Progress, ReceiverMap
from sigaudit.reading import frame_keys, growth
from sigaudit.reading.binding import Bound, NoFit, bind, choose
from sigaudit.reading.layout_samples import check_samples
from sigaudit.reading.layouts import BUILT_IN, Layout
from sigaudit.reading.staging import Staged, stage
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.catalog import Source
from sigaudit.store.opening import Store
from sigaudit.store.relations import relation

__all__ = ["Intake", "Taken"]


@dataclass(frozen=True)
class Taken:
    """A file that adds lines. before: the source it continues, None for a new one; resume: first line read;
    whole: a grown source that was read again from its first line because of a repeated hour."""

    arrival: growth.Arrival
    source_id: int
    bound: Bound
    staged: Staged
    before: Source | None
    resume: int
    whole: bool

    @property
    def source(self) -> Source:
        """As a source for later files of the same run to be compared with."""
        staged = self.staged
        return Source(
            self.source_id, self.arrival.name, staged.sha256, staged.size, staged.head_sha256, staged.lines,
            staged.next_line, self.bound.layout.id, None, None, None, None, 1, staged.signals, 0, 0, staged.rejects,
            staged.skipped, staged.open_line, staged.open_byte, staged.open_skipped, staged.repeated,
        )  # fmt: skip


class Intake:
    """taken: files that add lines; known: files that add nothing, with the source that holds them;
    outgrown: (source_id, bytes, sha256) of files that another file of the run continues."""

    def __init__(
        self, con: engine.Connection, store: Store, receivers: ReceiverMap, layouts: Sequence[Layout],
        scratch: Path, progress: Progress,
    ) -> None:  # fmt: skip
        self._proven = {BUILT_IN}
        self._frame_keys: Mapping[str, bytes] | None = None
        self.con, self.store, self.receivers, self.layouts = con, store, receivers, layouts
        self.scratch, self.progress = scratch, progress
        self.held = store.catalog.sources()
        self.prefixes = store.catalog.prefixes()
        self.next_id = 1 + max((source.source_id for source in self.held), default=0)
        self.taken: list[Taken] = []
        self.outgrown: list[tuple[int, int, str]] = []
        self.known: list[tuple[growth.Arrival, Source]] = []

    def take(self, arrival: growth.Arrival, layout_id: str | None) -> None:
        """Stages a file, or notes that it is held. Raises InputProblem and kin; the run goes on without it."""
        pending = {one.source_id: one for one in self.taken}
        candidates = [*self.held, *(one.source for one in self.taken)]
        identity = growth.identify(arrival, candidates, self.prefixes)
        if identity.same is not None:
            self.known.append((arrival, identity.same))
            return
        before = identity.grown
        if before is not None and before.source_id in pending:
            earlier = pending[before.source_id]
            if before.bytes != earlier.staged.size:
                before = None  # another file has already continued it, differently
            else:
                taken = self._grown(arrival, earlier.before) if earlier.before else self._new(arrival, layout_id)
                self.taken.remove(earlier)
                self.outgrown.append((earlier.source_id, before.bytes, before.sha256))
                self.known.append((earlier.arrival, earlier.source))
                self.taken.append(replace(taken, source_id=earlier.source_id))
                return
        if before is not None:
            self.taken.append(self._grown(arrival, before))
            return
        taken = self._new(arrival, layout_id)
        longer = growth.earlier_state_of(
            self.con, taken.staged, taken.bound.layout.id, self.held, self._rows_of("lineage"), self._rows_of("rejects")
        )
        if longer is None:
            self.taken.append(taken)
        else:
            self.known.append((arrival, replace(taken.source, source_id=longer.source_id)))

    def _new(self, arrival: growth.Arrival, layout_id: str | None) -> Taken:
        bound = choose(self.layouts, arrival.head, arrival.name, layout_id)
        if bound.layout.id not in self._proven:
            check_samples(bound.layout)  # a layout that fails its own samples reads nothing
            self._proven.add(bound.layout.id)
        staged = self._stage(arrival, bound)
        taken = Taken(arrival, self.next_id, bound, staged, None, 1, False)
        self.next_id += 1
        return taken

    def _keys(self, bound: Bound) -> Mapping[str, bytes]:
        """Keys of encrypted frames, asked for only where a layout reads frames. Raises SettingsProblem."""
        if bound.layout.decodes == "frame" and self._frame_keys is None:
            self._frame_keys = frame_keys.read(self.receivers.dc09_keys)
        return self._frame_keys or {}

    def _rows_of(self, kind: str) -> Callable[[int], str]:
        return lambda source_id: f"({relation(self.store, kind, tag=f's{source_id}')})"

    def _grown(self, arrival: growth.Arrival, before: Source) -> Taken:
        layout = next((one for one in self.layouts if one.id == before.layout), None)
        try:
            if layout is None:
                raise NoFit("there is no such layout any more")
            bound = bind(layout, arrival.head, chosen=True)
        except NoFit as reason:
            raise LayoutUnknown(
                f"{arrival.name}: its beginning was read with the layout {before.layout}: {reason}",
                next_step="put that layout file back as it was",
            ) from reason
        start, line = before.bytes, before.next_line
        if before.provisional_line:
            start, line = before.provisional_byte, before.provisional_line
        whole = before.repeated_hour
        if not whole:
            staged = self._stage(arrival, bound, start=start, first_line=line, begins=(before.bytes, before.sha256))
            whole = staged.repeated
        if whole:
            start, line = 0, 1
            staged = self._stage(arrival, bound, begins=(before.bytes, before.sha256))
        return Taken(arrival, before.source_id, bound, staged, before, line, whole)

    def _stage(
        self, arrival: growth.Arrival, bound: Bound, *, start: int = 0, first_line: int = 1,
        begins: tuple[int, str] = (0, ""),
    ) -> Staged:  # fmt: skip
        into = self.scratch / f"stage-{len(list(self.scratch.glob('stage-*')))}.parquet"
        self.progress.start(f"reading {arrival.name}", arrival.path.stat().st_size)
        try:
            return stage(
                self.con, bound, arrival.path, arrival.name, into, zone=self.receivers.timezone,
                progress=self.progress, start=start, first_line=first_line, begins=begins, keys=self._keys(bound),
            )  # fmt: skip
        finally:
            self.progress.done()
