"""Colours a station may choose, and whether text in them can be read: the contrast of WCAG 2."""

from __future__ import annotations

import re

__all__ = ["AA_TEXT", "DARK_PAPER", "PAPER", "colour_fault", "contrast", "lightened"]

# Text of ordinary size needs this ratio at level AA (WCAG 2.1, success criterion 1.4.3).
AA_TEXT = 4.5
PAPER = "#ffffff"
DARK_PAPER = "#14181b"
_FORM = re.compile("#[0-9a-fA-F]{6}")
_STEPS = 100


def contrast(one: str, other: str) -> float:
    """Ratio of two colours ``#rrggbb``, from 1 to 21.

    WCAG 2.1, definitions of contrast ratio and relative luminance: (L1 + 0.05) / (L2 + 0.05).
    """
    first, second = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (first + 0.05) / (second + 0.05)


def colour_fault(text: str) -> str:
    """What is wrong with a colour for text on white paper, or ''; names the nearest darker one that can be read."""
    if not _FORM.fullmatch(text):
        return "expected a colour as #rrggbb, such as #0f5873"
    ratio = contrast(text, PAPER)
    if ratio >= AA_TEXT:
        return ""
    darker = (_mixed(text, "#000000", step) for step in range(1, _STEPS + 1))
    fit = next(shade for shade in darker if contrast(shade, PAPER) >= AA_TEXT)
    told = f"has a contrast of {ratio:.2f} to white paper where text needs {AA_TEXT} (WCAG AA)"
    return f"{told}; the same hue can be read from {fit} on"


def lightened(text: str, paper: str = DARK_PAPER) -> str:
    """The colour, mixed with white until text in it can be read on dark ``paper``."""
    lighter = (_mixed(text, "#ffffff", step) for step in range(_STEPS + 1))
    return next(shade for shade in lighter if contrast(shade, paper) >= AA_TEXT)


def _mixed(one: str, other: str, step: int) -> str:
    share = step / _STEPS
    channels = zip(_channels(one), _channels(other), strict=True)
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in channels)


def _channels(text: str) -> tuple[int, int, int]:
    return int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16)


def _luminance(text: str) -> float:
    # 0.04045 as in the sRGB standard; WCAG 2.1 prints 0.03928, which differs for no colour of eight bits.
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in _channels(text))]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
