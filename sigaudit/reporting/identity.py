"""Who a health report is from: name, contact, colours that can be read, and a logo checked before use."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from pathlib import Path

from sigaudit.colours import lightened
from sigaudit.errors import SettingsProblem
from sigaudit.settings import Settings

__all__ = ["Identity", "of"]

# A page with its logo stays under 150 kB; base64 makes four bytes of three.
MOST_LOGO = 60_000
_KINDS = {b"\x89PNG\r\n\x1a\n": "image/png", b"\xff\xd8\xff": "image/jpeg"}


@dataclass(frozen=True)
class Identity:
    """name, contact, colour on paper and on a dark screen, logo bytes (b'' for none), paper size."""

    name: str
    contact: str
    colour: str
    dark_colour: str
    language: str
    paper: str
    logo: bytes = b""
    logo_kind: str = ""

    @property
    def logo_url(self) -> str:
        """The logo as a ``data:`` address, '' for none."""
        return f"data:{self.logo_kind};base64,{base64.b64encode(self.logo).decode('ascii')}" if self.logo else ""


def of(settings: Settings) -> Identity:
    """Identity by ``[report]``. Raises SettingsProblem: the logo cannot be used."""
    logo, kind = _logo(settings)
    return Identity(
        settings.report_name or settings.station, settings.report_contact, settings.report_colour,
        lightened(settings.report_colour), settings.report_language, settings.report_paper, logo, kind,
    )  # fmt: skip


def _logo(settings: Settings) -> tuple[bytes, str]:
    if not settings.report_logo:
        return b"", ""
    where = settings.where_of("report", "logo")
    path = settings.workspace / Path(settings.report_logo)
    if not path.resolve().is_relative_to(settings.workspace):
        raise SettingsProblem(
            f"{where}: report.logo: {settings.report_logo} lies outside the workspace",
            next_step="copy the file beside sigaudit.toml and give its name",
        )
    try:
        data = path.read_bytes()
    except OSError as error:
        raise SettingsProblem(
            f"{where}: report.logo: {path}: {error.strerror}", next_step="copy the file there, or leave the key out"
        ) from error
    kind = next((kind for head, kind in _KINDS.items() if data.startswith(head)), "")
    if not kind:
        raise SettingsProblem(
            f"{where}: report.logo: {path.name} is neither PNG nor JPEG", next_step="save the logo as PNG"
        )
    if len(data) > MOST_LOGO:
        raise SettingsProblem(
            f"{where}: report.logo: {path.name} has {len(data):,} bytes, at most {MOST_LOGO:,} fit",
            next_step="save it smaller: it is shown 14 mm high",
        )
    return data, kind
