"""Small stations out of the demo data: the whole demo, or a workspace with chosen exports and settings."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pyarrow as pa

from sigaudit.judging import audit
from sigaudit.reading import ingest
from sigaudit.reading import roster as roster_reading
from sigaudit.reporting import weekly
from sigaudit.settings import Settings, load
from sigaudit.store import rosters, runs, views
from sigaudit.store.opening import Store, open_store
from sigaudit.store.runs import Run

DEMO = Path(__file__).resolve().parents[1] / "data" / "demo"


def sheet(path: Path) -> list[dict[str, str]]:
    """Rows of a CSV file."""
    with path.open(encoding="utf-8", newline="") as source:
        return list(csv.DictReader(source))


@dataclass(frozen=True)
class DemoStation:
    """A workspace as it lies on disk; ``document`` is what ``sigaudit demo --json`` answered, if it was run."""

    folder: Path
    document: dict[str, Any]

    @classmethod
    def made_in(cls, base: Path) -> DemoStation:
        """The demo run through the command line into ``base``, or found there as another worker made it."""
        folder, answer = base / "station", base / "answer.json"
        if not answer.exists():
            base.mkdir()
            said = called("demo", str(folder), "--json")
            assert said.code == 0, said.err
            answer.write_text(said.out, encoding="utf-8", newline="\n")
        return cls(folder, json.loads(answer.read_text(encoding="utf-8")))

    @classmethod
    def of(cls, folder: Path, exports: Iterable[Path], settings: str = "", rows: dict[str, list[str]] | None = None,
           ) -> DemoStation:  # fmt: skip
        """A workspace with the demo's roster and these exports taken in; ``rows`` are added to roster sheets."""
        shutil.copytree(DEMO / "workspace", folder)
        with (folder / "sigaudit.toml").open("a", encoding="utf-8", newline="\n") as file:
            file.write(settings)
        for name, lines in (rows or {}).items():
            with (folder / "roster" / name).open("a", encoding="utf-8", newline="\n") as file:
                file.write("".join(f"{line}\n" for line in lines))
        made = cls(folder, {})
        ingest.run(made.store(create=True), made.settings, list(exports))
        found = roster_reading.read(made.settings.roster_dir, made.settings)
        rosters.save(made.store(), found, None, date(2026, 11, 23))
        return made

    @property
    def settings(self) -> Settings:
        return load(self.folder)

    def store(self, *, create: bool = False) -> Store:
        return open_store(self.folder / "store", create=create)

    def audit(self, week: str) -> Run:
        """The audit of a week, judged now unless it was."""
        return audit.weekly(self.store(), self.settings, week)

    def pages(self, week: str, name: str = "pages") -> Path:
        """The report of a week, written into a folder of the workspace."""
        folder = self.folder / "reports" / name
        weekly.write(self.audit(week), folder, station=self.settings.station)
        return folder

    def run(self, week: str) -> Run:
        """The audit of a week as it was saved."""
        found = runs.latest(self.store(), week)
        assert found is not None, f"{week} was not judged; there are {runs.labels(self.store())}"
        return found

    def sql(self, text: str) -> pa.Table:
        return views.answer(self.store(), text, memory_limit="1GiB")


@dataclass(frozen=True)
class Called:
    """What a command line came to."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.out)
        return found


def called(*words: str) -> Called:
    """The command run in this process: exit code, stdout and stderr as a shell would see them."""
    import sys
    from unittest import mock

    from sigaudit import cli

    out, err = io.TextIOWrapper(io.BytesIO(), "utf-8", newline=""), io.TextIOWrapper(io.BytesIO(), "utf-8", newline="")
    code: object = 0
    with (
        mock.patch.object(sys, "argv", ["sigaudit", *words]),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            cli.main()
        except SystemExit as stop:
            code = stop.code
    texts = []
    for stream in (out, err):
        stream.flush()
        texts.append(stream.buffer.getvalue().decode("utf-8"))  # type: ignore[attr-defined]
    return Called(0 if code is None else int(str(code)), *texts)
