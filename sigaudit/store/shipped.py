"""The one place that knows where the shipped queries and the demo lie.

Inside an installed wheel they sit in the package (``_queries``, ``_demo``); in a checkout or an
editable install they stand beside it. Never the current folder: an audit must not change because
of where it is started.
"""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent.parent


def _shipped(inside: str, beside: str) -> Path:
    packed = _PACKAGE / inside
    return packed if packed.is_dir() else _PACKAGE.parent / beside


def queries() -> Path:
    """Folder that holds ``events/ facts/ incidents/ measures/ checks/ evidence/ report/``."""
    return _shipped("_queries", "queries")


def demo() -> Path:
    """Folder with the demo's exports, roster and truth file."""
    return _shipped("_demo", "data/demo")


def data() -> Path:
    """Package data: code tables, intervals, built-in layouts, chart library."""
    return _PACKAGE / "data"


def query(name: str) -> str:
    """SQL text of a shipped query, by its path without ``.sql`` (``facts/tests``).

    Raises FileNotFoundError: only if the installation is damaged.
    """
    return (queries() / f"{name}.sql").read_text(encoding="utf-8")
