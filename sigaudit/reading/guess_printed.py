"""The layout drafted for a log of fixed text, frames or messages: its pattern, tried on the lines themselves."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.reading import guess_pattern_toml
from sigaudit.reading.guess_delimited import Samples, few, unclear
from sigaudit.reading.guess_inside import HEADED, Inside, clock_of, inside_of
from sigaudit.reading.guess_pattern import Found, timed, understood
from sigaudit.reading.guess_regex import line_pattern, masked
from sigaudit.reading.patterns import BLANKS, searched, whole

__all__ = ["PrintedDraft", "printed"]

_MOST_LINES = 4000  # house: more lines do not change what a part looks like
_LEAST_TIMED = 0.3  # of the lines
_MOST_IGNORED = 12
_FIRST = 200  # lines by which a layout is recognised


@dataclass(frozen=True)
class PrintedDraft:
    """kind: pattern, dc09 or contact_id; line: the pattern; time: groups; year: '' or the constant before them.

    ignore: patterns of lines that say nothing; words: words for events -> lines; share: of the first lines that fit.
    """

    kind: str
    line: str
    time: tuple[str, ...]
    year: str
    form: str
    style: str
    qualifiers: Mapping[str, str]
    constants: Mapping[str, str]
    ignore: tuple[str, ...]
    words: Mapping[str, int]
    share: float
    doubts: list[str]

    def toml(self, identity: str, encodings: Sequence[str], timezone: str, samples: Samples) -> str:
        """The layout as a file."""
        return guess_pattern_toml.written(self, identity, encodings, timezone, samples)


def printed(text: str, year: str) -> PrintedDraft | str:
    """The draft, or what is missing: time, account, event, date (the lines have a clock alone), envelope (frames

    without their CRC) or pattern (none takes the lines apart). year: taken where times have none and no line names one.
    """
    # Blanks in front keep a printer's columns in their places until these are found.
    placed = [line.rstrip(BLANKS).lstrip("\v\f\r") for line in text.split("\n")[: 2 * _MOST_LINES]]
    placed = [line for line in placed if line][:_MOST_LINES]
    lines = [line.strip(BLANKS) for line in placed]
    inside = inside_of(lines)
    cut = timed(placed, inside)
    if inside.token == "F" and sum(HEADED.search(line) is not None for line in lines) < 0.5 * len(cut):
        return "envelope"
    if len(cut) < max(2, _LEAST_TIMED * len(lines)):
        return "time"
    yearless = any(token.kind == "Y" for one in cut.values() for token in one)
    named = Counter(y for at, line in enumerate(lines) if at not in cut for y in re.findall(r"\b(20\d\d)\b", line))
    year = (named.most_common(1)[0][0] if named else year) if yearless else ""
    for in_columns in (True, False):
        found = understood(placed, cut, inside, year, in_columns=in_columns)
        if isinstance(found, str):
            return found
        groups = _groups(found, inside)
        if len(set(groups.values())) < len(groups):
            continue
        pattern = line_pattern(found.parts, groups, len(found.lines))
        if any("\t" in lines[at] for at in found.lines):
            pattern = pattern.replace(" ", r"\s")  # every blank of it stands where a tab may stand
        held = [lines[at] for at in found.lines]
        if _unlike(pattern, held, found, groups) <= 0.01 * len(held):
            break
    else:
        return "pattern"
    ignore, doubts = _others(lines, cut, found, pattern)
    event = found.event
    style = event.style if event else "sia_blocks" if inside.token == "B" else ""
    doubts = [
        *unclear(found.time.forms), *_year(year, bool(named), found), *_clock(found, inside), *_letters(found),
        *found.doubts, *doubts, *few(len(held)),
    ]  # fmt: skip
    return PrintedDraft(
        kind=inside.kind,
        line=pattern,
        time=tuple(groups[n] for n in found.time.columns),
        year=year,
        form=found.time.forms[0],
        style=style,
        qualifiers=event.qualifiers if event else {},
        constants={"format": "sia"} if style == "sia" else {},
        ignore=tuple(ignore),
        words=found.words,
        share=_share(pattern, ignore, lines),
        doubts=doubts,
    )


def _groups(found: Found, inside: Inside) -> dict[int, str]:
    """Part -> the name of its group."""
    which = found.time.columns
    groups = dict(zip(which, ("received_at",) if len(which) == 1 else ("date", "time"), strict=True))
    groups |= {n: name for name, n in (found.event.columns if found.event else {}).items()}
    groups |= {n: name for name, n in found.fields.items()}
    if inside.token:
        # Lines run together may hold several; the one that most lines have is meant.
        holding = [n for n, part in enumerate(found.parts) if part.kind == inside.token]
        groups |= dict.fromkeys(sorted(holding, key=lambda n: -len(found.parts[n].cells))[:1], inside.group)
    return groups


def _unlike(pattern: str, held: Sequence[str], found: Found, groups: Mapping[int, str]) -> int:
    """How many lines the pattern does not match, or takes apart in another way than was found."""
    cut = pc.extract_regex(pa.array(held, pa.string()), pattern=rf"\A(?:{pattern})\z").to_pylist()
    wrong = 0
    for at, seen in zip(found.lines, cut, strict=True):
        wanted = {name: found.parts[n].cells.get(at) for n, name in groups.items()}
        wrong += seen is None or any(
            (seen[name] or "").strip() != (token.text if token else "") for name, token in wanted.items()
        )
    return wrong


def _others(lines: Sequence[str], cut: Mapping[int, object], found: Found, pattern: str) -> tuple[list[str], list[str]]:
    """Patterns of the lines that say nothing, and sentences on the lines that do not fit."""
    fits = whole(pattern, lines)
    left = [at for at, fit in enumerate(fits) if not fit]
    first = next((at for at, fit in enumerate(fits) if fit), 0)
    shapes: dict[str, list[int]] = {}
    for at in left:
        if at not in cut:
            shapes.setdefault(masked(lines[at]), []).append(at)
    ignore = [f"^{shape}$" for shape, where in shapes.items() if len(where) > 1 or where[0] < first]
    ignore = [shape for shape in ignore if not set(shape) & set("\0\ufffd") and len(shape) < 300][:_MOST_IGNORED]
    doubts = []
    ignored = searched("|".join(f"(?:{shape})" for shape in ignore), lines) if ignore else [False] * len(lines)
    if ignore:
        told = _shown([lines[where[0]] for shape, where in shapes.items() if f"^{shape}$" in ignore])
        doubts.append(f"{sum(ignored)} lines say nothing of a site and are passed over, such as {told}.")
    odd = [lines[at] for at in left if not ignored[at]]
    if odd:
        doubts.append(f"{len(odd)} lines do not fit and would be refused, such as {_shown(odd)}.")
    return ignore, doubts


def _shown(lines: Sequence[str]) -> str:
    """Two of the lines, the one with most letters first."""
    some = sorted(lines, key=lambda line: -sum(c.isalnum() for c in line))[:2]
    return " and ".join(repr(line[:60]) for line in some)


def _year(year: str, named: bool, found: Found) -> list[str]:
    if not year:
        return []
    source = "as another line of the log says" if named else "that of the file's date"
    doubts = [
        f"The times have no year: {year} is taken, {source}, and stands in the layout; next year's logs need another."
    ]
    months = {one.month for one in found.read.values()}
    if {1, 12} <= months:
        doubts.append("The log runs over the end of a year: one layout cannot read both years.")
    return doubts


def _letters(found: Found) -> list[str]:
    """A sentence where a letter stands glued to every account: it may be part of it."""
    n = found.fields.get("account", 0)
    before = found.parts[n - 1].fixed if n else ""
    glued = n and all(token.lead == 0 for token in found.parts[n].cells.values())
    if not glued or len(before) > 2 or not before.isalpha():
        return []
    return [f"{before!r} in front of every account is left out of it; if it belongs to it, see account.prefix."]


def _clock(found: Found, inside: Inside) -> list[str]:
    if inside.token != "F":
        return []
    frames = next(part.cells for part in found.parts if part.kind == "F")
    said = clock_of(frames, found.read)
    return [said] if said else []


def _share(pattern: str, ignore: Sequence[str], lines: Sequence[str]) -> float:
    """Of the first lines that say something, the share that fits."""
    first = lines[:_FIRST]
    fits = whole(pattern, first)
    ignored = searched("|".join(f"(?:{one})" for one in ignore), first) if ignore else [False] * len(first)
    telling = sum(fit or not skip for fit, skip in zip(fits, ignored, strict=True))
    return sum(fits) / max(1, telling)
