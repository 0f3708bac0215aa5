"""Parquet files of the store: written once under a name made of their content, never overwritten.

A new file is written beside its final place, hashed, and renamed to the start of its own SHA-256, so the
same rows always get the same name. It counts only once the catalog lists it. What the catalog no longer
lists is swept a day later, when no reader that took the list before can still need it.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
from collections.abc import Callable, Iterable
from pathlib import Path

import pyarrow.parquet as pq

from sigaudit.store.catalog import Catalog, LiveFile

__all__ = ["SWEEP_AFTER_S", "folder", "place", "sha256_of", "sweep"]

SWEEP_AFTER_S = 86400.0
_BLOCK = 1 << 20


def folder(kind: str, month: str) -> str:
    """Where files of a kind lie, relative to the store: ``signals/month=2026-11`` or ``lineage``."""
    return f"{kind}/month={month}" if month else kind


def place(root: Path, kind: str, month: str, tag: str, write: Callable[[Path], None]) -> LiveFile | None:
    """Lets ``write`` fill a Parquet file and gives it its name; None (and no file) when it holds no rows."""
    home = root / folder(kind, month)
    home.mkdir(parents=True, exist_ok=True)
    arriving = home / f".arriving-{secrets.token_hex(8)}.parquet"
    try:
        write(arriving)
        rows = pq.read_metadata(arriving).num_rows
        if rows == 0:
            return None
        digest = sha256_of(arriving)
        final = home / f"{tag + '-' if tag else ''}{digest[:20]}.parquet"
        size = arriving.stat().st_size
        with arriving.open("rb+") as written:
            os.fsync(written.fileno())
        if not final.exists():  # same name = same content: an earlier run that was cut off wrote it
            arriving.replace(final)
        path = final.relative_to(root).as_posix()
        return LiveFile(path, kind, month, tag, rows, size, digest)
    finally:
        arriving.unlink(missing_ok=True)


def sha256_of(path: Path) -> str:
    """SHA-256 hex of a file's bytes."""
    found = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(_BLOCK):
            found.update(block)
    return found.hexdigest()


def sweep(root: Path, catalog: Catalog, kinds: Iterable[str], now: float) -> int:
    """Deletes Parquet that is not listed and has not been for a day; answers how many files went.

    Only the holder of the writer's lock may call this.
    """
    listed = {file.path for file in catalog.files()}
    with catalog.connection() as con:
        dropped = dict(con.execute("select path, dropped_at from dropped").fetchall())
    gone = []
    for kind in kinds:
        for path in sorted((root / kind).rglob("*.parquet")) if (root / kind).is_dir() else []:
            name = path.relative_to(root).as_posix()
            if name in listed:
                continue
            since = dropped.get(name, path.stat().st_mtime)
            if now - since >= SWEEP_AFTER_S:
                with contextlib.suppress(PermissionError):  # a reader still has it open: next time
                    path.unlink(missing_ok=True)
                    gone.append(name)
    if gone:
        with catalog.connection() as con:
            con.executemany("delete from dropped where path = ?", [(name,) for name in gone])
    return len(gone)
