"""The reports kept in the repository are those that this checkout makes of its demo."""

from __future__ import annotations

import re
import struct
import tomllib
from pathlib import Path

from tests import samples
from tests.demo_station import DemoStation

ANEW = "make them anew: python -m tests.samples"


def test_the_kept_reports_are_what_the_demo_makes(demo_station: DemoStation, tmp_path: Path) -> None:
    made = {file.relative_to(tmp_path).as_posix(): file for file in samples.gather(demo_station, tmp_path)}
    kept = {file.relative_to(samples.KEPT).as_posix(): file for file in samples.KEPT.rglob("*") if file.is_file()}
    pictures = {name for name in kept if name.startswith("pictures/")}
    assert set(kept) - pictures - {"README.md"} == set(made), ANEW
    differ = [name for name in made if samples.words(made[name]) != samples.words(kept[name])]
    assert differ == [], ANEW


def test_the_kept_reports_are_whole_and_light() -> None:
    sizes = {file: file.stat().st_size for file in samples.KEPT.rglob("*") if file.is_file()}
    library = sum(size for file, size in sizes.items() if file.name.startswith("plotly"))
    assert sum(sizes.values()) - library < 3_500_000
    for name in samples.PICTURES:
        head = (samples.KEPT / "pictures" / name).read_bytes()[:24]
        # PNG: signature, then IHDR with width and height (W3C PNG specification, 5.2 and 11.2.1).
        assert head[:8] == b"\x89PNG\r\n\x1a\n" and struct.unpack(">II", head[16:24]) == samples.PICTURES[name][1:3]
        assert (samples.KEPT / "pictures" / name).stat().st_size < 300_000
    for page in samples.KEPT.rglob("*.html"):
        assert not re.search(r"/tmp/|/home/|[A-Z]:\\", page.read_text(encoding="utf-8")), page


def test_the_readme_shows_them_and_the_wheel_leaves_them() -> None:
    readme = (samples.ROOT / "README.md").read_text(encoding="utf-8")
    shown = dict(re.findall(r"!\[([^\]]+)\]\((reports/demo/[^)]+)\)", readme))
    assert set(shown.values()) == {f"reports/demo/pictures/{name}" for name in samples.PICTURES}
    assert all(len(told) > 30 for told in shown), "each picture says in words what it shows"
    build = tomllib.loads((samples.ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["hatch"]["build"]
    carried = [*build["targets"]["wheel"]["packages"], *build["targets"]["wheel"]["force-include"]]
    carried += build["targets"]["sdist"]["include"]
    assert not [name for name in carried if name.startswith("reports")]
