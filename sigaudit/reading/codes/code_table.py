"""The table of Contact ID codes (``data/contact_id.csv``): what a code means and what follows from it.

How the columns were decided, for whoever changes a row:

``restorable``  ``yes``: a new event should in time be followed by a restore on the same code, partition
    and zone; ``pair``: opening and closing, neither of them a fault; ``no``: told once. The base is a
    published reporting list (rev. 10/1/2012) that marks where a restore does not apply. 103, 129, 317,
    358, 394, 554 and 555 are not in that list and are treated like their neighbours (inferred). 408
    has a closing sense only and 404, 405 are out of use, so they are ``no``; 345 and 466 tell that
    something was switched on or off, not a fault, and are ``no`` too. A code that list does not hold
    (126 among them) is ``no``: an absent restore is then held against no site.
``test_kind``   ``periodic`` 602, 603, 608 (608 is also proof of a standing trouble); ``manual`` 601, which
    proves a path once and no timer; ``mode`` 604, 607, which begin and end a span.
``family``      lowest code of a sister set. One fault is told by another code when the system is armed:
    141/331, 142/332, 143/333, 137/317 (stated in DC-05-2016), 144/383, 145/341, 147/381 (inferred), so
    a restore on the sister closes the event. Every other code is its own family.
``code_group``  our grouping, coarse on purpose; a family never lies in two groups.
    alarm_medical 100-103 · alarm_fire 110-118 · alarm_holdup 120-129 · alarm_burglary 130-139, 146 without
    137 · alarm_other the remaining alarms, heat, water, gas, and 423 forced access · supervisory
    200-206, 922 · tamper 137, 144, 145, 316, 317, 341, 383 · supervision (of sensors and modules) 147,
    380-382, 391 · power mains, batteries, supplies, ground fault, shutdown · path 350-358, 551-555,
    415 (dialer shut down) and 796, 798 (derived channel) · programming changes by key or download ·
    bypass zones bypassed and sounders, relays, readers switched off (501, 520-527) · open_close ·
    test tests and test modes · trouble the rest of 3xx, the polling-loop and module alarms 141-143
    beside their sisters, 156, 414, 427, 428, 432, 626 · other everything else; 374 is here because
    an exit error is what a person did, not a fault.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache

from sigaudit.store import shipped

FILE = "contact_id.csv"


@dataclass(frozen=True, slots=True)
class Code:
    """One row of the table, every field text as it stands there."""

    code: str
    event_class: str
    label: str
    data_kind: str
    restorable: str
    test_kind: str
    family: str
    code_group: str
    edition_hint: str
    source: str
    known: str


@cache
def load() -> dict[str, Code]:
    """Every known code by its three digits, in the order of the digits."""
    with (shipped.data() / FILE).open(encoding="utf-8", newline="") as table:
        rows = csv.reader(table)
        next(rows)
        return {row[0]: Code(*row) for row in rows}
