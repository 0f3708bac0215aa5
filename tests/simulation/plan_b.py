"""Which site of block b carries which fault of programming, condition, care and tests, and how strong."""

from __future__ import annotations

# (fault, kind of site, strength); the planters say what a strength means
PLAN: list[tuple[str, str, str]] = []
