"""A station small enough for a test: settings, a store in a temporary folder, and what the store then says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sigaudit.reading import ingest
from sigaudit.store import engine_duckdb as engine
from sigaudit.store.opening import Store, open_store
from sigaudit.store.relations import SIGNALS, relation

HEADER = "received_at,receiver,line,account,event,partition,zone"
CONTENT = [name for name in SIGNALS if name not in ("source_id", "line_no")]


@dataclass
class Receivers:
    """Stands for the settings: the part that reading asks for."""

    layouts_dir: Path
    timezone: str = "America/New_York"
    own_accounts: tuple[str, ...] = ()
    groups: dict[str, str] = field(default_factory=dict)
    dc09_keys: dict[str, str] = field(default_factory=dict)

    def group_of(self, receiver: str, line: str = "") -> str:
        return self.groups.get(f"{receiver}/{line}", self.groups.get(receiver, "main"))


class Station:
    """One store; ``take`` writes files and takes them in, in one run."""

    def __init__(self, folder: Path, **settings: Any) -> None:
        self.folder = folder
        (folder / "layouts").mkdir(parents=True, exist_ok=True)
        self.receivers = Receivers(folder / "layouts", **settings)
        self.store: Store = open_store(folder / "store", create=True)

    def file(self, name: str, content: bytes) -> Path:
        path = self.folder / name
        path.write_bytes(content)
        return path

    def take(self, *files: tuple[str, bytes], **options: Any) -> ingest.IngestResult:
        return self.run([self.file(name, content) for name, content in files], **options)

    def run(self, paths: Sequence[Path], **options: Any) -> ingest.IngestResult:
        result = ingest.run(self.store, self.receivers, paths, **options)
        for source in result.sources:
            assert source.sum.closes, source
        return result

    def rows(self, sql: str, kind: str = "signals") -> list[tuple[Any, ...]]:
        """Rows of ``sql`` over the table ``t``: the live files of a kind."""
        con = engine.connect(threads=1)
        try:
            return engine.rows(con, f"with t as ({relation(self.store, kind)}) {sql}")
        finally:
            con.close()

    def signals(self, columns: Sequence[str] = CONTENT) -> list[tuple[Any, ...]]:
        """All signals, columns as asked, sorted."""
        names = ", ".join(engine.identifier(name) for name in columns)
        return sorted(self.rows(f"select {names} from t"), key=repr)

    def origins(self) -> set[tuple[Any, ...]]:
        """Where every line stands, whatever number its source got."""
        sha = {source.source_id: source.sha256 for source in self.store.catalog.sources()}
        found = self.rows("select source_id, line_no, key, second, pass, received_utc from t", "lineage")
        return {(sha[row[0]], *row[1:]) for row in found}

    def rejects(self) -> set[tuple[Any, ...]]:
        sha = {source.source_id: source.sha256 for source in self.store.catalog.sources()}
        found = self.rows("select source_id, line_no, byte_off, reason, raw, raw_bytes from t", "rejects")
        return {(sha[row[0]], *row[1:]) for row in found}


def csv(*lines: str, header: str = HEADER) -> bytes:
    """A plain export of these lines."""
    return "".join(f"{line}\n" for line in (header, *lines)).encode("utf-8")
