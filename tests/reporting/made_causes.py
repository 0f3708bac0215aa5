"""Causes of the run made by hand: two at one site, a pair that no log tells apart, one that is not named."""

from __future__ import annotations

from typing import Any


def cause(page_no: int, name: str, probability: float, **more: Any) -> dict[str, Any]:
    """One row of the run table ``causes``, of the account that ``run_tables.finding`` gives this page."""
    account = f"{1000 + page_no}"
    title = name.replace("_", " ")
    row: dict[str, Any] = {
        "account_key": f"main/{account}",
        "account": account,
        "receiver_group": "main",
        "site": f"Invented site {page_no}",
        "rank": 1,
        "cause": name,
        "title": title,
        "probability": probability,
        "entry_probability": probability,
        "confidence": "likely" if probability >= 0.5 else "possible",
        "shown": probability >= 0.2,
        "action": "visit",
        "evidence_for": "Silent beyond its limit (60 times as likely)",
        "field_check": f"Look first for {title}.",
        "parts": f"part for {title}",
        "none_probability": 0.1,
    }
    return row | more


def causes() -> list[dict[str, Any]]:
    """Rows of the small run."""
    pair = {"entry_probability": 0.7, "confidence": "likely"}
    return [
        cause(1, "primary_path_dead", 0.45, pair="site_out_of_service", apart="site out of service: call", **pair),
        cause(1, "site_out_of_service", 0.25, pair="primary_path_dead", action="desk", parts="", **pair),
        cause(1, "roster_wrong", 0.3, rank=2, action="desk", parts=""),
        cause(3, "battery_aged", 0.1),
        cause(4, "ground_fault", 0.6, site="Very long site name without end " * 12),
    ]
