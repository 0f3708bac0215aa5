"""Every command explains itself, and the example it gives is one it would take."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from typing import Any

import pytest
import typer

from sigaudit.cli import app
from tests.demo_station import called

ROOT: Any = typer.main.get_command(app)


def commands(group: Any = ROOT, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every command by its words, those of groups too."""
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, (*path, name))
        else:
            yield (*path, name), command


ALL = dict(commands())
EXAMPLE = re.compile(r"Example: (sigaudit .+?)\s*$", re.DOTALL)


def example(path: tuple[str, ...]) -> list[str]:
    """The words of a command's example, without the program's name."""
    found = EXAMPLE.search(ALL[path].help or "")
    assert found, f"{' '.join(path)}: no example"
    return shlex.split(" ".join(found[1].split()))[1:]


@pytest.mark.parametrize("path", ALL, ids=" ".join)
def test_help_is_given_with_an_example(path: tuple[str, ...]) -> None:
    said = called(*path, "--help")
    assert said.code == 0
    assert "Usage:" in said.out
    assert f"Example: sigaudit {' '.join(path)}" in said.out
    assert said.err == ""


@pytest.mark.parametrize("path", ALL, ids=" ".join)
def test_the_example_parses(path: tuple[str, ...]) -> None:
    """The command's own parser takes its example: options exist, arguments are as many as wanted."""
    words = example(path)
    assert tuple(words[: len(path)]) == path
    context = ALL[path].make_context(" ".join(path), words[len(path) :])
    assert context.params


@pytest.mark.parametrize("path", ALL, ids=" ".join)
def test_every_option_says_what_it_is_for(path: tuple[str, ...]) -> None:
    unexplained = [p.name for p in ALL[path].params if not getattr(p, "help", None)]
    assert unexplained == []


@pytest.mark.parametrize("path", [path for path in ALL if path[0] not in ("init", "demo")], ids=" ".join)
def test_commands_that_need_a_workspace_can_be_told_which(path: tuple[str, ...]) -> None:
    assert "--workspace" in {name for p in ALL[path].params for name in p.opts}


def test_the_program_lists_every_command() -> None:
    said = called("--help")
    assert said.code == 0
    assert {path[0] for path in ALL} <= set(re.findall(r"^  ([a-z-]+)  ", said.out, re.MULTILINE))


def test_the_version_is_that_of_the_project() -> None:
    from importlib.metadata import PackageNotFoundError, version

    said = called("--version")
    assert (said.code, said.err) == (0, "")
    try:
        installed = version("sigaudit")
    except PackageNotFoundError:
        pytest.skip("sigaudit is not installed here, so its metadata cannot be asked")
    assert said.out.strip() == installed


@pytest.mark.parametrize("words", [["audit", "--wek", "2026-W47"], ["adit"], ["ingest"], ["why"]], ids=" ".join)
def test_wrong_usage_is_one_sentence_and_exit_2(words: list[str]) -> None:
    said = called(*words)
    assert said.code == 2
    assert said.out == ""
    assert "Traceback" not in said.err
    assert said.err.count("Error:") == 1
