"""Spans of time as a person writes them: ``24h``, ``90s``, ``5min``, ``1.5d``."""

from __future__ import annotations

import re

from sigaudit.errors import InputProblem

_INTERVAL = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,6})?) ?(s|min|h|d)")
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
_LONGEST_S = 3660 * 86400.0  # ten years (house): longer than any interval at which something is due

INTERVAL_FORM = "expected <number><s|min|h|d>, such as 24h, 90s or 5min"


def interval_seconds(text: str) -> float:
    """Length in seconds of a written interval; always above 0.

    Raises InputProblem with the expected form.
    """
    found = _INTERVAL.fullmatch(text.strip())
    seconds = float(found.group(1)) * _SECONDS[found.group(2)] if found else 0.0
    if not 0.0 < seconds <= _LONGEST_S:
        raise InputProblem(f"{text!r}: {INTERVAL_FORM}", next_step="write the number, then the unit")
    return seconds
