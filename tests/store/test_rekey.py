"""Changing the receiver map later gives the same store as having had it from the start."""

from __future__ import annotations

from pathlib import Path

import pytest

from sigaudit.reading import ingest
from sigaudit.settings import Settings, parse
from sigaudit.store import engine_duckdb, rekey
from sigaudit.store.opening import Store, open_store
from sigaudit.store.relations import signals_relation

LOG = """received_at,receiver,line,account,event,partition,zone,origin
2026-10-12T02:00:00,1,1,0421,E602,00,000,panel
2026-10-12T02:01:00,2,1,0421,E602,00,000,
2026-10-12T02:02:00,1,1,0000,E301,00,000,
2026-10-12T02:03:00,1,1,,E301,00,000,
"""
PLAIN = '[station]\nname = "S"\ntimezone = "America/New_York"\n'
MAPPED = PLAIN + '[receivers]\nown_accounts = ["0000"]\n[receivers.groups]\n"2" = "north"\n'


def settings(folder: Path, text: str) -> Settings:
    folder.mkdir(exist_ok=True)
    return parse(text, folder)


def held(store: Store) -> list[tuple[object, ...]]:
    with engine_duckdb.connect() as con:
        return engine_duckdb.rows(
            con,
            f"select account_key, receiver_group, origin, line_no from ({signals_relation(store)}) order by line_no",
        )


@pytest.mark.parametrize(("first", "then"), [(PLAIN, MAPPED), (MAPPED, PLAIN)])
def test_following_is_the_same_as_from_the_start(tmp_path: Path, first: str, then: str) -> None:
    log = tmp_path / "log.csv"
    log.write_text(LOG, encoding="utf-8")
    late, early = (open_store(tmp_path / name / "store", create=True) for name in ("late", "early"))
    ingest.run(late, settings(tmp_path / "late", first), [log])
    ingest.run(early, settings(tmp_path / "early", then), [log])
    wanted = settings(tmp_path / "late", then)
    assert rekey.ensure(late, wanted, memory_limit="512MiB") == 1
    assert held(late) == held(early)
    assert rekey.ensure(late, wanted, memory_limit="512MiB") == 0
