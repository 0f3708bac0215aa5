"""What another edition would ask: figures of ``data/intervals.csv``, whose rows name their sources.

A dialer's test: 24 h before the 2013 edition, 6 h from it on (training-provider article, seen).
"""

from __future__ import annotations

from typing import Any

import pyarrow as pa
import pytest

from sigaudit.errors import SettingsProblem
from sigaudit.judging import intervals
from sigaudit.judging.what_if import PathRule, compare, sentences, table

HOUR = 3600.0


def path(account: str, kind: str = "phone", name: str = "", **more: Any) -> dict[str, Any]:
    row = {
        "account_key": f"main/{account}", "account": account, "site": f"Site {account}", "system_type": "fire",
        "path": name or kind, "kind": kind, "n_paths": 1, "test_s": None, "supervision_s": None, "usual_s": None,
    }  # fmt: skip
    return {**row, **more}


def states(rows: list[dict[str, Any]], edition: str) -> dict[tuple[str, str], str]:
    return {(f.account, f.what): f.state for f in found(rows, edition)}


def found(rows: list[dict[str, Any]], edition: str) -> list[PathRule]:
    schema = pa.schema([(k, pa.int64() if k == "n_paths" else pa.float64() if k.endswith("_s") else pa.string())
                        for k in path("1")])  # fmt: skip
    return compare(pa.Table.from_pylist(rows, schema=schema), edition)


def test_a_daily_dialer_is_fine_in_2010_and_too_slow_from_2013_on() -> None:
    rows = [path("1", test_s=24 * HOUR), path("2", test_s=6 * HOUR)]
    assert set(states(rows, "nfpa72-2010").values()) == {"kept"}
    assert states(rows, "nfpa72-2013") == {("1", "test"): "shorter", ("2", "test"): "kept"}


def test_where_the_roster_is_silent_the_log_answers_and_else_nobody() -> None:
    rows = [path("1", usual_s=24 * HOUR + 40), path("2", usual_s=6 * HOUR + 90), path("3")]
    now = {f.account: (f.state, f.now_from) for f in found(rows, "nfpa72-2013")}
    assert now == {"1": ("shorter", "log"), "2": ("kept", "log"), "3": ("unknown", "")}


def test_a_captured_dialer_comes_under_its_transmitter() -> None:
    """The phone line beside a supervised radio: its dialer's daily test is not compared."""
    rows = [
        path("1", "radio", n_paths=2, supervision_s=6 * HOUR),
        path("1", "phone", n_paths=2, test_s=24 * HOUR),
    ]
    assert ("1", "test") not in states(rows, "nfpa72-2013")


def test_two_lines_tested_in_turn_are_one_dialer() -> None:
    """Twelve hours on each of two lines is a test every six hours."""
    rows = [path("1", name=f"phone{i}", n_paths=2, test_s=12 * HOUR) for i in (1, 2)]
    assert states(rows, "nfpa72-2013") == {("1", "test"): "kept"}


def test_supervision_by_number_of_paths() -> None:
    """One internet path: 5 min in the 2010 edition, 60 min in 2019's; several: longer (data/intervals.csv)."""
    one = [path("1", "internet", supervision_s=HOUR)]
    assert states(one, "nfpa72-2010") == {("1", "supervision"): "shorter"}
    assert states(one, "nfpa72-2019") == {("1", "supervision"): "kept"}


def test_burglary_has_no_figure_in_an_edition() -> None:
    assert states([path("1", system_type="burglary", test_s=7 * 24 * HOUR)], "nfpa72-2022") == {}


def test_table_and_sentence_count_accounts() -> None:
    rows = [path("1", test_s=24 * HOUR), path("2", test_s=6 * HOUR), path("3")]
    told = found(rows, "nfpa72-2022")
    assert table(told) == [
        {"system_type": "fire", "path_kind": "phone", "what": "test", "edition_h": 6.0, "accounts": 3,
         "would_need_shorter": 1, "kept_already": 1, "not_known": 1}
    ]  # fmt: skip
    said = " ".join(sentences(told, "nfpa72-2022"))
    assert said.startswith("1 of 3 accounts with a path that NFPA 72, 2022 edition has a figure for would need")
    assert "if it applied to them" in said and "captured" in said and "adopted" in said


def test_unknown_edition_names_the_nearest() -> None:
    with pytest.raises(SettingsProblem, match="nearest known"):
        intervals.rules_for("nfpa72-2023", "phone", 1, "fire", "test_s")
