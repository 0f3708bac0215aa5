"""Regular expressions of layouts: checked once, matched by RE2, so that no line takes longer than its length allows.

RE2 knows neither look-around nor back-references; a layout that asks for them is refused when it is read.
Python's own ``re`` never sees a pattern of a layout.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.store.engine_duckdb import literal

__all__ = ["BLANKS", "BadPattern", "any_of", "cells_of", "cut_sql", "group_names", "listed", "searched", "whole"]

BLANKS = " \t\v\f\r"  # at either end of a line they are no part of it


class BadPattern(Exception):
    """Why a text is no pattern for lines; never leaves the reading wing."""


def group_names(pattern: str) -> tuple[str, ...]:
    """Names of the groups, in their order. Raises BadPattern, also for groups that have no name or the same one."""
    _check(pattern)
    try:
        names = [field.name for field in pc.extract_regex(pa.array([""]), pattern=pattern).type]
    except pa.ArrowInvalid as error:
        if "unnamed" in str(error):
            raise BadPattern("every group needs a name, (?P<name>...), or is written (?:...)") from error
        raise BadPattern(_short(error)) from error
    folded = [name.casefold() for name in names]
    doubled = sorted({name for name in folded if folded.count(name) > 1})
    if doubled:
        raise BadPattern(f"two groups are called {doubled[0]}")
    return tuple(names)


def any_of(patterns: Sequence[str]) -> str:
    """One pattern that is found where any of these is; '' for none. Raises BadPattern."""
    for pattern in patterns:
        _check(pattern)
    return "|".join(f"(?:{pattern})" for pattern in patterns)


def searched(pattern: str, lines: Sequence[str]) -> list[bool]:
    """In which lines the pattern is found anywhere."""
    found: list[bool] = pc.match_substring_regex(pa.array(lines, pa.string()), pattern).to_pylist()
    return found


def whole(pattern: str, lines: Sequence[str]) -> list[bool]:
    """Which lines are all of them what the pattern says."""
    return searched(_whole(pattern), lines)


def cut_sql(patterns: Sequence[str], groups: Sequence[str], text: str) -> str:
    """SQL of a struct: g0 the whole line or '' where no pattern matches, then g1, g2 ... the groups.

    The first pattern that matches cuts the line; a group it does not have is ''.
    """
    cuts = [_extract(pattern, groups, text) for pattern in patterns]
    if len(cuts) == 1:
        return cuts[0]
    # Matching costs less than cutting, so only the pattern that matches cuts.
    cases = " ".join(
        f"when regexp_full_match({text}, {literal(_whole(pattern))}) then {cut}"
        for pattern, cut in zip(patterns[:-1], cuts[:-1], strict=True)
    )
    return f"case {cases} else {cuts[-1]} end"


def _extract(pattern: str, groups: Sequence[str], text: str) -> str:
    mine = [name.casefold() for name in group_names(pattern)]
    names = ", ".join(literal(f"g{i}") for i in range(len(mine) + 1))
    cut = f"regexp_extract({text}, {literal(_whole(pattern))}, [{names}])"
    folded = [name.casefold() for name in groups]
    if mine == folded:
        return cut
    places = [mine.index(name) + 1 if name in mine else 0 for name in folded]
    parts = ", ".join(f"g{i} := " + (f"m.g{at}" if at else "''") for i, at in enumerate(places, start=1))
    # Packed anew, so that every pattern gives the same groups in the same places.
    return f"list_transform([{cut}], lambda m: struct_pack(g0 := m.g0, {parts}))[1]"


def cells_of(patterns: Sequence[str], groups: Sequence[str], records: pa.Array) -> pa.Array:
    """Lists of the groups' texts for records of text; null where no pattern matches the whole record."""
    width, n = len(groups), len(records)
    folded = [name.casefold() for name in groups]
    empty = pa.array([""] * n, pa.string())
    columns, matched = [empty] * width, pa.array([False] * n, pa.bool_())
    for pattern in patterns:
        found = pc.extract_regex(records, pattern=rf"\A(?:{pattern})\z")
        fresh = pc.and_(pc.is_valid(found), pc.invert(matched))
        for i in range(found.type.num_fields):
            at = folded.index(found.type.field(i).name.casefold())
            columns[at] = pc.if_else(fresh, found.field(i), columns[at])
        matched = pc.or_(matched, fresh)
    return listed(columns, matched)


def listed(columns: Sequence[pa.Array], valid: pa.Array) -> pa.Array:
    """Columns of equal length side by side: one list per row, null where not valid."""
    width, n = len(columns), len(valid)
    flat = pa.concat_arrays([column.cast(pa.string()) for column in columns])
    order = np.arange(width * n, dtype=np.int64).reshape(width, n).T.ravel()
    offsets = pa.array(np.arange(0, width * n + 1, width, dtype=np.int32))
    lists = pa.ListArray.from_arrays(offsets, flat.take(pa.array(order)))
    return pc.if_else(valid, lists, pa.scalar(None, lists.type))


def _whole(pattern: str) -> str:
    return rf"\A({pattern})\z"


def _check(pattern: str) -> None:
    if not pattern or set(pattern) & set("\0\r\n"):
        raise BadPattern("it must be one line of text")
    try:
        # In the brackets in which it will stand: an open \Q would swallow the closing one.
        pc.match_substring_regex(pa.array([""]), f"(?:{pattern})")
        pc.match_substring_regex(pa.array([""]), pattern)
    except pa.ArrowInvalid as error:
        raise BadPattern(_short(error)) from error


def _short(error: pa.ArrowInvalid) -> str:
    return str(error).removeprefix("Invalid regular expression: ").splitlines()[0]
