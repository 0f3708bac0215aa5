"""The lines of a log laid over one another: which of their parts are the same thing, and which some lines leave out.

Lines of one shape have the same tokens in the same order. The shapes are laid over the commonest one, part by
part; what a shape has not is optional. Where a printer keeps to columns with empty places, each column is
laid over by itself. Thresholds are house.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sigaudit.reading.guess_tokens import Token

__all__ = ["Part", "laid_over"]

_LEAST_SHARE, _LEAST_LINES = 0.015, 2  # of a shape
_ENOUGH = 0.95  # of the lines that must have a common shape
_MOST_SHAPES = 60
_MOST_TOKENS = 80  # what stands behind them is free text


@dataclass
class Part:
    """One place of the lines. kind: a token's, or X for free text to the end of the line.

    cells: line -> token; fixed: text that is the same wherever it stands, '' where the values differ;
    place: the columns of characters in which a printer keeps it, None where it keeps to none.
    """

    kind: str
    cells: dict[int, Token] = field(default_factory=dict)
    fixed: str = ""
    place: tuple[int, int] | None = None

    def values(self) -> list[str]:
        return [token.text for token in self.cells.values()]


def laid_over(lines: Sequence[str], cut: Mapping[int, list[Token]], *, in_columns: bool) -> list[Part]:
    """The parts in their order. cut: line -> its tokens; lines without a common shape are in no part.

    in_columns: columns of characters are looked for first.
    """
    columns = _columns(lines, cut) if in_columns else []
    if not columns:
        return _merged(lines, cut)
    found = []
    for first, after in columns:
        inside = {at: [t for t in one if first <= t.start < after] for at, one in cut.items()}
        parts = _merged(lines, {at: one for at, one in inside.items() if one})
        for part in parts:
            part.place = (first, after)
        found += parts
    return found


def _columns(lines: Sequence[str], cut: Mapping[int, list[Token]]) -> list[tuple[int, int]]:
    """Columns of characters with nothing between them, where some of them are empty on some lines; else none."""
    width = max((len(lines[at]) for at in cut), default=0)
    if width > 400:
        return []
    filled = [0] * (width + 1)
    for one in cut.values():
        for token in one:
            for i in range(token.start, token.end):
                filled[i] += 1
    few = 0.004 * len(cut)
    found: list[tuple[int, int]] = []
    begin = None
    for i in range(width + 1):
        if filled[i] > few and begin is None:
            begin = i
        elif filled[i] <= few and begin is not None:
            found.append((begin, i))
            begin = None
    bounds = [(first, found[n + 1][0] if n + 1 < len(found) else width) for n, (first, _) in enumerate(found)]
    holds = [{at for at, one in cut.items() if any(a <= t.start < b for t in one)} for a, b in bounds]
    last = {at: max((n for n, held in enumerate(holds) if at in held), default=0) for at in cut}
    # A gap in front of a later column: without columns nobody could say which of two is missing.
    gaps = [n for n, held in enumerate(holds) if sum(at not in held and last[at] > n for at in cut) > 2 * few + 1]
    return found if len(found) >= 4 and gaps else []


def _merged(lines: Sequence[str], cut: Mapping[int, list[Token]]) -> list[Part]:
    shapes: Counter[tuple[str, ...]] = Counter()
    lined: dict[tuple[str, ...], dict[int, list[Token]]] = {}
    for at, one in _alike(lines, cut).items():
        shape = tuple(token.mark for token in one)
        shapes[shape] += 1
        lined.setdefault(shape, {})[at] = one
    parts: list[Part] = []
    for shape, _ in shapes.most_common(_MOST_SHAPES):
        parts = _over(parts, _parts(lined[shape]))
    return parts


def _alike(lines: Sequence[str], cut: Mapping[int, list[Token]]) -> dict[int, list[Token]]:
    """The lines of common shapes, where it must be with the rest of the line as one free text."""
    longest = min(_MOST_TOKENS, max((len(one) for one in cut.values()), default=0))
    least = max(_LEAST_LINES, _LEAST_SHARE * len(cut))
    best: dict[int, list[Token]] = {}
    for most in range(longest, 0, -1):
        shortened = {at: _short(lines[at], one, most) for at, one in cut.items()}
        counted = Counter(tuple(token.mark for token in one) for one in shortened.values())
        held = {at: one for at, one in shortened.items() if counted[tuple(token.mark for token in one)] >= least}
        if len(held) > len(best) + 0.02 * len(cut):
            best = held
        if len(best) >= _ENOUGH * len(cut):
            break
    return best or dict(cut)


def _short(line: str, one: list[Token], most: int) -> list[Token]:
    if len(one) <= most:
        return one
    begin = one[most].start
    text = line[begin:].rstrip()
    return [*one[:most], Token("X", text, begin, begin + len(text))]


def _parts(lined: Mapping[int, list[Token]]) -> list[Part]:
    first = next(iter(lined.values()))
    return [
        Part(token.kind, {at: one[n] for at, one in lined.items()}, token.text if token.kind in "LP" else "")
        for n, token in enumerate(first)
    ]


def _over(known: list[Part], new: list[Part]) -> list[Part]:
    """Two lists of parts as one, the same things together (alignment with the best sum of likenesses)."""
    if not known:
        return new
    rows, cols = len(known) + 1, len(new) + 1
    score = [[0.0] * cols for _ in range(rows)]
    step = [[""] * cols for _ in range(rows)]
    for i in range(rows):
        for j in range(cols):
            options = []
            if i:
                options.append((score[i - 1][j] - 0.3, "up"))
            if j:
                options.append((score[i][j - 1] - 0.3, "left"))
            if i and j:
                options.append((score[i - 1][j - 1] + _likeness(known[i - 1], new[j - 1]), "both"))
            score[i][j], step[i][j] = max(options, default=(0.0, ""))
    found: list[Part] = []
    i, j = len(known), len(new)
    while i or j:
        match step[i][j]:
            case "both":
                known[i - 1].cells |= new[j - 1].cells
                known[i - 1].kind = new[j - 1].kind if known[i - 1].kind == "W" else known[i - 1].kind
                found.append(known[i - 1])
                i, j = i - 1, j - 1
            case "up":
                found.append(known[i - 1])
                i -= 1
            case _:
                found.append(new[j - 1])
                j -= 1
    return found[::-1]


def _likeness(one: Part, other: Part) -> float:
    if one.kind != other.kind or one.fixed != other.fixed:
        # Words at the end of some lines are free text at the end of others.
        return 0.2 if {one.kind, other.kind} == {"W", "X"} else -9.0
    if one.kind in "LTDCYFMB":
        return 4.0
    if one.kind == "P":
        return 2.0
    a, b = one.values(), other.values()
    width = _usual(len(v) for v in a) == _usual(len(v) for v in b)
    start = _usual(t.start for t in one.cells.values()) == _usual(t.start for t in other.cells.values())
    shared = bool(set(a) & set(b))
    lead = _usual(t.lead for t in one.cells.values()) == _usual(t.lead for t in other.cells.values())
    lettered = _usual(v[:1].isalpha() for v in a) == _usual(v[:1].isalpha() for v in b)
    return 0.5 + 0.5 * width + 0.5 * start + 0.7 * shared + 0.6 * lead + (0.4 if lettered else -1.5)


def _usual(values: object) -> object:
    return Counter(values).most_common(1)[0][0]  # type: ignore[call-overload]
