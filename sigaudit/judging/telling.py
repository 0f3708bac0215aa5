"""Numbers of the statistics as a person says them."""

from __future__ import annotations

from math import isnan


def share(value: float) -> str:
    """0.3929 becomes ``39 %``, 0.0091 ``0.9 %``; what is not zero never reads as zero."""
    percent = 100 * value
    if 0 < percent < 0.1:
        return "below 0.1 %"
    return f"{percent:.1f} %" if percent < 9.95 and percent != round(percent) else f"{percent:.0f} %"


def chance(p: float) -> str:
    """A p or q value: ``0.03``, ``0.0004``, ``below 0.0001``."""
    if p < 1e-4:
        return "below 0.0001"
    return f"{p:.1g}" if p < 0.995 else "1"


def number(value: float) -> str:
    """Two digits that mean something: 5.07 becomes ``5.1``, 412.3 ``412``."""
    if isnan(value):
        return "?"
    if value >= 99.5:
        return f"{value:,.0f}"
    return f"{value:.1f}".rstrip("0").rstrip(".") if value >= 0.995 else f"{value:.2g}"


def hours(value: float) -> str:
    """A time in hours: ``25 min``, ``3.5 h``, ``2 d 5 h``."""
    if value < 1:
        minutes = value * 60
        return f"{minutes:.0f} min" if minutes >= 1 else f"{value * 3600:.0f} s"
    if value < 48:
        return f"{number(value)} h"
    days, rest = divmod(round(value), 24)
    return f"{days} d {rest} h" if rest else f"{days} d"
