"""Which site of block a carries which fault of reach, paths, supervision and messages, and how strong."""

from __future__ import annotations

# (fault, kind of site, strength); the planters say what a strength means
PLAN: list[tuple[str, str, str]] = []
