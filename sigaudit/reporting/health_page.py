"""A health report as one page: no script, nothing fetched, under 150 kB, its texts never markup."""

from __future__ import annotations

from functools import lru_cache

from jinja2 import Template
from markupsafe import Markup

from sigaudit.reporting.health_document import Document
from sigaudit.reporting.identity import Identity
from sigaudit.reporting.page import TEMPLATES, environment

__all__ = ["page", "style"]


@lru_cache(maxsize=1)
def style() -> Markup:
    """The sheet of customer and dealer pages, to stand inside them."""
    return Markup((TEMPLATES / "health.css").read_text(encoding="utf-8"))


@lru_cache(maxsize=1)
def _template() -> Template:
    return environment().get_template("health.html.j2")


def page(document: Document, identity: Identity) -> str:
    """The page of one customer as HTML text."""
    return _template().render(doc=document, identity=identity, style=style())
