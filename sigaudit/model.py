"""Ground values and protocols: what the wings may expect of one another without importing one another."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Protocol

__all__ = ["Progress", "ReceiverMap", "silent", "subject_parts"]


def subject_parts(subject: str) -> dict[str, str]:
    """What a finding's subject names: ``path=radio,peer=main/0421`` -> {path: radio, peer: main/0421}."""
    return dict(part.split("=", 1) for part in subject.split(",") if "=" in part)


class Progress(Protocol):
    """Told of long work, draws nothing itself. Totals are 0 where they cannot be known beforehand."""

    def start(self, what: str, total: int = 0) -> None:
        """A stage begins; ``total`` in the unit of the steps (bytes for files), 0 if unknown."""

    def step(self, amount: int = 1) -> None:
        """``amount`` more of the running stage is done."""

    def done(self) -> None:
        """The running stage is over."""


class _Silent:
    def start(self, what: str, total: int = 0) -> None: ...

    def step(self, amount: int = 1) -> None: ...

    def done(self) -> None: ...


silent: Progress = _Silent()


class ReceiverMap(Protocol):
    """The part of the settings that reading needs; ``sigaudit.settings.Settings`` is one."""

    @property
    def timezone(self) -> str:
        """The station's IANA zone."""

    @property
    def own_accounts(self) -> Collection[str]:
        """Account numbers under which receivers speak of themselves."""

    @property
    def layouts_dir(self) -> Path:
        """Folder with the station's own layouts."""

    @property
    def dc09_keys(self) -> Mapping[str, str]:
        """Account of a DC-09 header, or ``default`` -> environment variable that holds its key."""

    def group_of(self, receiver: str, line: str = "") -> str:
        """Receiver group of a receiver line, ``main`` without a map."""
