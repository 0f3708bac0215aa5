"""The one door to Plotly: traces, axes and finished charts as data for a page.

A chart's colours are names, not colours: :data:`TONES` maps stand-in colours to CSS variables, which
``figures.js`` fills in for light, dark and print. Form carries the meaning too (symbols, patterns), so
no chart is read by colour alone. Time runs in UTC underneath; ticks and hover texts are local.
"""

from __future__ import annotations

import html
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import plotly.graph_objects as go

from sigaudit.reporting.page import visible

__all__ = ["CONFIG", "TONES", "Chart", "bars", "cells", "chart", "marks", "safe", "span", "spans", "stamp", "strip"]

# Stand-in colour -> CSS variable of page.css. Plotly accepts them, so a figure can be checked in Python.
TONES = {
    "#010001": "--ink", "#010002": "--soft", "#010003": "--rule", "#010004": "--paper", "#010005": "--panel",
    "#010006": "--critical", "#010007": "--major", "#010008": "--minor", "#010009": "--note",
    "#01000a": "--good", "#01000b": "--good-soft", "#01000c": "--excused", "#01000d": "--accent",
}  # fmt: skip
_BY_NAME = {name.removeprefix("--"): stand_in for stand_in, name in TONES.items()}

# Nothing here may send data away: the button list is closed and the upload control is off.
CONFIG: dict[str, Any] = {
    "displaylogo": False,
    "showSendToCloud": False,
    "showEditInChartStudio": False,
    "showLink": False,
    "sendData": False,
    "plotlyServerURL": "",
    "responsive": False,
    "scrollZoom": False,
    "doubleClick": "reset",
    "displayModeBar": "hover",
    "modeBarButtons": [["zoomIn2d", "zoomOut2d", "resetScale2d"]],
}


@dataclass(frozen=True)
class Chart:
    """A finished chart: what it says, what it draws (JSON-able), and the same numbers as a table."""

    name: str
    title: str
    note: str
    height: int
    figure: dict[str, Any]
    head: Sequence[str] = ()
    table: Sequence[Sequence[Any]] = ()
    empty: str = ""
    extra: dict[str, Any] = field(default_factory=dict)

    @property
    def data(self) -> dict[str, Any]:
        """What ``figures.js`` needs to draw it."""
        return {"figure": self.figure, "config": CONFIG, "tones": TONES, "height": self.height, **self.extra}


def tone(name: str) -> str:
    """Stand-in colour of a tone (``ink``, ``critical`` ...)."""
    return _BY_NAME[name]


def safe(text: Any) -> str:
    """Text as Plotly may show it: its own mark-up (``<a href>``, ``<br>``) stays text."""
    return html.escape(str(visible(str(text))), quote=False)


def stamp(instant: datetime) -> str:
    """Naive UTC instant as Plotly reads it."""
    return instant.strftime("%Y-%m-%d %H:%M:%S")


def marks(
    x: Sequence[str],
    y: Sequence[str],
    *,
    name: str,
    symbol: str | Sequence[str],
    color: str,
    hover: Sequence[str],
    size: int | Sequence[int] = 8,
    legend: bool = False,
) -> dict[str, Any]:
    """Point marks; ``hover`` and ``y`` are texts that are shown as they are."""
    return {
        "type": "scatter", "mode": "markers", "x": list(x), "y": [safe(v) for v in y], "name": safe(name),
        "text": [safe(v) for v in hover], "hovertemplate": "%{text}<extra></extra>", "showlegend": legend,
        "marker": {"symbol": symbol, "size": size, "color": tone(color),
                   "line": {"width": 1.4, "color": tone(color)}},
    }  # fmt: skip


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
        "type": "bar", "orientation": "h" if flat else "v", "name": safe(name),
        "x": list(x) if flat else [safe(v) for v in x], "y": [safe(v) for v in y] if flat else list(y),
        "text": [safe(v) for v in texts], "textposition": "none", "hovertemplate": "%{text}<extra></extra>",
        "marker": {"color": tone(color), "line": {"width": 0.6, "color": tone("paper")},
                   "pattern": {"shape": pattern, "fgcolor": tone("paper"), "size": 7, "solidity": 0.3}},
    }  # fmt: skip


def spans(
    rows: Sequence[tuple[str, datetime, datetime, str]], *, name: str, color: str, pattern: str
) -> dict[str, Any]:
    """Bars that lie in time: (row, from, until, hover text), instants UTC."""
    return {
        "type": "bar", "orientation": "h", "name": safe(name), "showlegend": False, "width": 0.55,
        "base": [stamp(row[1]) for row in rows],
        "x": [(row[2] - row[1]).total_seconds() * 1000 for row in rows],
        "y": [safe(row[0]) for row in rows], "text": [safe(row[3]) for row in rows],
        "textposition": "none", "hovertemplate": "%{text}<extra></extra>",
        "marker": {"color": tone(color), "line": {"width": 1, "color": tone(color)},
                   "pattern": {"shape": pattern, "fgcolor": tone("paper"), "size": 6, "solidity": 0.35}},
    }  # fmt: skip


def span(start: datetime, end: datetime, color: str) -> dict[str, Any]:
    """A shaded stretch of time behind the marks, as a layout shape."""
    return {
        "type": "rect", "xref": "x", "yref": "paper", "x0": stamp(start), "x1": stamp(end), "y0": 0, "y1": 1,
        "fillcolor": tone(color), "opacity": 0.14, "line": {"width": 0}, "layer": "below",
    }  # fmt: skip


def cells(
    x: Sequence[str], y: Sequence[str], z: Sequence[Sequence[int | None]], hover: Sequence[Sequence[str]], colors: Sequence[str]
) -> dict[str, Any]:
    """A strip of cells with whole-number states 0..n-1, one colour each; None leaves a cell empty."""
    n = len(colors)
    scale = [[edge / n, tone(color)] for i, color in enumerate(colors) for edge in (i, i + 1)]
    return {
        "type": "heatmap", "x": list(x), "y": [safe(v) for v in y], "z": [list(r) for r in z],
        "zmin": -0.5, "zmax": n - 0.5, "colorscale": scale, "showscale": False, "xgap": 0, "ygap": 3,
        "text": [[safe(v) for v in r] for r in hover], "hovertemplate": "%{text}<extra></extra>",
        "hoverongaps": False, "showlegend": False,
    }  # fmt: skip


def strip(traces: list[dict[str, Any]], color: str, name: str) -> None:
    """Add a legend entry for a state that only cells show."""
    traces.append({
        "type": "scatter", "mode": "markers", "x": [None], "y": [None], "name": safe(name), "showlegend": True,
        "marker": {"symbol": "square", "size": 11, "color": tone(color)}, "hoverinfo": "skip",
    })  # fmt: skip


def chart(
    name: str,
    title: str,
    note: str,
    traces: list[dict[str, Any]],
    *,
    height: int,
    x: dict[str, Any],
    y: dict[str, Any],
    shapes: Sequence[dict[str, Any]] = (),
    offsets: Sequence[Sequence[int]] = (),
    left: int = 56,
    legend: bool = True,
    head: Sequence[str] = (),
    table: Sequence[Sequence[Any]] = (),
) -> Chart:
    """Finish a chart: common frame, checked by Plotly's own validators.

    ``offsets`` (see ``Clock.offsets``) marks the x axis as time: ticks are then made by ``figures.js`` at
    local midnights and hours. Raises ValueError: a trace or layout that Plotly refuses (our fault).
    """
    axis = {
        "gridcolor": tone("rule"), "linecolor": tone("soft"), "zeroline": False, "automargin": True,
        "tickfont": {"size": 12, "color": tone("ink")}, "showline": True, "ticks": "outside",
        "tickcolor": tone("soft"),
    }  # fmt: skip
    small = {"size": 12, "color": tone("soft")}
    layout = {
        "barmode": "stack", "bargap": 0.28, "showlegend": legend, "height": height, "dragmode": "zoom",
        "paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": "Liberation Sans, Segoe UI, Helvetica, Arial, sans-serif", "size": 12.5,
                 "color": tone("ink")},
        "margin": {"l": left, "r": 14, "t": 30 if legend else 10, "b": 46},
        "legend": {"orientation": "h", "x": 0, "xanchor": "left", "y": 1.0, "yanchor": "bottom",
                   "font": {"size": 12, "color": tone("ink")}, "itemclick": False, "itemdoubleclick": False},
        "hoverlabel": {"bgcolor": tone("paper"), "bordercolor": tone("soft"), "align": "left",
                       "font": {"color": tone("ink"), "size": 12.5}},
        "modebar": {"bgcolor": "rgba(0,0,0,0)", "color": tone("soft"), "activecolor": tone("ink")},
        "xaxis": {**axis, **x, "title": {"text": safe(x.get("title", "")), "font": small}},
        "yaxis": {**axis, **y, "title": {"text": safe(y.get("title", "")), "font": small}},
        "shapes": list(shapes),
    }  # fmt: skip
    figure = json.loads(go.Figure({"data": traces, "layout": layout}).to_json())
    figure["layout"].pop("template", None)
    extra = {"offsets": [list(pair) for pair in offsets]} if offsets else {}
    return Chart(name, title, note, height, figure, head, table, extra=extra)
