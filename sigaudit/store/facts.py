"""Stored facts: built from signals month by month, current by fingerprint, cut at ``as_of``.

A fact depends on the signals of one account and one UTC day only, so a month's facts hold as long as
its signals, the SQL and the code table are the same; that is the fingerprint in their file names.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sigaudit.store import code_table
from sigaudit.store.progress import Progress, silent
from sigaudit.store.shipped import query

# Facts of accounts are built range by range; those of the station see a whole month at once.
ACCOUNT_FACTS = ("fact_day", "fact_test", "fact_check_in", "fact_edge")
STATION_FACTS = ("fact_minute", "fact_receiver")
FACTS = (*ACCOUNT_FACTS, *STATION_FACTS)
