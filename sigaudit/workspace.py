"""Finds a station's workspace, and makes a new one.

A workspace is a folder with ``sigaudit.toml``; beside it lie layouts, checks, roster, store and
reports. Ground floor: settings read what is found here.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from sigaudit.errors import UsageProblem
from sigaudit.known_names import edition_fault, timezone_fault

SETTINGS_FILE = "sigaudit.toml"

_TEMPLATE = Path(__file__).resolve().parent / "data" / "workspace"
_FOLDERS = ("layouts", "checks", "roster", "reports")


def find(workspace: Path | None = None) -> Path:
    """Folder that holds ``sigaudit.toml``: the one given, else the current folder or the nearest above.

    Raises UsageProblem when there is none.
    """
    if workspace is not None:
        if (workspace / SETTINGS_FILE).exists():
            return workspace.resolve()
        said = "holds no" if workspace.is_dir() else "is no folder with a"
        raise UsageProblem(
            f"{workspace}: {said} {SETTINGS_FILE}",
            next_step=f"sigaudit init {workspace}, or name another folder",
        )
    here = Path.cwd()
    for folder in (here, *here.parents):
        if (folder / SETTINGS_FILE).exists():
            return folder
    raise UsageProblem(
        f"no {SETTINGS_FILE} in {here} or any folder above it",
        next_step="go into a workspace, name one with --workspace DIR, or make one with: sigaudit init DIR",
    )


def create(folder: Path, name: str = "", timezone: str = "", edition: str = "") -> Path:
    """Makes a workspace and gives the path of its ``sigaudit.toml``.

    Files that are there already stay as they are. An empty zone or edition is written as empty:
    there is no default edition, and without a zone the other commands ask for it.

    Raises UsageProblem: a workspace is there already, the zone or edition is unknown, the name
    cannot stand in the file, or the folder cannot be written.
    """
    settings = folder / SETTINGS_FILE
    if settings.exists():
        raise UsageProblem(f"{settings}: is there already", next_step="edit it, or give another folder")
    if timezone and (fault := timezone_fault(timezone)):
        raise UsageProblem(f"time zone {timezone!r}: {fault}", next_step="give --timezone Area/City")
    if fault := edition_fault(edition):
        raise UsageProblem(f"edition {edition!r}: {fault}", next_step="give one of these, or none")
    if not name.isprintable():
        raise UsageProblem(f"name {name!r}: expected printable text", next_step="give a plain name")
    try:
        for inner in _FOLDERS:
            (folder / inner).mkdir(parents=True, exist_ok=True)
        for source in sorted(_TEMPLATE.rglob("*")):
            target = folder / source.relative_to(_TEMPLATE)
            if source.is_file() and source.name != SETTINGS_FILE and not target.exists():
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(source, target)
        text = (_TEMPLATE / SETTINGS_FILE).read_text(encoding="utf-8")
        for field, value in (("name", name), ("timezone", timezone), ("edition", edition)):
            # A JSON string of printable text is a TOML string too.
            text = text.replace(f'{field} = ""', f"{field} = {json.dumps(value, ensure_ascii=False)}", 1)
        # Last, so that a folder half made is not taken for a workspace; "x" never overwrites.
        with settings.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except OSError as error:
        raise UsageProblem(
            f"{folder}: no workspace can be made here: {error.strerror}",
            next_step="give a folder you may write",
        ) from error
    return settings
