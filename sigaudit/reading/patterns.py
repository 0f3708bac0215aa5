"""Regular expressions of layouts: checked once, matched by RE2, so that no line takes longer than its length allows.

RE2 knows neither look-around nor back-references; a layout that asks for them is refused when it is read.
Python's own ``re`` never sees a pattern of a layout.
"""

from __future__ import annotations

from collections.abc import Sequence

import pyarrow as pa
import pyarrow.compute as pc

from sigaudit.store.engine_duckdb import literal

__all__ = ["BLANKS", "BadPattern", "any_of", "cut_sql", "group_names", "searched", "whole"]

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


def cut_sql(pattern: str, groups: int, text: str) -> str:
    """SQL of a struct: g0 the whole line or '' where it does not match, then g1, g2 ... the groups."""
    names = ", ".join(literal(f"g{i}") for i in range(groups + 1))
    return f"regexp_extract({text}, {literal(_whole(pattern))}, [{names}])"


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
