"""The SQL that turns records into signals or rejects, composed from a layout laid on one content.

A record whose time can be read and which has the shape of a signal is a signal, whatever its event says.
Constants of a layout reach the statement escaped by the engine's own rule; nothing else of it does.
"""

from __future__ import annotations

from sigaudit.reading import patterns
from sigaudit.reading.binding import Bound
from sigaudit.reading.codes import dc09, dc09_body
from sigaudit.reading.event_columns import event_sql, message_sql
from sigaudit.reading.layouts import DECODED, Constant, Layout
from sigaudit.store.engine_duckdb import literal

__all__ = ["EMPTY", "REASONS", "SKIPS", "STAGE_COLUMNS", "constants", "stage_sql"]

# Why a line is kept but not used. A closed list: scripts and the README name them.
REASONS: dict[str, str] = {
    "too_few_fields": "the line has fewer fields than the layout says",
    "too_many_fields": "the line has more fields than the layout says",
    "no_match": "the line is not as the pattern of the layout says",
    "quote_unclosed": "a quoted field is not closed, or not where the layout's fields end",
    "undecodable": "the bytes are no text in any encoding of the layout; they are kept as they are",
    "time_missing": "the receiver's time is empty",
    "time_unreadable": "the receiver's time is no time of the layout's form, or lies outside 1970 to 2199",
    "account_shape": "the account holds blanks, slashes or control characters, or more than 32 characters",
    "message_unreadable": "the account stands only in the message, which is not of its standard or does not add up",
    "event_missing": "there is no event, and the line is no check-in",
    **{f"frame_{name}": f"DC-09 frame: {sentence}" for name, sentence in dc09.REASONS.items()},
    **{f"frame_{name}": f"DC-09 frame: {dc09_body.BODY_REASONS[name]}" for name in dc09_body.SEALED},
}
# Lines that say nothing: counted, not kept.
SKIPS = ("blank", "header", "comment", "ignored")

STAGE_COLUMNS = (
    "line_no", "byte_off", "raw", "raw_bytes", "reason", "received_wall", "wall", "stated_utc", "receiver",
    "line", "account", "event_raw", "qualifier", "code", "format", "partition", "zone", "panel_time", "path",
    "origin", "called", "caller", "text", "sequence", "part", "more", "key",
)  # fmt: skip
# What a column left out of the stage file is, where not ''.
EMPTY = {"part": "0::integer", "more": "0::integer"}
_KEYED = (
    "receiver", "line", "received_wall", "account", "event_raw", "partition", "zone", "format", "panel_time",
    "path", "origin", "called", "caller", "text", "sequence",
)  # fmt: skip
# Lines of several events are equal as wholes, and all their events have one key.
_DECODED_KEYED = (
    "receiver", "line", "received_wall", "account", "path", "origin", "called", "caller", "sequence", "whole",
)  # fmt: skip
_PLACES = ("partition", "zone")
_PLAIN = ("receiver", "line", "account", "panel_time", "path", "called", "caller", "text", "sequence")
_FORMATS = "'contact_id', 'sia', 'contact_input', 'check_in', 'other'"
_ORIGINS = "'panel', 'communicator', 'network', 'receiver'"
_ISO = r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}([.,]\d{1,9})?)?"
_ISO_OFFSET = _ISO + r" ?(Z|[+-]\d{2}(:?\d{2})?)"


def constants(bound: Bound) -> tuple[str, ...]:
    """Columns that no column of the content feeds: empty (or 0) on every line, so left out of the stage file."""
    inner = ("partition", "zone") if bound.layout.event_style == "contact_id" else ()
    unfed = [n for n in (*_PLAIN, *_PLACES) if bound.fields.get(n, Constant("")) == Constant("") and n not in inner]
    counted = () if bound.layout.decodes else tuple(EMPTY)
    return (*(name for name in unfed if name not in ("account", "receiver", "line")), *counted)


def stage_sql(bound: Bound, arriving: str) -> str:
    """Select over ``arriving`` (records.BATCH), one row per record: STAGE_COLUMNS without the constants.

    reason: '' for signals, a key of REASONS for rejects, one of SKIPS for lines that say nothing. wall:
    local time without offset as TIMESTAMP, else NULL; stated_utc: the instant where an offset is written.
    key: MD5 of the mapped fields, as UUID: equal lines have equal keys wherever they stand.
    """
    dialect, layout = bound.dialect, bound.layout
    comment = f"when starts_with(raw, {literal(dialect.comment)}) then 'comment'" if dialect.comment else ""
    wall, stated = _times(layout)
    keyed = ", ".join(_keyed(bound))
    made = ("line_no", "byte_off", "raw", "raw_bytes", "reason", "wall", "key", *constants(bound))
    columns = ", ".join(name for name in STAGE_COLUMNS if name not in made)
    blanks = " || ".join(f"chr({ord(blank)})" for blank in patterns.BLANKS if blank != dialect.delimiter)
    cells, unlike = _cut(bound)
    several = "part, more, " if layout.decodes else ""
    whole = _place(bound, len(layout.groups) + 1 + DECODED.index("told_whole")) if layout.decodes else ""
    message, inner, unsaid = _message(bound)
    fed = ", ".join(f"{inner.get(name) or _field(bound, name)} as {name}_0" for name in (*_PLAIN, *_PLACES))
    usual = "sia" if layout.event_style == "sia" else "contact_id"
    return f"""
with cut as (
    select *, case when padded then trim(raw, {blanks}) else raw end as tidy from {arriving}
),
fielded as (
    select *, {cells} as f from cut
),
shaped as (
    select *, case
        when fault <> '' then fault
        when tidy = '' then 'blank' {comment} {_header(bound)}
        {unlike}
        else '' end as shape
    from fielded
),
messaged as (
    select *{message} from shaped
),
named as (
    select {several}line_no, byte_off, raw, raw_bytes, shape, {_joined(bound)} as received_wall,
        {whole + " as whole, " if whole else ""}{fed},
        lower({_field(bound, "format")}) as format_0, lower({_field(bound, "origin")}) as origin_0,
        {event_sql(layout, lambda name: _field(bound, name))}{unsaid[0]}
    from messaged
),
meant as (
    select {several}line_no, byte_off, raw, raw_bytes, shape, received_wall{", unsaid" * bool(unsaid[0])},
        {"whole, " * bool(whole)}{wall} as wall, {stated} as stated_utc,
        {", ".join(f"{name}_0 as {name}" for name in _PLAIN)},
        event_raw, qualifier, code,
        case when format_0 = '' then {literal(usual)} when format_0 in ({_FORMATS}) then format_0
            else 'other' end as format,
        case when partition_0 = '' then '' else coalesce(nullif(ltrim(partition_0, '0'), ''), '0') end as partition,
        case when zone_0 = '' or length(zone_0) = 3 or not regexp_full_match(zone_0, '[0-9]+') then zone_0
            when length(ltrim(zone_0, '0')) >= 3 then ltrim(zone_0, '0')
            else lpad(ltrim(zone_0, '0'), 3, '0') end as zone,
        case when origin_0 in ({_ORIGINS}) then origin_0 else '' end as origin
    from named
)
select line_no, byte_off, raw, raw_bytes, case
        when shape <> '' then shape
        when received_wall = '' then 'time_missing'
        when coalesce(wall, stated_utc) is null then 'time_unreadable'
        when coalesce(stated_utc, wall) < timestamp '1970-01-02' then 'time_unreadable'
        when coalesce(stated_utc, wall) >= timestamp '2200-01-01' then 'time_unreadable'
        {unsaid[1]}
        when not (length(account) < 9 and try_cast(account as uinteger) is not null)
            and not regexp_full_match(account, '[^\\s/[:cntrl:]]{{0,32}}') then 'account_shape'
        when event_raw = '' and format <> 'check_in' then 'event_missing'
        else '' end as reason,
    case when stated_utc is null then wall end as wall, {columns}, md5(concat({keyed}))::uuid as key
from meant"""


def _cut(bound: Bound) -> tuple[str, str]:
    """SQL of the parts of a record, and the branches of a case that say what is wrong with them."""
    layout, (least, most) = bound.layout, bound.dialect.fields
    ignored = f"regexp_matches(tidy, {literal(layout.ignore)}) then 'ignored'"
    if layout.patterns:
        cut, none = "cells", "f is null"
        if not bound.in_python:
            cut, none = patterns.cut_sql(layout.patterns, layout.groups, "tidy"), "f.g0 = ''"
        ignore = f"when {none} and {ignored}" if layout.ignore else ""
        return cut, f"{ignore} when {none} then 'no_match'"
    ignore = f"when {ignored}" if layout.ignore else ""
    if layout.sheet is not None:
        other = f"when regexp_replace(f[1], '![0-9]+$', '') <> {literal(bound.sheet)} then 'ignored'"
        ignore = f"when array_to_string(f[2:], '') = '' then 'blank' {other} {ignore}"
    # Empty cells behind the last column are only delimiters.
    over = f"len(f) > {most} and array_to_string(f[{most + 1}:], '') <> ''"
    return (
        f"coalesce(cells, string_split(tidy, {literal(bound.dialect.delimiter)}))",
        f"{ignore} when len(f) < {least} then 'too_few_fields' when {over} then 'too_many_fields'",
    )


def _header(bound: Bound) -> str:
    """The branches for the header, for its repetitions, and for what stands before it."""
    if not bound.header or "\0" in bound.header:
        return ""
    line = "raw" if bound.layout.sheet is None else "raw[strpos(raw, ',') + 1:]"
    before = f"when line_no < {bound.header_line} then 'header'" if bound.header_line > 1 else ""
    # Files put together of several have the byte-order mark of each before its header.
    forms = f"{literal(bound.header)}, {literal(chr(0xFEFF) + bound.header)}"
    return f"when {line} in ({forms}) then 'header' {before}"


def _message(bound: Bound) -> tuple[str, dict[str, str], tuple[str, str]]:
    """SQL where an event is a whole message: a column ``message``, the fields that it feeds where the layout has
    no others, and a column and a branch for lines whose account is in it and cannot be told. Also: the account
    with its prefix, which no account at all has not.
    """
    layout = bound.layout
    message, unsaid = "", ("", "")
    account, inner = _field(bound, "account"), dict[str, str]()
    if layout.event_style == "contact_id":
        event = f"replace({_field(bound, 'event')}, ' ', '')"
        message = f", {message_sql(event)} as message"
        inner = {
            name: f"message[{first}:{last}]"
            for name, first, last in (("account", 1, 4), ("partition", 11, 12), ("zone", 13, 15))
        }
        for name in inner:
            if name in layout.fields:
                inner[name] = f"coalesce(nullif({_field(bound, name)}, ''), {inner[name]})"
        like = f"regexp_full_match({event}, '[0-9A-Fa-f]{{16}}')" if "account" in layout.fields else f"{event} <> ''"
        account = inner["account"]
        unsaid = f", {account} = '' and message = '' and {like} as unsaid", "when unsaid then 'message_unreadable'"
    if layout.event_style == "sia_blocks" and isinstance(bound.fields["account"], int):
        # No empty account: that would be the receiver speaking of itself.
        unsaid = f", {account} = '' as unsaid", "when unsaid then 'message_unreadable'"
    if layout.width:
        short = f"length({account}) between 1 and {layout.width - 1} and regexp_full_match({account}, '[0-9]+')"
        account = inner["account"] = f"case when {short} then lpad({account}, {layout.width}, '0') else {account} end"
    if layout.prefix is not None:
        prefix = _place(bound, bound.prefix)
        inner["account"] = f"case when {account} = '' then '' else {prefix} || {account} end"
    return message, inner, unsaid


def _keyed(bound: Bound) -> list[str]:
    """The mapped fields with a separator between them; runs of constants as one constant."""
    parts: list[str] = []
    run = ""
    for name in _DECODED_KEYED if bound.layout.decodes else _KEYED:
        place = bound.fields.get(name, Constant("")) if name in _PLAIN else 0
        if isinstance(place, Constant):
            run += place.value + "\x1f"
        else:
            parts += [literal(run)] * bool(run) + [name]
            run = "\x1f"
    return [*parts, literal(run)]


def _place(bound: Bound, place: int | Constant) -> str:
    if isinstance(place, Constant):
        return literal(place.value)
    if bound.layout.patterns and not bound.in_python:
        return f"trim(f.g{place})"
    # NULL where a record is too short; its shape makes it a reject already.
    return f"trim(f[{place}])"


def _field(bound: Bound, name: str) -> str:
    return _place(bound, bound.fields.get(name, Constant("")))


def _joined(bound: Bound) -> str:
    parts = [_place(bound, place) for place in bound.time]
    return parts[0] if len(parts) == 1 else f"trim(concat_ws(' ', {', '.join(parts)}))"


def _times(layout: Layout) -> tuple[str, str]:
    """SQL of (wall time, stated instant); a worksheet's cell of a time is written ISO, whatever its texts are."""
    wall, stated = _time(layout.time_format)
    if layout.sheet is None or layout.time_format == "iso":
        return wall, stated
    as_cell = _time("iso")
    return f"coalesce({wall}, {as_cell[0]})", f"coalesce({stated}, {as_cell[1]})"


def _time(form: str) -> tuple[str, str]:
    """SQL of (wall time, instant stated by an offset), NULL where the text has not that form."""
    if form == "iso":
        tidy = "replace(received_wall, ',', '.')"
        # Of the length 19 all parts of the form have their full width, so the form alone is test enough.
        short = "length(received_wall) = 19 and received_wall[11] = 'T'"
        local = f"regexp_full_match(received_wall, {literal(_ISO)})"
        offset = f"regexp_full_match(received_wall, {literal(_ISO_OFFSET)})"
        return (
            f"case when {short} then try_strptime(received_wall, '%Y-%m-%dT%H:%M:%S') "
            f"when {local} then try_cast({tidy} as timestamp) end",
            # Without the offset test first, casting to TIMESTAMP would drop the offset without a word.
            f"case when {short} or {local} then null when {offset} "
            f"then try_cast({tidy} as timestamptz) at time zone 'UTC' end",
        )
    parsed = f"try_strptime(received_wall, {literal(form)})"
    if "%z" in form:
        return "null::timestamp", f"{parsed} at time zone 'UTC'"
    return parsed, "null::timestamp"
