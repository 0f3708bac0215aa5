"""The Python entry: a workspace opened for reading, as pandas and Arrow tables."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pyarrow as pa

from sigaudit.judging import audit
from sigaudit.settings import Settings, load
from sigaudit.store import views
from sigaudit.store.opening import Store, open_store


class Station:
    """One workspace. Every call reads what the store holds then; nothing here changes signals or roster."""

    def __init__(self, folder: Path) -> None:
        self.settings: Settings = load(folder)
        self.store: Store = open_store(self.settings.store_dir)

    def findings(self, week: str | None = None) -> pd.DataFrame:
        """Findings of a week (default: the last whole one), one row each; judged now if it was not yet."""
        frame: pd.DataFrame = audit.weekly(self.store, self.settings, week).table("findings").to_pandas()
        return frame

    def causes(self, week: str | None = None) -> pd.DataFrame:
        """Probable causes of a week, one row per account and cause, the likeliest first; judged now if need be."""
        frame: pd.DataFrame = audit.weekly(self.store, self.settings, week).table("causes").to_pandas()
        return frame

    def signals(self) -> pa.Table:
        """Every held signal, in order of account and time."""
        return self.sql("select * from signals order by account_key, received_utc, source_id, line_no")

    def events(self) -> pa.Table:
        """Every signal with its meaning, resends marked, in order of account and time."""
        return self.sql("select * from events order by account_key, received_utc, source_id, line_no")

    def sql(self, text: str, week: str = "") -> pa.Table:
        """One read-only select over the documented views. Raises UsageProblem."""
        return views.answer(self.store, text, week=week, memory_limit=self.settings.memory_limit)
