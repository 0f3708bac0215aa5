"""The text of sigaudit.toml as checked values, each with its line.

An unknown key is refused and never skipped: a mistyped limit that silently does not apply would
hide findings.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sigaudit.errors import SettingsProblem
from sigaudit.known_names import nearest
from sigaudit.settings_keys import (
    KEY_BY_NAME,
    KEYS,
    SECTIONS,
    TABLES,
    Value,
    ValueFault,
    system_type_fault,
    table_of,
)
from sigaudit.settings_lines import key_lines
from sigaudit.workspace import SETTINGS_FILE

DEFAULT = "default"

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_POSITION = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")


@dataclass(frozen=True)
class Setting:
    """One value and its place; ``line`` 0 means the default."""

    value: Value
    file: str = ""
    line: int = 0

    @property
    def where(self) -> str:
        return f"{self.file}:{self.line}" if self.line else DEFAULT


def read_text(text: str) -> dict[tuple[str, ...], Setting]:
    """Each value of the text by its path of names, in the order written.

    Raises SettingsProblem: no TOML, unknown key (with the nearest known one), or a value its key
    cannot take; always with the line.
    """
    tree = _parsed(text)
    lines = key_lines(text)
    found: dict[tuple[str, ...], Setting] = {}
    for path, value in _leaves(tree, ()):
        line = next((lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in lines), 0)
        checked = _checked(path, value, line)
        if checked is not None:
            found[path] = Setting(checked, SETTINGS_FILE, line)
    return found


def _parsed(text: str) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise SettingsProblem(f"{SETTINGS_FILE}: nested too deep", next_step="write one table per level") from error
    except ValueError as error:
        said = str(error)
        place = _POSITION.search(said)
        line = (int(place.group(1)) if place.group(1) else text.count("\n") + 1) if place else 0
        said = _POSITION.sub("", said)
        raise SettingsProblem(
            f"{SETTINGS_FILE}{f', line {line}' if line else ''}: not TOML: {said}",
            next_step='names with signs other than letters, digits, _ and - stand in quotes: "1/2" = "north"',
        ) from error


def _leaves(tree: Mapping[str, object], above: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], object]]:
    """Each value by its path; an empty table, and a table below a known key's depth, counts as a value."""
    for name, value in tree.items():
        path = (*above, name)
        table = table_of(path)
        full = path in KEY_BY_NAME or (table is not None and len(path) == len(table.name.split(".")) + table.depth)
        if isinstance(value, dict) and value and not full:
            yield from _leaves(value, path)
        else:
            yield path, value


def _checked(path: tuple[str, ...], value: object, line: int) -> Value | None:
    """The value as its key takes it, None for a table without entries."""
    key = KEY_BY_NAME.get(path)
    table = table_of(path)
    try:
        if key is not None:
            return key.kind(value)
        if table is not None:
            return _in_table(path, value, len(table.name.split(".")) + table.depth)
        if path in SECTIONS and value == {}:
            return None
        if path in SECTIONS:
            raise ValueFault(f"expected a table [{written(path)}]")
    except ValueFault as fault:
        raise problem(path, line, str(fault), "`sigaudit settings show` lists every key and its value") from fault
    names = [entry.name for entry in KEYS] + [entry.name for entry in TABLES] + [".".join(s) for s in SECTIONS]
    raise problem(
        path,
        line,
        f"unknown key{_nearest_key(path, names)}",
        f"known keys: {', '.join(entry.name for entry in KEYS)}; tables: {', '.join(t.name for t in TABLES)}",
    )


def _in_table(path: tuple[str, ...], value: object, depth: int) -> Value | None:
    table = table_of(path)
    assert table is not None
    if value == {} and len(path) < depth:
        return None
    if len(path) != depth or isinstance(value, dict):
        raise ValueFault(f"expected {table.form}")
    if table.name == "limits_by_type" and (fault := system_type_fault(path[1])):
        raise ValueFault(fault)
    return table.kind(value)


def _nearest_key(path: tuple[str, ...], names: list[str]) -> str:
    """The nearest known key: by full name, else one whose last name is the one written."""
    written = ".".join(path)
    if near := nearest(written, names):
        return f" (nearest: {near[0]})"
    last = {name.rsplit(".", 1)[-1]: name for name in names}
    near = nearest(path[-1], last)
    return f" (nearest: {last[near[0]]})" if near else ""


def problem(path: tuple[str, ...], line: int, what: str, next_step: str) -> SettingsProblem:
    return SettingsProblem(f"{SETTINGS_FILE}, line {line}: {written(path)}: {what}", next_step=next_step)


def written(path: tuple[str, ...]) -> str:
    """A key's path as TOML writes it."""
    return ".".join(name if _BARE.fullmatch(name) else f'"{name}"' for name in path)
