"""The floors hold: who may import whom, one door per outward library, and a light ``--help``."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "sigaudit"
MODULES = sorted(PACKAGE.rglob("*.py"))
WINGS = ("reading", "judging", "reporting")
# Each library that leads outward has one door (the drawing in DEVELOPERS.md).
DOORS = {
    "duckdb": {"store/engine_duckdb.py"},
    "pyspark": {"store/engine_spark.py"},
    "sqlglot": {"store/engine_spark.py"},
    "plotly": {"reporting/figures.py"},
    "typer": {"cli.py", *(f"door/{path.name}" for path in (PACKAGE / "door").glob("*.py"))},
    "smtplib": {"reporting/mail.py"},
    "fpdf": {"reporting/health_pdf.py"},
    "fontTools": {"reporting/health_pdf.py"},
}
HEAVY = {
    "duckdb", "fontTools", "fpdf", "jinja2", "numpy", "openpyxl", "pandas", "plotly", "pyarrow", "scipy", "sqlglot",
    "xlsxwriter",
}  # fmt: skip
GROUND = (
    "errors", "colours", "model", "settings", "settings_lines", "version", "intervals", "known_names", "workspace",
    "progress",
)  # fmt: skip


def imported(path: Path) -> Iterator[str]:
    """Full names of what a file imports, wherever in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield str(node.module)
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def contracts() -> list[dict[str, object]]:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    found: list[dict[str, object]] = settings["tool"]["importlinter"]["contracts"]
    return found


def test_import_contracts_hold() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as run; run()", "--no-cache"],
        cwd=ROOT, capture_output=True, encoding="utf-8", env=_plain_environment(), check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "2 kept, 0 broken" in done.stdout


def test_contracts_have_no_exceptions() -> None:
    kinds = [contract["type"] for contract in contracts()]
    assert sorted(map(str, kinds)) == ["independence", "layers"]
    for contract in contracts():
        assert "ignore_imports" not in contract
        assert set(contract) <= {"name", "type", "layers", "modules"}


def test_contracts_cover_every_room() -> None:
    """A new file at the top must be given its floor, or nothing would hold it."""
    layers = next(contract["layers"] for contract in contracts() if contract["type"] == "layers")
    named = {room.strip() for layer in layers for room in layer.split("|")}  # type: ignore[attr-defined]
    rooms = {f"sigaudit.{path.stem}" for path in PACKAGE.iterdir() if path.suffix == ".py" and path.stem != "__init__"}
    rooms |= {f"sigaudit.{path.name}" for path in PACKAGE.iterdir() if (path / "__init__.py").exists()}
    assert rooms == named


@pytest.mark.parametrize("wing", WINGS)
def test_wings_know_only_store_and_ground(wing: str) -> None:
    allowed = {wing, "store", *GROUND}
    strangers = {
        f"{path.relative_to(ROOT).as_posix()}: {name}"
        for path in (PACKAGE / wing).rglob("*.py")
        for name in imported(path)
        if name.startswith("sigaudit.") and name.split(".")[1] not in allowed
    }
    assert strangers == set()


@pytest.mark.parametrize("library", DOORS)
def test_each_outward_library_has_one_door(library: str) -> None:
    through = {
        path.relative_to(PACKAGE).as_posix()
        for path in MODULES
        if any(name.split(".")[0] == library for name in imported(path))
    }
    assert through <= DOORS[library]


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["audit", "--help"], ["sql", "--help"]], ids=" ".join)
def test_help_loads_nothing_heavy(words: list[str]) -> None:
    """In a process of its own: what was asked for help must not have loaded an engine, tables or charts."""
    code = (
        "import sys\n"
        "from sigaudit import cli\n"
        f"sys.argv = ['sigaudit', *{words!r}]\n"
        "try:\n"
        "    cli.main()\n"
        "except SystemExit:\n"
        "    pass\n"
        f"sys.stderr.write(' '.join(sorted({HEAVY!r} & set(sys.modules))))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, encoding="utf-8", check=True)
    assert done.stdout
    assert done.stderr == ""


def test_rooms_stay_small() -> None:
    """A file over 400 lines is two rooms; names that gather everything are none."""
    long = {path.relative_to(ROOT).as_posix(): n for path in MODULES if (n := _lines(path)) > 400}
    assert long == {}
    assert not [path for path in MODULES if path.stem in ("utils", "helpers", "common", "misc", "base")]


def test_text_is_always_read_and_written_as_utf8() -> None:
    """Without an encoding Windows takes its own: every open of text names one."""
    silent = []
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                named = {keyword.arg for keyword in node.keywords}
                if (
                    node.func.attr in ("read_text", "write_text")
                    and "encoding" not in named
                    and "path" not in _args(node)
                ):
                    silent.append(f"{path.relative_to(ROOT).as_posix()}:{node.lineno}")
    assert silent == []


def _args(node: ast.Call) -> list[str]:
    # reporting.files.write_text(path, text) is our own and names the encoding inside
    return [arg.id for arg in node.args if isinstance(arg, ast.Name)]


def _lines(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def _plain_environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), "NO_COLOR": "1"}
