"""A file of the cause model as text: its tables, its numbers, and the line of each for error messages."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sigaudit.errors import CheckFaulty
from sigaudit.known_names import did_you_mean, listed

__all__ = ["MEND", "CauseFile", "Number"]

MEND = 'mend the file; every number is written [0.85, "practice"]'


@dataclass(frozen=True)
class Number:
    """A probability with the short word of its standing and the place it comes from."""

    value: float
    standing: str
    where: str


class CauseFile:
    """A TOML file with the lines of what stands in it, for error messages."""

    def __init__(self, path: Path) -> None:
        self.name = path.name
        try:
            self.text = path.read_text(encoding="utf-8")
            self.tree: dict[str, Any] = tomllib.loads(self.text)
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise CheckFaulty(f"{path}: cannot be read as TOML: {error}", next_step="mend the file") from error
        self._lines = self.text.splitlines()
        self._begins = [i for i, line in enumerate(self._lines) if re.match(r"\s*\[", line)] + [len(self._lines)]
        self._blocks = [i for i, line in enumerate(self._lines) if re.match(r"\s*\[\[cause\]\]", line)]

    def line(self, key: str, block: int | str) -> int:
        """1-based line of a key within the n-th [[cause]] or the table of a name; of the block where it is not there.

        Found by the words, not by the grammar: a message needs no more.
        """
        if isinstance(block, int):
            first = self._blocks[block] if block < len(self._blocks) else 0
        else:
            wanted = re.compile(rf"\s*\[{re.escape(block)}\]")
            first = next((i for i, line in enumerate(self._lines) if wanted.match(line)), 0)
        last = next((i for i in self._begins if i > first), len(self._lines))
        word = re.compile(rf"(?<![\w-])[\"']?{re.escape(key)}[\"']?\s*=")
        return next((i for i in range(first, last) if word.search(self._lines[i])), first) + 1

    def fault(self, key: str, block: int | str, said: str, next_step: str = MEND) -> CheckFaulty:
        return CheckFaulty(f"{self.name}, line {self.line(key, block)}: {said}", next_step=next_step)

    def number(
        self, raw: object, key: str, block: int | str, standings: Mapping[str, str], *, least: float, most: float,
        standing: str = "",
    ) -> Number:  # fmt: skip
        """A number with its standing, ``[0.85, "practice"]``; the plain number where ``standing`` is known."""
        value, said = raw if isinstance(raw, list) and len(raw) == 2 else (raw, standing)
        if isinstance(value, bool) or not isinstance(value, int | float) or not isinstance(said, str) or not said:
            raise self.fault(key, block, f"{key} = {raw!r}: expected a number and its standing")
        if said not in standings:
            known = f"{did_you_mean(said, standings)}; known: {listed(standings)}"
            raise self.fault(key, block, f"{key}: no standing {said!r}{known}")
        if not least <= value <= most:
            raise self.fault(key, block, f"{key} = {value}: expected {least} to {most}")
        return Number(float(value), said, f"{self.name}:{self.line(key, block)}")

    def table(self, name: str) -> dict[str, Any]:
        found = self.tree.get(name, {})
        if not isinstance(found, dict):
            raise self.fault(name, name, f"{name} must be a table")
        return found

    def causes(self) -> list[dict[str, Any]]:
        found = self.tree.get("cause", [])
        if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
            raise CheckFaulty(f"{self.name}: cause must be written [[cause]], one for each", next_step=MEND)
        return found
