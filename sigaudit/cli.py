"""The entry point: every error of ours becomes one sentence and its exit code."""

from __future__ import annotations

import sys
from typing import Annotated, Any, NoReturn

import typer

from sigaudit.door import answering, caring, causing, deciding, patterning, planning, rejecting, showing, taking_in
from sigaudit.door.options import app
from sigaudit.errors import SigauditError, StoreProblem
from sigaudit.version import VERSION

__all__ = [
    "answering",
    "app",
    "caring",
    "causing",
    "deciding",
    "main",
    "patterning",
    "planning",
    "rejecting",
    "showing",
    "taking_in",
]

_state: dict[str, Any] = {"debug": False}


def _print_version(asked: bool) -> None:
    # A callback of the option itself, because the group would otherwise ask for a command first.
    if asked:
        typer.echo(VERSION)
        raise typer.Exit


@app.callback()
def options(
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")] = False,
    version: Annotated[
        bool, typer.Option("--version", help="Print the version and stop.", is_eager=True, callback=_print_version)
    ] = False,
) -> None:
    _state["debug"] = debug


def main() -> None:
    """Entry point: every error of ours becomes one sentence and its exit code."""
    from sigaudit import console

    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")
    try:
        app()
    except SigauditError as error:
        console.fail(error, debug=bool(_state["debug"]))
    except KeyboardInterrupt:
        _interrupted()
    except RuntimeError as error:
        # The engine turns an interrupt that reaches it first into an error of its own.
        if "interrupted" not in str(error).lower():
            raise
        _interrupted()
    except _memory_faults() as error:
        said = str(error).partition("\n")[0]
        problem = StoreProblem(
            f"the memory that the engine may use is not enough: {said}",
            next_step="raise memory_limit under [audit] in sigaudit.toml; the store is as it was before",
        )
        console.fail(problem, debug=bool(_state["debug"]))
    except BrokenPipeError:
        raise SystemExit(0) from None
    except OSError as error:
        where = error.filename or "a file of the workspace"
        problem = StoreProblem(
            f"{where}: {error.strerror or error}", next_step="see who may write there, and what room is left"
        )
        console.fail(problem, debug=bool(_state["debug"]))


def _memory_faults() -> tuple[type[BaseException], ...]:
    """The engine's faults of that kind, without loading it: one that is not loaded has raised nothing."""
    engine = sys.modules.get("sigaudit.store.engine_duckdb")
    return (MemoryError, *engine.MEMORY_FAULTS) if engine else (MemoryError,)


def _interrupted() -> NoReturn:
    from sigaudit import console

    console.note("interrupted; the store is as it was before")
    raise SystemExit(130)


if __name__ == "__main__":
    main()
