"""The one door to Plotly: finished charts as data for a page, checked by Plotly's own validators.

Colours are names (see ``traces``), filled in by ``figures.js`` for light, dark and print. Time runs in UTC
underneath; ticks and hover texts are local. No control may send a chart's data anywhere.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import plotly.graph_objects as go

from sigaudit.reporting.traces import TONES, safe, tone

__all__ = ["CONFIG", "Chart", "chart"]

# Nothing here may send data away: the button list is closed and the upload control is off.
CONFIG: dict[str, Any] = {
    "displaylogo": False,
    "showSendToCloud": False,
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
        "gridcolor": tone("rule"),
        "linecolor": tone("soft"),
        "zeroline": False,
        "automargin": True,
        "tickfont": {"size": 12, "color": tone("ink")},
        "showline": True,
        "ticks": "outside",
        "tickcolor": tone("soft"),
    }
    small = {"size": 12, "color": tone("soft")}
    titles = [{"text": safe(side.get("title", "")), "font": small, "standoff": 8} for side in (x, y)]
    layout = {
        "barmode": "stack",
        "bargap": 0.28,
        "showlegend": legend,
        "height": height,
        "dragmode": "zoom",
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {
            "family": "Liberation Sans, Segoe UI, Helvetica, Arial, sans-serif",
            "size": 12.5,
            "color": tone("ink"),
        },
        "margin": {"l": left, "r": 14, "t": 30 if legend else 10, "b": 46},
        "legend": {
            "orientation": "h",
            "x": 0,
            "xanchor": "left",
            "y": 1.0,
            "yanchor": "bottom",
            "font": {"size": 12, "color": tone("ink")},
            "traceorder": "normal",
            "itemclick": False,
            "itemdoubleclick": False,
        },
        "hoverlabel": {
            "bgcolor": tone("paper"),
            "bordercolor": tone("soft"),
            "align": "left",
            "font": {"color": tone("ink"), "size": 12.5},
        },
        "modebar": {"bgcolor": "rgba(0,0,0,0)", "color": tone("soft"), "activecolor": tone("ink")},
        "xaxis": {**axis, **x, "title": titles[0]},
        "yaxis": {**axis, **y, "title": titles[1]},
        "shapes": list(shapes),
    }
    figure = json.loads(go.Figure({"data": traces, "layout": layout}).to_json())
    figure["layout"].pop("template", None)
    extra = {"offsets": [list(pair) for pair in offsets]} if offsets else {}
    return Chart(name, title, note, height, figure, head, table, extra=extra)
