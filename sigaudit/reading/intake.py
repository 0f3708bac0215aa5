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
from sigaudit.reading.lines import HEAD
from sigaudit.reading.staging import Staged, stage
from sigaudit.store import engine_duckdb as engine
from sigaudit.store import heads
from sigaudit.store.catalog import Source
from sigaudit.store.opening import Store
from sigaudit.store.relations import relation

__all__ = ["Intake", "Taken", "kept_head"]


@dataclass(frozen=True)
class Taken:
    """A file that adds lines. before: the source it continues, None for a new one; resume: first line read;
    whole: a grown source that was read again from its first line because of a repeated hour; again: how many
    rejected lines of ``before`` were read again, 0 where a file was read."""

    arrival: growth.Arrival
    source_id: int
    bound: Bound
    staged: Staged
    before: Source | None
    resume: int
    whole: bool
    again: int = 0

    @property
    def layout_id(self) -> str:
        """The layout by which the source is read on: its own, whatever its rejects were read with."""
        return self.before.layout if self.before is not None and self.again else self.bound.layout.id

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
    outgrown: (source_id, bytes, sha256) of files that another file of the run continues;
    heads: the first bytes of sources, as far as the store does not keep them yet."""

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
        self.heads: dict[int, bytes] = {}
        self._headless = {source.source_id for source in self.held} - heads.kept(store.catalog)

    def take(self, arrival: growth.Arrival, layout_id: str | None) -> None:
        """Stages a file, or notes that it is held. Raises InputProblem and kin; the run goes on without it."""
        pending = {one.source_id: one for one in self.taken}
        candidates = [*self.held, *(one.source for one in self.taken)]
        identity = growth.identify(arrival, candidates, self.prefixes)
        if identity.same is not None:
            self.known.append((arrival, identity.same))
            if identity.same.source_id in self._headless:
                self.heads[identity.same.source_id] = kept_head(arrival.head, self.layout(identity.same.layout))
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
        self.prove(bound.layout)
        staged = self._stage(arrival, bound)
        taken = Taken(arrival, self.next_id, bound, staged, None, 1, False)
        self.next_id += 1
        return taken

    def keys(self, bound: Bound) -> Mapping[str, bytes]:
        """Keys of encrypted frames, asked for only where a layout reads frames. Raises SettingsProblem."""
        if bound.layout.decodes == "frame" and self._frame_keys is None:
            self._frame_keys = frame_keys.read(self.receivers.dc09_keys)
        return self._frame_keys or {}

    def layout(self, layout_id: str) -> Layout | None:
        """The layout of that name, None where there is none."""
        return next((one for one in self.layouts if one.id == layout_id), None)

    def prove(self, layout: Layout) -> None:
        """Raises LayoutFaulty where a layout fails its own samples: it reads nothing then."""
        if layout.id not in self._proven:
            check_samples(layout)
            self._proven.add(layout.id)

    def stage_file(self) -> Path:
        """Where the next stage file goes."""
        return self.scratch / f"stage-{len(list(self.scratch.glob('stage-*')))}.parquet"

    def _rows_of(self, kind: str) -> Callable[[int], str]:
        return lambda source_id: f"({relation(self.store, kind, tag=f's{source_id}')})"

    def _grown(self, arrival: growth.Arrival, before: Source) -> Taken:
        layout = self.layout(before.layout)
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
        into = self.stage_file()
        self.progress.start(f"reading {arrival.name}", arrival.path.stat().st_size)
        try:
            return stage(
                self.con, bound, arrival.path, arrival.name, into, zone=self.receivers.timezone,
                progress=self.progress, start=start, first_line=first_line, begins=begins, keys=self.keys(bound),
            )  # fmt: skip
        finally:
            self.progress.done()


def kept_head(head: bytes, layout: Layout | None) -> bytes:
    """As much of a content's first bytes as lays the layout on it again: whole lines of 4 KiB, or all of them."""
    end = head.find(b"\n", HEAD - 1) + 1
    if not end or layout is None:
        return head[: end or len(head)]
    try:
        enough = bind(layout, head[:end], chosen=True) == bind(layout, head, chosen=True)
    except NoFit:
        enough = False
    return head[:end] if enough else head
