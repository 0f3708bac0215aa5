"""The wheel is whole: built from the tree or from the sdist, installed alone, it runs the demo anywhere.

The environment is empty but for the wheel. Where everything must run (``SIGAUDIT_TEST_ALL=1``) its
dependencies are installed there by pip as a station would; else, to need no network, they are borrowed
by a ``.pth`` line from the environment of the tests. Then nothing here would notice a dependency that
the project uses and does not declare; ``test_every_import_is_declared`` does, by reading the imports.
"""

from __future__ import annotations

import ast
import hashlib
import os
import re
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SCRIPTS = "Scripts" if os.name == "nt" else "bin"


def run(*words: str | Path, cwd: Path, **more: str) -> str:
    """Stdout of a command; its stderr in the failure."""
    kept = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV")}
    done = subprocess.run(
        [str(word) for word in words], cwd=cwd, capture_output=True, encoding="utf-8", env={**kept, **more}, check=False
    )
    assert done.returncode == 0, f"{words}: {done.stderr[-3000:]}"
    return done.stdout


def built(kind: str, source: Path, into: Path) -> Path:
    """The one file that building ``source`` gives."""
    run(sys.executable, "-m", "build", f"--{kind}", "--no-isolation", "--outdir", into, source, cwd=into.parent)
    found = list(into.iterdir())
    assert len(found) == 1, found
    return found[0]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return built("wheel", ROOT, tmp_path_factory.mktemp("wheel") / "dist")


@pytest.fixture(scope="module")
def empty(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of the programs of an environment that holds the wheel."""
    home = tmp_path_factory.mktemp("empty") / "env"
    whole = os.environ.get("SIGAUDIT_TEST_ALL") == "1"
    venv.create(home, with_pip=whole)
    programs = home / SCRIPTS
    python = programs / ("python.exe" if os.name == "nt" else "python")
    if whole:
        run(python, "-m", "pip", "install", "--quiet", wheel, cwd=home)
        return programs
    run(
        sys.executable,
        "-m",
        "pip",
        "--python",
        python,
        "install",
        "--quiet",
        "--no-deps",
        "--no-index",
        wheel,
        cwd=home,
    )
    site = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=home).strip())
    borrowed = dict.fromkeys(sysconfig.get_path(name) for name in ("purelib", "platlib"))
    # A path named in a .pth is searched, but no .pth in it is obeyed: an editable sigaudit there stays out.
    (site / "borrowed.pth").write_text("\n".join(borrowed) + "\n", encoding="utf-8", newline="\n")
    return programs


def names(archive: Path) -> dict[str, str]:
    """Name -> SHA-256 of every file of a wheel, its own record left out."""
    with zipfile.ZipFile(archive) as files:
        return {n: hashlib.sha256(files.read(n)).hexdigest() for n in files.namelist() if not n.endswith("RECORD")}


def carried(folder: Path, within: str) -> set[str]:
    return {
        f"{within}/{path.relative_to(folder).as_posix()}"
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


@pytest.mark.wheel
def test_the_wheel_holds_program_queries_and_demo(wheel: Path) -> None:
    found = set(names(wheel))
    wanted = carried(ROOT / "queries", "sigaudit/_queries") | carried(ROOT / "data" / "demo", "sigaudit/_demo")
    wanted |= carried(ROOT / "sigaudit", "sigaudit")
    assert wanted - found == set()
    assert not [name for name in found if name.startswith("tests/")]
    assert [name for name in found if name.endswith("LICENSE")]


@pytest.mark.wheel
def test_the_wheel_from_the_sdist_is_the_same(wheel: Path, tmp_path: Path) -> None:
    sdist = built("sdist", ROOT, tmp_path / "sdist")
    with tarfile.open(sdist) as files:
        files.extractall(tmp_path / "source", filter="data")
    (source,) = (tmp_path / "source").iterdir()
    again = built("wheel", source, tmp_path / "dist")
    assert again.name == wheel.name
    assert names(again) == names(wheel)


@pytest.mark.wheel
def test_the_demo_runs_from_another_folder(empty: Path, tmp_path: Path) -> None:
    said = run(empty / "sigaudit", "demo", cwd=tmp_path)
    reports = [Path(line.partition(": ")[2]) for line in said.splitlines()]
    assert len(reports) == 3
    for report in reports:
        assert (tmp_path / report).stat().st_size > 1000, report
    week = tmp_path / "sigaudit-demo" / "reports" / "audit-2026-W47"
    assert {path.name for path in week.iterdir()} >= {"index.html", "findings.csv", "unprotected.csv", "revisit.xlsx"}


@pytest.mark.wheel
def test_everything_comes_from_inside_the_wheel(empty: Path, tmp_path: Path) -> None:
    """A folder ``queries`` where it is started must not be taken for the program's own."""
    (tmp_path / "queries" / "checks").mkdir(parents=True)
    code = (
        "import sigaudit; from sigaudit.store import shipped\n"
        "print(sigaudit.__file__, shipped.queries(), shipped.demo(), shipped.data(), sep='\\n')"
    )
    places = [Path(line) for line in run(empty / "python", "-c", code, cwd=tmp_path).splitlines()]
    assert len(places) == 4
    for place in places:
        assert place.exists() and place.is_relative_to(empty.parent), place
    assert run(empty / "sigaudit", "checks", cwd=tmp_path).count("\n") > 18


def test_a_checkout_takes_its_own_queries_wherever_it_is_started(tmp_path: Path) -> None:
    (tmp_path / "queries").mkdir()
    code = "from sigaudit.store import shipped; print(shipped.queries(), shipped.demo(), sep='\\n')"
    places = run(sys.executable, "-c", code, cwd=tmp_path, PYTHONPATH=str(ROOT)).splitlines()
    assert [Path(place) for place in places] == [ROOT / "queries", ROOT / "data" / "demo"]


def test_every_import_is_declared() -> None:
    """A package that only comes along with another one may be gone tomorrow. Extras count, but for ``dev``."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [text for name, texts in project["optional-dependencies"].items() if name != "dev" for text in texts]
    declared = {re.split(r"[^A-Za-z0-9_-]", text)[0].lower() for text in [*project["dependencies"], *extras]}
    used = {
        name.split(".")[0]
        for path in (ROOT / "sigaudit").rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        for name in ([a.name for a in node.names] if isinstance(node, ast.Import)
                     else [node.module or ""] if isinstance(node, ast.ImportFrom) else [])
    }  # fmt: skip
    called = {"fpdf": "fpdf2", "fontTools": "fonttools"}  # modules that are not named as their packages
    outside = {called.get(name, name) for name in used - set(sys.stdlib_module_names) - {"sigaudit"}}
    assert outside - declared == set()


def test_every_dependency_is_used_or_explained() -> None:
    """Each declared package stands in DEVELOPERS.md with its reason."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    texts = [*project["dependencies"], *project["optional-dependencies"]["dev"]]
    declared = {re.split(r"[^A-Za-z0-9_-]", text)[0] for text in texts}
    assert {name for name in declared if f"| `{name}` |" not in guide} == set()
