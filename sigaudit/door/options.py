"""What all commands share: the application, the options every one has, and a workspace opened."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sigaudit.errors import UsageProblem

if TYPE_CHECKING:
    from sigaudit.judging.cards import Card
    from sigaudit.settings import Settings
    from sigaudit.store.opening import Store

app = typer.Typer(
    name="sigaudit", add_completion=False, rich_markup_mode=None, no_args_is_help=True, pretty_exceptions_enable=False,
    help="What a monitoring station's receivers really heard: who is unprotected and what is wrong.",
)  # fmt: skip

Workspace = Annotated[Path | None, typer.Option("--workspace", "-w", help="Workspace folder; default: here or above.")]
Json = Annotated[bool, typer.Option("--json", help="A versioned JSON document on stdout.")]
Mask = Annotated[bool, typer.Option("--mask", help="For sharing: stand-ins for numbers, names and places.")]
FailOn = Annotated[str, typer.Option("--fail-on", help="Exit 20 at a finding of this severity or worse.")]


def settings_of(workspace: Path | None) -> Settings:
    """Settings of the workspace named, or of the nearest one from here upward."""
    from sigaudit.settings import load

    return load(workspace)


def opened(workspace: Path | None, *, create: bool = False) -> tuple[Settings, Store]:
    """Settings and store of a workspace."""
    from sigaudit.store.opening import open_store

    settings = settings_of(workspace)
    return settings, open_store(settings.store_dir, create=create)


def shown(store: Store, run: Any, *, mask: bool) -> Any:
    """The run with what was decided about its findings; with ``mask`` under stand-in names."""
    from sigaudit.reporting.masking import Masked
    from sigaudit.store import set_asides
    from sigaudit.store.mask_key import mask_key

    decided = set_asides.decided(store, run)
    return Masked(decided, mask_key(store)) if mask else decided


def station_name(settings: Settings, *, mask: bool) -> str:
    """How the reports call the station."""
    from sigaudit.reporting.masking import STATION

    return STATION if mask else settings.report_name or settings.station


def report_folder(settings: Settings, name: str, run: Any, *, mask: bool) -> Path:
    """Where a report on a run goes; one under stand-in names lies beside the other."""
    return settings.reports_dir / f"{name}-{run.meta['label']}{'-masked' if mask else ''}"


def known_cards(workspace: Path | None) -> dict[str, Card]:
    """Cards of the built-in checks, and of the station's own where a workspace is named or near."""
    from sigaudit.judging.cards import read_all
    from sigaudit.store import shipped

    folders = [shipped.queries() / "checks"]
    try:
        folders.append(settings_of(workspace).checks_dir)
    except UsageProblem:
        if workspace is not None:
            raise
    return read_all(*folders)
