"""The regular expression of a log's lines, made from its parts and the fields that they feed."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sigaudit.reading.guess_shapes import Part

__all__ = ["escaped", "line_pattern", "masked"]

_SPECIAL = re.compile(r"[\\.^$*+?()\[\]{}|]")
_MESSAGE = "[0-9A-F]{4} ?[0-9A-F]{2} ?[0-9A-F]{4} ?[0-9A-F]{2} ?[0-9A-F]{3} ?[0-9A-F]"
_FRAME = r".+\](?:_[0-9:,-]+)?"


def escaped(text: str) -> str:
    """A text as a pattern of itself; blanks may be more."""
    return re.sub(r"[ \t]+", " +", _SPECIAL.sub(lambda found: "\\" + found[0], text))


def masked(text: str) -> str:
    r"""A text as a pattern of its kind: numbers may differ."""
    return re.sub(r"\d+", lambda _: r"\d+", escaped(text))


def line_pattern(parts: Sequence[Part], named: Mapping[int, str], count: int) -> str:
    """The pattern of whole lines. named: part -> group; count: lines that have any part."""
    bodies = [_body(part, n == len(parts) - 1) for n, part in enumerate(parts)]
    bodies = [f"(?P<{named[n]}>{body})" if n in named else body for n, body in enumerate(bodies)]
    if parts[0].place is not None:
        return _in_places(parts, bodies, named, count)
    return _one_after_other(parts, bodies, count)


def _one_after_other(parts: Sequence[Part], bodies: Sequence[str], count: int) -> str:
    gaps = _gaps(parts)
    out, n = "", 0
    while n < len(parts):
        same = n + 1
        while same < len(parts) and parts[same].cells.keys() == parts[n].cells.keys():
            same += 1
        if len(parts[n].cells) >= count:
            same = n + 1
        block = "".join(gaps[i] + bodies[i] for i in range(n, same))
        out += block if len(parts[n].cells) >= count else f"(?:{block})?"
        n = same
    return out


def _gaps(parts: Sequence[Part]) -> list[str]:
    """What stands before each part: nothing, one blank, some blanks, perhaps some."""
    found: list[set[int]] = [set() for _ in parts]
    ends: dict[int, int] = {}
    for n, part in enumerate(parts):
        for at, token in part.cells.items():
            # What stands before a line's first part is no part of the line.
            found[n].add(token.start - ends[at] if at in ends else 0)
            ends[at] = token.end
    return [_blanks(min(one, default=0), max(one, default=0)) for one in found]


def _blanks(least: int, most: int) -> str:
    if most == 0:
        return ""
    return " *" if least == 0 else " " if least == most == 1 else " +"


def _body(part: Part, last: bool) -> str:
    """What one part looks like."""
    if part.fixed:
        return escaped(part.fixed)
    values = part.values()
    match part.kind:
        case "F":
            return ".+" if last else _FRAME
        case "B":
            return r"#[0-9A-Fa-f]+\|[^\]]*"
        case "M":
            return _MESSAGE
        case "X":
            return r"\S.*"
        case "W":
            letter = "[A-Za-z]" if all(value.isascii() for value in values) else r"\pL"
            return rf"{letter}+(?:[ \x27/.&-]+{letter}+)*"
        case "V":
            if all(value.isdecimal() for value in values):
                return r"\d+"
            return "[0-9A-Za-z]+"
    masks = sorted({re.sub("[A-Za-z]+", "[A-Za-z]+", re.sub(r"\d+", "0", value)) for value in values})
    shapes = [re.sub(" +", " +", re.sub(r"0", lambda _: r"\d+", re.sub(r"[.+]", r"\\\g<0>", one))) for one in masks]
    return shapes[0].replace(r"[A-Za-z]\+", "[A-Za-z]+") if len(shapes) == 1 else r"\S+(?: +\S+){0,3}"


@dataclass
class _Place:
    """One column of characters: its pattern, where it begins and ends, whether some lines leave it empty."""

    body: str
    first: int
    after: int
    always: bool


def _in_places(parts: Sequence[Part], bodies: Sequence[str], named: Mapping[int, str], count: int) -> str:
    """Columns of characters: by their width, since some are empty."""
    places: list[_Place] = []
    for first, after in dict.fromkeys(part.place for part in parts if part.place):
        inside = [n for n, part in enumerate(parts) if part.place == (first, after)]
        held = set().union(*(parts[n].cells.keys() for n in inside))
        places.append(_Place(_place_body(parts, bodies, named, inside, len(held)), first, after, len(held) >= count))
    must = max((n for n, place in enumerate(places) if place.always), default=0)
    out = ""
    for n in range(len(places) - 1, -1, -1):
        place = places[n]
        # The first column may be missing, with all blanks in front of the second.
        led = n > 1 or (n == 1 and places[0].always)
        gap = _exact(place.first - places[n - 1].after) if led else ""
        width = place.after - place.first
        if n == len(places) - 1:
            out = f"{gap}{place.body}" if place.always else f"(?:{gap}{place.body})?"
        elif n > must:
            out = f"(?:{gap}(?:{place.body} *|{_exact(width)}){out})?"
        elif n == 0 and not place.always:
            out = f"(?:{place.body} *)?{out}"
        else:
            empty = "" if place.always else f"|{_exact(width)}"
            out = f"{gap}(?:{place.body}{empty}){out}" if empty else f"{gap}{place.body}{out}"
    return out


def _place_body(
    parts: Sequence[Part], bodies: Sequence[str], named: Mapping[int, str], inside: Sequence[int],
    held: int,
) -> str:  # fmt: skip
    """What stands in one column: values of the same width by their kind, others by the column's width."""
    first, after = parts[inside[0]].place or (0, 0)
    if len(inside) > 1:
        some = [parts[n] for n in inside]
        body = _one_after_other(some, [bodies[n] for n in inside], held)
        starts = {min(p.cells[at].start for p in some if at in p.cells) for at in set().union(*(p.cells for p in some))}
        ends = {max(p.cells[at].end for p in some if at in p.cells) for at in set().union(*(p.cells for p in some))}
        return (" *" if starts != {first} else "") + body + (" *" if ends != {after} else "")
    part, n = parts[inside[0]], inside[0]
    tokens = part.cells.values()
    if {t.start for t in tokens} == {first} and ({t.end for t in tokens} == {after} or n == len(parts) - 1):
        return bodies[n]
    name = f"?P<{named[n]}>" if n in named else "?:"
    if n == len(parts) - 1:
        return f"({name}.*)"
    letters = r"[\d ]" if part.kind == "V" and all(v.isdecimal() for v in part.values()) else "."
    return f"({name}{letters}{{{after - first}}})"


def _exact(n: int) -> str:
    return "" if n <= 0 else " " if n == 1 else f" {{{n}}}"
