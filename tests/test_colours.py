"""Colours: the contrast of WCAG, and what a station is told of one that cannot be read."""

from __future__ import annotations

from pathlib import Path

import pytest

from sigaudit.colours import AA_TEXT, DARK_PAPER, PAPER, colour_fault, contrast, lightened
from sigaudit.errors import SettingsProblem
from sigaudit.reporting import identity
from sigaudit.settings import parse

STATION = '[station]\nname = "Harbour Watch"\ntimezone = "Europe/Vienna"\n'
PNG = b"\x89PNG\r\n\x1a\n" + b"\0" * 40


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        ("#000000", "#ffffff", 21.0),  # WCAG 2.1: "Contrast ratios can range from 1 to 21"
        ("#ffffff", "#ffffff", 1.0),
        ("#767676", "#ffffff", 4.54),  # the lightest grey that passes AA on white, widely published
        ("#777777", "#ffffff", 4.48),  # the one that does not
        ("#ff0000", "#ffffff", 4.0),  # red on white, widely published
        ("#ffa500", "#ffffff", 1.97),  # orange on white, widely published
        ("#0000ff", "#ffffff", 8.59),  # blue on white, widely published
    ],
)
def test_contrast_as_published(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.006)
    assert contrast(other, one) == contrast(one, other)


def test_a_colour_too_light_for_text_is_refused_with_line_and_a_way_out(tmp_path: Path) -> None:
    with pytest.raises(SettingsProblem, match=r"line 5: report\.colour: has a contrast of 1\.97") as fault:
        parse(STATION + '[report]\ncolour = "#ffa500"\n', tmp_path)
    fit = str(fault.value).rsplit("from ", 1)[1][:7]
    assert contrast(fit, PAPER) >= AA_TEXT
    assert parse(STATION + f'[report]\ncolour = "{fit}"\n', tmp_path).report_colour == fit


@pytest.mark.parametrize("colour", ["red", "#fff", "0f5873", "#0f58731", "#0g5873", ""])
def test_other_forms_are_refused(colour: str, tmp_path: Path) -> None:
    assert colour_fault(colour)
    with pytest.raises(SettingsProblem, match="#rrggbb"):
        parse(STATION + f'[report]\ncolour = "{colour}"\n', tmp_path)


@pytest.mark.parametrize("colour", ["#000000", "#0f5873", "#a11530", "#00008b"])
def test_on_a_dark_screen_it_is_lightened_until_it_can_be_read(colour: str) -> None:
    assert contrast(lightened(colour), DARK_PAPER) >= AA_TEXT


def test_a_logo_is_looked_at_before_it_is_used(tmp_path: Path) -> None:
    def of(name: str, data: bytes | None) -> identity.Identity:
        if data is not None:
            (tmp_path / name).write_bytes(data)
        return identity.of(parse(STATION + f'[report]\nlogo = "{name}"\n', tmp_path))

    assert of("a.png", PNG).logo_url.startswith("data:image/png;base64,iVBORw0KGgo")
    for name, data, said in (
        ("b.svg", b"<svg onload='x'/>", "neither PNG nor JPEG"),
        ("none.png", None, "No such file"),
        ("big.png", PNG + b"\0" * 60_000, "at most 60,000 fit"),
        ("../c.png", None, "outside the workspace"),
    ):
        with pytest.raises(SettingsProblem, match=said) as fault:
            of(name, data)
        assert "sigaudit.toml:5" in str(fault.value)
