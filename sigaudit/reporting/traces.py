"""What a chart draws: points, bars, stretches of time and cells, as plain data.

A chart's colours are names, not colours: :data:`TONES` maps stand-in colours to CSS variables, which
``figures.js`` fills in for light, dark and print. Form carries the meaning too (symbols, patterns), so no
chart is read by colour alone.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sigaudit.reporting.page import visible

# Stand-in colour -> CSS variable of page.css. Plotly accepts them, so a figure can be checked in Python.
TONES = {
    "#010001": "--ink",
    "#010002": "--soft",
    "#010003": "--rule",
    "#010004": "--paper",
    "#010005": "--panel",
    "#010006": "--critical",
    "#010007": "--major",
    "#010008": "--minor",
    "#010009": "--note",
    "#01000a": "--good",
    "#01000b": "--good-soft",
    "#01000c": "--excused",
    "#01000d": "--accent",
}
_BY_NAME = {name.removeprefix("--"): stand_in for stand_in, name in TONES.items()}


def tone(name: str) -> str:
    """Stand-in colour of a tone (``ink``, ``critical`` ...)."""
    return _BY_NAME[name]


def safe(text: Any) -> str:
    """Text as Plotly may show it: its own mark-up (``<a href>``, ``<br>``) stays text."""
    return html.escape(str(visible(str(text))), quote=False)


def stamp(instant: datetime) -> str:
    """Naive UTC instant as Plotly reads it."""
    return instant.strftime("%Y-%m-%d %H:%M:%S")


def _pattern(shape: str, color: str) -> dict[str, Any]:
    # Without a background of its own a patterned bar shows only the pattern's lines: paper on paper.
    return {"shape": shape, "fgcolor": tone("paper"), "bgcolor": tone(color), "size": 7, "solidity": 0.3}


def marks(
    x: Sequence[str],
    y: Sequence[str],
    *,
    name: str,
    symbol: str | Sequence[str],
    color: str,
    hover: Sequence[str],
    size: int = 8,
    edge: str = "",
    legend: bool = False,
) -> dict[str, Any]:
    """Point marks; ``hover`` and ``y`` are shown as they are; ``edge`` is a tone for the outline."""
    return {
        "type": "scatter",
        "mode": "markers",
        "x": list(x),
        "y": [safe(v) for v in y],
        "name": safe(name),
        "text": [safe(v) for v in hover],
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": legend,
        "marker": {
            "symbol": symbol,
            "size": size,
            "color": tone(color),
            "line": {"width": 1.4, "color": tone(edge or color)},
        },
    }


def bars(
    x: Sequence[Any],
    y: Sequence[Any],
    *,
    name: str,
    color: str,
    pattern: str = "",
    flat: bool = False,
    hover: Sequence[str] | None = None,
) -> dict[str, Any]:
    """Stacked bars, upright or flat; the pattern tells them apart without colour."""
    texts = hover or [f"{name}: {v}" for v in (x if flat else y)]
    return {
        "type": "bar",
        "orientation": "h" if flat else "v",
        "name": safe(name),
        "x": list(x) if flat else [safe(v) for v in x],
        "y": [safe(v) for v in y] if flat else list(y),
        "text": [safe(v) for v in texts],
        "textposition": "none",
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {
            "color": tone(color),
            "line": {"width": 0.6, "color": tone("paper")},
            "pattern": _pattern(pattern, color),
        },
    }


def spans(
    rows: Sequence[tuple[str, datetime, datetime, str]], *, name: str, color: str, pattern: str
) -> dict[str, Any]:
    """Bars that lie in time: (row, from, until, hover text), instants UTC."""
    return {
        "type": "bar",
        "orientation": "h",
        "name": safe(name),
        "showlegend": False,
        "width": 0.55,
        "base": [stamp(row[1]) for row in rows],
        "x": [(row[2] - row[1]).total_seconds() * 1000 for row in rows],
        "y": [safe(row[0]) for row in rows],
        "text": [safe(row[3]) for row in rows],
        "textposition": "none",
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {
            "color": tone(color),
            "line": {"width": 1, "color": tone(color)},
            "pattern": _pattern(pattern, color),
        },
    }


def span(start: datetime, end: datetime, color: str) -> dict[str, Any]:
    """A shaded stretch of time behind the marks, as a layout shape."""
    return {
        "type": "rect",
        "xref": "x",
        "yref": "paper",
        "x0": stamp(start),
        "x1": stamp(end),
        "y0": 0,
        "y1": 1,
        "fillcolor": tone(color),
        "opacity": 0.14,
        "line": {"width": 0},
        "layer": "below",
    }


def cells(
    x: Sequence[str],
    y: Sequence[str],
    z: Sequence[Sequence[int | None]],
    *,
    counts: Sequence[Sequence[int | None]],
    columns: Sequence[str],
    states: Sequence[tuple[str, str]],
) -> dict[str, Any]:
    """A strip of cells, each in one of ``states`` (words, tone) by its place; None leaves a cell empty.

    Hover texts are put together by ``figures.js`` from the column's text, the state's words and the count:
    written out here they would be most of a page's data.
    """
    n = len(states)
    scale = [[edge / n, tone(color)] for i, (_, color) in enumerate(states) for edge in (i, i + 1)]
    return {
        "type": "heatmap",
        "x": list(x),
        "y": [safe(v) for v in y],
        "z": [list(r) for r in z],
        "zmin": -0.5,
        "zmax": n - 0.5,
        "colorscale": scale,
        "showscale": False,
        "xgap": 0,
        "ygap": 3,
        "customdata": [list(r) for r in counts],
        "meta": {"columns": [safe(v) for v in columns], "words": [safe(word) for word, _ in states]},
        "hovertemplate": "%{text}<extra></extra>",
        "hoverongaps": False,
        "showlegend": False,
    }


def strip(traces: list[dict[str, Any]], color: str, name: str) -> None:
    """Add a legend entry for a state that only cells show."""
    traces.append(
        {
            "type": "scatter",
            "mode": "markers",
            "x": [None],
            "y": [None],
            "name": safe(name),
            "showlegend": True,
            "marker": {"symbol": "square", "size": 11, "color": tone(color)},
            "hoverinfo": "skip",
        }
    )
