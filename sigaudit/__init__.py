"""sigaudit: what a monitoring station's receivers really heard, account by account."""

from __future__ import annotations

from os import PathLike
from typing import TYPE_CHECKING

from sigaudit.version import VERSION

if TYPE_CHECKING:
    from sigaudit.station import Station

__version__ = VERSION
__all__ = ["__version__", "open"]


def open(folder: str | PathLike[str]) -> Station:
    """A workspace for reading: ``.findings("2026-W47")`` pandas, ``.signals()`` and ``.events()`` Arrow, ``.sql()``.

    Raises UsageProblem (no workspace), StoreMissing, SettingsProblem.
    """
    # Imported here so that `sigaudit --help` stays quick.
    from pathlib import Path

    from sigaudit.station import Station

    return Station(Path(folder))
