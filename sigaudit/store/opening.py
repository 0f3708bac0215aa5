"""Opens a store: readers take the list of files once, one writer at a time changes it."""

from __future__ import annotations

import getpass
import hashlib
import json
import os
import shutil
import socket
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from sigaudit.errors import StoreBusy, StoreProblem
from sigaudit.store import partitions
from sigaudit.store.catalog import KINDS, SCHEMA_VERSION, Catalog, LiveFile

__all__ = ["Store", "open_store"]

CATALOG = "catalog.sqlite"
MIGRATION_WAIT_S = 60.0  # somebody else who opened it at the same moment may be bringing it forward


class Store:
    """One store folder. Reading needs no lock: the list of files is taken once and kept.

    ``refresh`` takes it anew. Attributes: ``root`` the folder, ``catalog`` its tables.
    """

    def __init__(self, root: Path, catalog: Catalog) -> None:
        self.root = root
        self.catalog = catalog
        self._files: list[LiveFile] | None = None
        self._locked = False

    def refresh(self) -> None:
        """Forgets the list of files; the next question takes it as it is then."""
        self._files = None

    def files(self, kind: str, month: str | None = None, tag: str | None = None) -> list[LiveFile]:
        """Listed files of a kind, in order of month and path."""
        if kind not in KINDS:
            raise ValueError(f"unknown kind of file: {kind}")
        if self._files is None:
            self._files = self.catalog.files()
        return [
            file
            for file in self._files
            if file.kind == kind and month in (None, file.month) and tag in (None, file.tag)
        ]

    def live(self, kind: str, month: str | None = None) -> list[Path]:
        """Paths of the listed files of a kind; raises StoreProblem when one is not there."""
        paths = [self.root / file.path for file in self.files(kind, month)]
        for path in paths:
            if not path.exists():
                raise StoreProblem(f"{path}: listed in the catalog but missing", next_step="restore it from a copy")
        return paths

    def months(self, kind: str = "signals") -> list[str]:
        """Months (``2026-11``, UTC) for which files of a kind are listed."""
        return sorted({file.month for file in self.files(kind)} - {""})

    def fingerprint(self, kind: str, months: Iterable[str] | None = None) -> str:
        """SHA-256 hex over the names and checksums of a kind's files in some months (None: all)."""
        wanted = None if months is None else set(months)
        found = [(f.path, f.sha256) for f in self.files(kind) if wanted is None or f.month in wanted]
        return hashlib.sha256(json.dumps(sorted(found)).encode("utf-8")).hexdigest()

    def place(self, kind: str, write: Callable[[Path], None], *, month: str = "", tag: str = "") -> LiveFile | None:
        """Lets ``write`` fill a new Parquet file of this store; it counts once committed."""
        if kind not in KINDS:
            raise ValueError(f"unknown kind of file: {kind}")
        return partitions.place(self.root, kind, month, tag, write)

    def commit(
        self,
        *,
        add: Sequence[LiveFile] = (),
        drop: Sequence[LiveFile] = (),
        catalog_changes: Callable[[sqlite3.Connection], None] | None = None,
    ) -> None:
        """Makes a change true, all of it or nothing. Only inside ``writing``."""
        if not self._locked:
            raise RuntimeError("commit outside of Store.writing")
        kept = {file.path for file in add}
        gone = [file.path for file in drop if file.path not in kept]
        self.catalog.commit(add, gone, catalog_changes, time.time())
        self.refresh()

    @contextmanager
    def writing(self, what: str, *, wait_s: float = 0.0) -> Iterator[None]:
        """Holds the store for one writer; raises StoreBusy (who, since when) if another has it.

        Entering it again in the same process on the same object is allowed.
        """
        if self._locked:
            yield
            return
        note = self.root / "writer.json"
        lock = FileLock(self.root / "writer.lock")
        try:
            lock.acquire(timeout=wait_s)
        except Timeout as error:
            raise StoreBusy(
                f"{self.root}: {_owner(note)}", next_step="wait until it is done, then try again"
            ) from error
        try:
            note.write_text(json.dumps(_me(what)), encoding="utf-8", newline="\n")
            self._locked = True
            self.refresh()
            shutil.rmtree(self.root / "scratch", ignore_errors=True)  # left by a writer that was cut off
            partitions.sweep(self.root, self.catalog, KINDS, time.time())
            yield
        finally:
            self._locked = False
            with suppress(OSError):
                note.unlink(missing_ok=True)
            lock.release()

    @contextmanager
    def scratch(self) -> Iterator[Path]:
        """A folder beside the store's files for work in progress; gone afterwards."""
        home = self.root / "scratch"
        home.mkdir(parents=True, exist_ok=True)
        path = Path(tempfile.mkdtemp(dir=home))
        try:
            yield path
        finally:
            shutil.rmtree(path, ignore_errors=True)


def open_store(store_dir: Path, *, create: bool = False) -> Store:
    """The store in a folder, made empty when ``create`` says so, brought to this program's version if it is older.

    Raises StoreMissing, StoreOtherVersion, StoreProblem, and StoreBusy when an older store is being written.
    """
    store = Store(store_dir, Catalog.open(store_dir / CATALOG, create=create))
    if store.catalog.version() != SCHEMA_VERSION:
        from sigaudit.store import forward  # the engine is loaded only where it is needed

        with store.writing("bring the store to this version", wait_s=MIGRATION_WAIT_S):
            forward.bring(store)
    return store


def _me(what: str) -> dict[str, object]:
    try:
        user = getpass.getuser()
    except (OSError, KeyError, ImportError):  # no such entry for this user id
        user = "unknown"
    return {"what": what, "user": user, "machine": socket.gethostname(), "process": os.getpid(), "since": time.time()}


def _owner(note: Path) -> str:
    """Who holds the store, in words, from the note its writer left."""
    try:
        found = json.loads(note.read_text(encoding="utf-8"))
        age = max(0, int(time.time() - float(found["since"])))
        return (
            f"in use by {found['user']} on {found['machine']} (process {found['process']}, "
            f"{found['what']}) for {age // 60} min {age % 60} s"
        )
    except (OSError, ValueError, KeyError, TypeError):
        return "in use by another process"
