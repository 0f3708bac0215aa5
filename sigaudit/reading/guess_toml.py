"""A drafted layout as TOML text, as ``layout_files`` reads it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sigaudit.reading.guess_delimited import Draft, Sheet

__all__ = ["written"]

_ESCAPES = {"\\": "\\\\", '"': '\\"', "\t": "\\t", "\n": "\\n", "\r": "\\r"}
_TOKENS = {
    "%Y": "[0-9]{4}", "%y": "[0-9]{2}", "%b": "[A-Za-z]{3}", "%B": "[A-Za-z]+", "%p": "[AaPp][Mm]", "%f": "[0-9]+",
}  # fmt: skip
_ISO = "[0-9]{4}-[0-9]{2}-[0-9]{2}"


def text(value: str) -> str:
    """A TOML basic string."""
    shown = (_ESCAPES.get(c) or (f"\\u{ord(c):04X}" if ord(c) < 32 or 0x7F <= ord(c) < 0xA0 else c) for c in value)
    return f'"{"".join(shown)}"'


def written(
    draft: Draft, identity: str, encodings: Sequence[str], timezone: str,
    samples: Sequence[tuple[str, Mapping[str, str]]],
) -> str:  # fmt: skip
    """The whole file. samples: (line, what it gives)."""
    cut, form = draft.cut, draft.time.forms[0]
    lowered = [name.strip().casefold() for name in draft.names]

    def column(at: int) -> str:
        # A name that stands twice, or none, cannot say which column is meant: its number can.
        name = draft.names[at].strip()
        by_name = draft.header and name and lowered.count(name.casefold()) == 1
        return text(name) if by_name else str(at + 1)

    fields = {**draft.event.columns, **draft.roles.fields}
    used = [*draft.time.columns, *fields.values()]
    title = "Drafted from an export; check it"
    kind = "delimited" if draft.sheet is None else "sheet"
    lines = [f"id = {text(identity)}", f"kind = {text(kind)}", f"title = {text(title)}", "", "[recognise]"]
    named = [column(at) for at in used if column(at).startswith('"')]
    if named:
        lines.append(f"header = [{', '.join(named)}]")
    elif draft.header:
        lines.append(f"first_line = {text('^' + re.escape(cut.first[:60]).replace(chr(92) + ' ', ' '))}")
    if not draft.header:
        lines.append(f"first_line = {text(_first_line(draft))}")
    lines += _sheet(draft.sheet) if draft.sheet is not None else [
        "", "[text]", f"encoding = [{', '.join(map(text, encodings))}]", f"delimiter = {text(cut.delimiter)}",
        f"quote = {text(cut.quote)}", *([f"comment = {text(draft.comment)}"] if draft.comment else []),
        f"header = {str(draft.header).lower()}",
    ]  # fmt: skip
    if draft.sheet is None and not draft.header and not cut.ragged:
        lines.append(f"columns = {cut.width}")
    places = [column(at) for at in draft.time.columns]
    lines += ["", "[time]", f"column = {places[0] if len(places) == 1 else '[' + ', '.join(places) + ']'}"]
    lines.append(f"format = {text(form)}")
    if "%y" in form:
        lines.append('two_digit_year = "2000"')
    lines += [f"timezone = {text(timezone)}", "", "[fields]"]
    lines += [f"{field} = {column(at)}" for field, at in fields.items()]
    if draft.event.style == "sia" and "format" not in fields:
        lines.append('format = { constant = "sia" }')
    lines += ["", "[event]", f"style = {text(draft.event.style)}"]
    if draft.event.qualifiers:
        pairs = ", ".join(f"{text(word)} = {text(letter)}" for word, letter in draft.event.qualifiers.items())
        lines.append(f"qualifiers = {{ {pairs} }}")
    for line, gives in samples:
        lines += ["", "[[samples]]"]
        if draft.header:
            lines.append(f"header = {text(cut.first)}")
        # A row's address is none of its cells.
        lines.append(f"line = {text(line if draft.sheet is None else line.partition(',')[2])}")
        lines.append(f"gives = {{ {', '.join(f'{name} = {text(value)}' for name, value in gives.items())} }}")
    return "\n".join(lines) + "\n"


def _sheet(sheet: Sheet) -> list[str]:
    """What only a worksheet's layout says."""
    lines = [f"header_within = {sheet.within}"] if sheet.within else []
    lines += ["", "[sheet]", f"name = {text(sheet.name)}"] if sheet.name else []
    return [*lines, *(["", "[account]", f"width = {sheet.width}"] if sheet.width else [])]


def _first_line(draft: Draft) -> str:
    """A pattern of data lines: the time in its form, in its place."""
    cut, at = draft.cut, draft.time.columns[0]
    form = draft.time.forms[0]
    if form == "iso":
        shape = _ISO
    else:
        date = form if len(draft.time.columns) == 1 else re.split(r" (?=%[HI])", form)[0]
        shape = "".join(
            _TOKENS.get(part, "[0-9]{1,2}") if part.startswith("%") else re.escape(part)
            for part in re.findall(r"%.|[^%]", date)
        ).replace("\\ ", " ")
    fence = re.escape(cut.delimiter) if cut.delimiter in "|" else cut.delimiter
    quote = f"[{cut.quote}]?" if cut.quoted else ""
    before = "" if at == 0 else ".*" + fence if cut.quoted else f"(?:[^{fence}]*{fence}){{{at}}}"
    return f"^ *{before} *{quote} *{shape}"
