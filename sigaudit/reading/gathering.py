"""Records that run over several lines of a printed log: which lines belong together.

A record begins at a line that matches ``begins`` and takes as many of the following lines as one of the patterns
then matches, from the most to the fewest: a torn or strange line behind a record spoils nothing but itself. Lines
that say nothing (blank, or found by ``ignore``) may stand in between, as a page break does.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from sigaudit.reading import patterns

__all__ = ["Cut", "Gathered", "gather", "reach"]

_MOST_IDLE = 10  # house: footer, blank lines and header of a page break


class Cut(Protocol):
    """What says how records are cut; ``records.Dialect`` is one."""

    @property
    def begins(self) -> str: ...
    @property
    def most_lines(self) -> int: ...
    @property
    def patterns(self) -> tuple[str, ...]: ...
    @property
    def groups(self) -> tuple[str, ...]: ...
    @property
    def ignore(self) -> str: ...


class Gathered(NamedTuple):
    """A record: its first line (index), how many lines it takes, the texts of its groups."""

    first: int
    lines: int
    cells: list[str] | None


def gather(
    cut: Cut, lines: pa.Array, fault: Sequence[str], numbers: NDArray[np.int64], *, final: bool
) -> tuple[list[Gathered], int]:
    """The records among ``lines`` in order, and how many lines are settled: the others need what follows them.

    fault: '' for lines that are text; numbers: of the lines, a record takes only such as follow one another.
    final: nothing follows. A beginning that no pattern completes is a record of
    one line without cells.
    """
    tidy = pc.utf8_trim(lines, patterns.BLANKS)
    texts = tidy.to_pylist()
    n = len(texts)
    begins = pc.match_substring_regex(tidy, cut.begins).to_numpy(zero_copy_only=False)
    idle = pc.equal(tidy, "").to_numpy(zero_copy_only=False)
    if cut.ignore:
        idle = idle | pc.match_substring_regex(tidy, cut.ignore).to_numpy(zero_copy_only=False)
    sound = np.array([not one for one in fault], dtype=bool) if len(fault) else np.ones(n, dtype=bool)
    starts = np.flatnonzero(begins & sound).tolist()
    settled = n
    if not final and starts and starts[-1] + reach(cut) > n:
        settled = starts.pop()
    # Where each run of lines that follow one another ends.
    breaks = np.flatnonzero(np.diff(numbers) != 1) + 1
    runs = np.append(breaks, n)[np.searchsorted(breaks, starts, side="right")].tolist()
    ends = [min(end, run) for end, run in zip([*starts[1:], settled], runs, strict=False)]
    ways = [
        _ways(first, min(end, first + reach(cut)), texts, idle, sound)[-cut.most_lines :]
        for first, end in zip(starts, ends, strict=True)
    ]
    return _longest(cut, starts, ways), settled


def reach(cut: Cut) -> int:
    """How many lines a record can run over, with those between that say nothing."""
    return cut.most_lines + _MOST_IDLE


def _ways(first: int, end: int, texts: Sequence[str], idle: np.ndarray, sound: np.ndarray) -> list[tuple[int, str]]:
    """(lines taken, text) of everything the record at ``first`` could be, the longest first."""
    found: list[tuple[int, str]] = []
    parts: list[str] = []
    for i in range(first, end):
        if not sound[i]:
            break
        if i > first and idle[i]:
            continue
        parts.append(texts[i])
        found.append((i - first + 1, "\n".join(parts)))
    return found[::-1]


def _longest(cut: Cut, starts: Sequence[int], ways: Sequence[list[tuple[int, str]]]) -> list[Gathered]:
    """For each start the longest way that a pattern matches; all starts at once, length by length."""
    answers: list[Gathered] = [Gathered(first, 1, None) for first in starts]
    open_ = list(range(len(starts)))
    turn = 0
    while open_:
        open_ = [at for at in open_ if turn < len(ways[at])]
        candidates = pa.array([ways[at][turn][1] for at in open_], pa.string())
        cells = patterns.cells_of(cut.patterns, cut.groups, candidates).to_pylist() if open_ else []
        still = []
        for at, found in zip(open_, cells, strict=True):
            if found is None:
                still.append(at)
            else:
                answers[at] = Gathered(starts[at], ways[at][turn][0], found)
        open_, turn = still, turn + 1
    return answers
