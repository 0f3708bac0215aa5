"""The only writer to the terminal: answers on stdout, everything else on stderr, errors as exit codes."""

from __future__ import annotations

import json
import math
import os
import sys
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, NoReturn

from sigaudit.errors import RosterFaulty, SigauditError


def out(text: str) -> None:
    """One answer line."""
    sys.stdout.write(text + "\n")


def note(text: str) -> None:
    """One line beside the answer: sums, warnings, where a report lies."""
    sys.stderr.write(visible(text) + "\n")


def visible(text: str, width: int = 0) -> str:
    """Text of a log or a file's name for a terminal, which must not obey its control characters: they are written out.

    width: more characters than that are left out, and said to be; 0 = all.
    """
    shown = text[:width] if width else text
    written = "".join(ch if ch.isprintable() else f"\\x{ord(ch):02x}" for ch in shown)
    return written + (f" ... ({len(text) - width} more)" if width and len(text) > width else "")


def document(name: str, content: Mapping[str, Any]) -> None:
    """A versioned JSON document; the same on every machine and locale."""
    told = _finite({"document": name, "version": 1, **content})
    out(json.dumps(told, indent=2, ensure_ascii=False, allow_nan=False, default=_plain))


def table(rows: Sequence[Mapping[str, Any]], columns: Sequence[str] | None = None) -> None:
    """Rows as aligned columns; nothing at all for no rows."""
    if not rows:
        return
    columns = columns or list(rows[0])
    cells = [[_cell(row.get(name)) for name in columns] for row in rows]
    widths = [max(len(name), *(len(line[i]) for line in cells)) for i, name in enumerate(columns)]
    for line in [list(columns), *cells]:
        out("  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip())


def fail(error: SigauditError, *, debug: bool = False) -> NoReturn:
    """What is wrong, where, and what to do next; then the error's own exit code."""
    note(f"error[{error.code}]: {error.message}")
    if isinstance(error, RosterFaulty):
        for fault in error.faults:
            note(f"  {fault}")
    if error.next_step:
        note(f"  next: {error.next_step}")
    if debug:
        raise error
    raise SystemExit(error.exit_code)


class Drawn:
    """Progress on a terminal: one line on stderr, redrawn; silent where stderr is no terminal."""

    def __init__(self) -> None:
        self.shown = sys.stderr.isatty() and not os.environ.get("SIGAUDIT_QUIET")
        self.total = 0
        self.reached = 0
        self.stage = ""

    def start(self, what: str, total: int = 0) -> None:
        self.stage, self.total, self.reached = what, total, 0
        self._draw()

    def step(self, amount: int = 1) -> None:
        self.reached += amount
        self._draw()

    def done(self) -> None:
        if self.shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()

    def _draw(self) -> None:
        if self.shown:
            share = f" {100 * self.reached // self.total} %" if self.total else ""
            sys.stderr.write(f"\r\x1b[K{self.stage}{share}")
            sys.stderr.flush()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M:%S")
    if isinstance(value, float):
        return f"{value:.2f}".rstrip("0").rstrip(".")
    return visible(str(value))


def _finite(value: Any) -> Any:
    """The same with null for numbers that JSON does not have (RFC 8259, section 6)."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _finite(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(inner) for inner in value]
    return value


def _plain(value: Any) -> Any:
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, bytes):
        return value.decode("utf-8", "backslashreplace")
    return str(value)
