"""Every layout on its own samples: what ``layouts test`` answers."""

from __future__ import annotations

from typing import Any

from sigaudit.errors import LayoutFaulty
from sigaudit.model import ReceiverMap
from sigaudit.reading.layout_files import load
from sigaudit.reading.layout_samples import check_samples


def check_all(receivers: ReceiverMap) -> list[dict[str, Any]]:
    """One row per layout, built in and the station's own: id, title, samples that hold, fault or ''.

    Raises LayoutFaulty for a file that is no layout.
    """
    rows = []
    for layout in load(receivers.layouts_dir):
        try:
            held, fault = check_samples(layout), ""
        except LayoutFaulty as error:
            held, fault = 0, error.message
        rows.append({"layout": layout.id, "title": layout.title, "samples": held, "fault": fault})
    return rows
