"""SQL of what an event says: the text as written, and the qualifier and code it stands for, by the layout's style.

Words of a station and two-letter codes are looked up in constant maps. A join would do the same, but the size
of a log that is read once is unknown, and the engine then keeps the log in memory to look up the words.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from sigaudit.reading.codes import contact_id, sia_table
from sigaudit.reading.layouts import Layout
from sigaudit.store.engine_duckdb import literal

__all__ = ["STYLES", "event_sql", "message_sql"]

STYLES = ("any", "qualified", "digits", "separate", "sia", "contact_id", "sia_blocks")
_HEADS = {"any": "[ERP136]", "qualified": "[ERP]", "digits": "[136]", "sia_blocks": "[ERP136]"}
_DIGITS = "1234567890BCDEF"  # the place of a digit is what it counts in the checksum: 0 is ten
_NOTHING = "''"


def event_sql(layout: Layout, field: Callable[[str], str]) -> str:
    """Three columns: event_raw, qualifier, code. field: SQL of a field; ``message`` must be at hand for messages."""
    if layout.event_style == "separate":
        q, c = field("qualifier"), f"upper({field('code')})"
        cases = " ".join(f"when {literal(key)} then {literal(value)}" for key, value in layout.qualifiers.items())
        known = f"coalesce(case {q} {cases} end, '')" if "qualifier" in layout.fields else "'E'"
        raw = f"case when length({q}) > 1 then {q} || ' ' || {c} else {q} || {c} end"
        said = f"case when {known} <> '' and regexp_full_match({c}, '[0-9A-F]{{3}}') then {known} || {c} else '' end"
        word = _looked_up(layout.words, field("code"))
        # A word may stand for the code alone; what happened to it then says the qualifier.
        whole = f"case when length({word}) = 3 then nullif({known}, '') || {word} else {word} end"
        return _columns(raw, f"coalesce({whole}, {said})" if layout.words else said)
    event = field("event")
    if layout.event_style == "contact_id":
        event = f"case when message <> '' then message else {event} end"
    said = _said(layout, field, event)
    return _columns(event, f"coalesce({_looked_up(layout.words, event)}, {said})" if layout.words else said)


def message_sql(text: str) -> str:
    """The 16-digit message if ``text`` is one that ``contact_id.read_message`` accepts, else ''."""
    types, heads = "|".join(contact_id.MESSAGE_TYPES), "".join(contact_id.QUALIFIERS)
    total = " + ".join(f"strpos('{_DIGITS}', {text}[{i}])" for i in range(1, contact_id.LENGTH + 1))
    form = f"[0-9B-F]{{4}}({types})[{heads}][0-9B-F]{{9}}"
    return f"case when regexp_full_match({text}, '{form}') and ({total}) % 15 = 0 then {text} else '' end"


def _said(layout: Layout, field: Callable[[str], str], event: str) -> str:
    """SQL of qualifier and code as one text, '' where the event says none."""
    style = layout.event_style
    if style == "contact_id":
        digits, letters = "".join(contact_id.QUALIFIERS), "".join(contact_id.QUALIFIERS.values())
        return f"translate(message[7], '{digits}', '{letters}') || message[8:10]"
    if style == "sia":
        return _letters(event)
    form = f"lower({field('format')})"
    fits = f"regexp_full_match(upper({event}), '{_HEADS[style]}[0-9A-F]{{3}}')"
    plain = f"case when {fits} then translate(upper({event})[1], '136', 'ERP') || upper({event})[2:4] else '' end"
    if field("format") == _NOTHING:
        return plain
    return f"case when {form} = 'sia' then {_letters(event)} else {plain} end"


def _letters(event: str) -> str:
    """The nearest Contact ID event of a two-letter SIA code, '' where the table has none."""
    near = {code: sia_table.canonical(code) for code in sia_table.load()}
    found = _looked_up({code: one.qualifier + one.code for code, one in near.items() if one.code}, f"upper({event})")
    return f"case when length({event}) = 2 then coalesce({found}, '') else '' end"


def _looked_up(words: Mapping[str, str], text: str) -> str:
    pairs = ", ".join(f"{literal(key)}: {literal(value)}" for key, value in words.items())
    return f"map {{{pairs}}}[{text}]"


def _columns(raw: str, said: str) -> str:
    return f"{raw} as event_raw, ({said})[1:1] as qualifier, ({said})[2:4] as code"
