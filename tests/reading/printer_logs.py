"""Three invented shapes of printer logs, each as a layout, some lines and what they say. Nobody's real format."""

# ruff: noqa: E501 (a pattern is one line)
from __future__ import annotations

# Fixed columns, minutes only, a page header after each form feed.
COLUMNS = r"""
id = "columns"
kind = "pattern"
title = "Fixed columns, printed by the page"
[text]
ignore = ['^EVENING PRINT +PAGE +[0-9]+$', '^-+$']
[pattern]
line = '(?P<date>\d\d [A-Z]{3} \d\d) (?P<time>\d\d:\d\d) +R(?P<receiver>\d)/L(?P<line>\d+) +(?P<account>\w{4}) +(?P<event>\w{4}) +(?P<partition>\d\d) (?P<zone>\d{3})'
[time]
format = "%d %b %y %H:%M"
two_digit_year = "2000"
timezone = "Europe/Berlin"
[[samples]]
line = "02 NOV 26 08:15  R1/L12  0042  E130  01 015"
gives = { received_utc = "2026-11-02 07:15:00", receiver = "1", line = "12", code = "130", partition = "1", zone = "015" }
[[samples]]
line = "EVENING PRINT  PAGE 7"
skips = "ignored"
[[samples]]
line = "PAPER OUT"
rejects = "no_match"
"""
COLUMNS_LOG = (
    b"EVENING PRINT   PAGE 1\r\n-----\r\n"
    b"02 NOV 26 08:15  R1/L12  0042  E130  01 015\r\n"
    b"02 NOV 26 08:15  R1/L12  0042  E1\x07\r\n"
    b"\x0cEVENING PRINT   PAGE 2\r\n-----\r\n"
    b"  02 NOV 26 08:16  R1/L1   B043  R401  00 002\r\n"
)

# Words around the values, the qualifier apart, any order of the time, a message in front of nothing.
WORDS = r"""
id = "words"
kind = "pattern"
[recognise]
first_line = '^#[0-9]{6} '
[text]
encoding = ["utf-8", "cp1252"]
[pattern]
line = '#\d{6} (?P<when>\S+ \S+) <(?P<receiver>\d+)-(?P<line>\d+)> ACCT=(?P<number>\S+) (?P<kind>NEW|RST|STILL) (?P<code>[0-9A-F]{3})(?: AREA (?P<partition>\d+))?(?: POINT (?P<zone>\d+))?(?: "(?P<text>[^"]*)")?'
[time]
column = "when"
format = "iso"
timezone = "UTC"
[fields]
account = "number"
qualifier = "kind"
format = { constant = "contact_id" }
[event]
style = "separate"
qualifiers = { NEW = "E", RST = "R", STILL = "P" }
[[samples]]
line = '#000123 2026-11-02 08:15:30 <2-3> ACCT=0042 NEW 130 AREA 1 POINT 15 "hall"'
gives = { received_utc = "2026-11-02 08:15:30", account = "0042", qualifier = "E", zone = "015", text = "hall", format = "contact_id" }
"""
WORDS_LOG = (
    b'#000123 2026-11-02 08:15:30 <2-3> ACCT=0042 NEW 130 AREA 1 POINT 15 "caf\xe9"\n'
    b"#000124 2026-11-02 08:15:31 <2-3> ACCT=0042 STILL 302\n"
    b"#000125 2026-11-02 08:15:32 <2-3> ACCT=00 42 NEW 130\n"
    b"#000126 2026-13-02 08:15:33 <2-3> ACCT=0042 RST 130\n"
)

# Time behind the event, one letter for one thing, the receiver a constant.
TAIL = r"""
id = "tail"
kind = "pattern"
[recognise]
share = 0.5
[pattern]
line = 'A(?P<account>\d+) (?P<event>[0-9]{4}) ?Z?(?P<zone>\d*) @ (?P<received_at>.+)'
[time]
format = "%m/%d/%Y %I:%M:%S %p"
timezone = "station"
[fields]
receiver = { constant = "9" }
"""
TAIL_LOG = (
    b"A77 1302  @ 11/02/2026 08:15:30 PM\nA77 3302 Z0 @ 11/02/2026 12:00:01 AM\n\nDOOR OPEN, PRINTER\nA77 6602 @ "
)
