"""`layouts guess`: right at first guess on 9 of 10 invented exports, and never wrong without saying so.

The truth is that of ``guess_exports``: it stands outside the guesser, in the columns from which each export
was written and the signals of the station behind it.
"""

from __future__ import annotations

import tempfile
from datetime import timedelta
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sigaudit.errors import InputProblem, LayoutUnknown, NothingToRead
from sigaudit.reading import layout_files
from sigaudit.reading.guess import Proposal, guess
from sigaudit.reading.layout_samples import check_samples
from sigaudit.reading.layouts import Constant
from tests.reading.guess_exports import Export, exports
from tests.reading.small_station import Station

EXPORTS = {export.name: export for export in exports()}
SHARE = 0.9  # what the proposal is asked for


@cache
def proposed(name: str) -> Proposal:
    with tempfile.TemporaryDirectory() as folder:
        return guess(written(Path(folder), EXPORTS[name].content))


def written(folder: Path, content: bytes, name: str = "export.txt") -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def wrong(export: Export, found: Proposal) -> list[str]:
    """What of a proposal is not the truth."""
    layout = found.layout
    faults = []
    positions = (*layout.time_columns, *layout.fields.values())
    assert not any(isinstance(column, str) for column in positions) or layout.header
    names = header(export)

    def place(column: object) -> int:
        return column - 1 if isinstance(column, int) else names.index(str(column))

    fields = {name: place(column) for name, column in layout.fields.items() if not isinstance(column, Constant)}
    if fields != dict(export.fields):
        faults.append(f"fields {fields}, not {dict(export.fields)}")
    if tuple(place(column) for column in layout.time_columns) != export.time:
        faults.append(f"time in {layout.time_columns}")
    if (layout.event_style, layout.dialect.delimiter, layout.header) != (export.style, export.delimiter, export.header):
        faults.append(f"style {layout.event_style}, delimiter {layout.dialect.delimiter!r}, header {layout.header}")
    if found.explained < 1.0:
        faults.append(f"explains {found.explained}")
    return faults + meaning(export, found)


def header(export: Export) -> list[str]:
    """The header words as they stand in the bytes, cut by the truth's delimiter."""
    if not export.header:
        return []
    lines = export.content.decode("utf-8-sig", errors="replace").splitlines()
    first = next(line for line in lines if export.delimiter in line and not line.startswith("#"))
    return [word.strip('"') for word in first.split(export.delimiter)]


def meaning(export: Export, found: Proposal) -> list[str]:
    """The preview against the station's signals: what was understood, not how the layout says it."""
    faults = []
    for truth, seen in zip(export.lines, found.preview, strict=False):
        wanted = {"account": truth.account}
        if export.style != "sia":
            wanted |= {"qualifier": truth.qualifier, "code": truth.code}
        if "zone" in export.fields:
            wanted["zone"] = truth.zone
        if "partition" in export.fields:
            wanted["partition"] = truth.partition
        if "line" in export.fields:
            wanted["line"] = truth.line
        for name, value in wanted.items():
            if seen[name] != value and (name, value, seen[name]) != ("zone", "000", ""):
                faults.append(f"line {seen['line_no']}: {name} is {seen[name]!r}, not {value!r}")
    return faults[:3]


def test_nine_of_ten_at_first_guess_and_never_wrong_in_silence(record_property):
    missed = {name: faults for name, export in EXPORTS.items() if (faults := wrong(export, proposed(name)))}
    share = 1 - len(missed) / len(EXPORTS)
    record_property("right_at_first_guess", f"{len(EXPORTS) - len(missed)} of {len(EXPORTS)}")
    assert len(EXPORTS) >= 30
    assert share >= SHARE, missed
    assert [name for name in missed if not proposed(name).unsure] == []


@pytest.mark.parametrize("name", EXPORTS)
def test_a_proposal_reads_back_holds_its_samples_and_is_taken_in(name, tmp_path):
    """The proposal as a station would use it: in its layouts folder, chosen by content, with the sum closing."""
    export, found = EXPORTS[name], proposed(name)
    station = Station(tmp_path, timezone="UTC")
    path = station.receivers.layouts_dir / "guessed.toml"
    path.write_text(found.toml, encoding="utf-8", newline="\n")
    layout = layout_files.read(path)
    assert check_samples(layout) == 3
    sample_lines = [sample["line"] for sample in layout.samples]
    text = export.content.decode("utf-8-sig", errors="replace" if "cp1252" not in name else "ignore")
    assert all(line in text or not line.isascii() for line in sample_lines)
    result = station.take(("export", export.content))
    assert result.sources[0].layout == "guessed"
    assert result.sum.signals + result.sum.repeats == len(export.lines)
    # Received times, against the station's: seconds and less may be left away by the export itself.
    seen = sorted(row[0] for row in station.signals(["received_utc"]))
    if len(seen) == len(export.lines) and name != "months unclear":
        told = sorted(line.at for line in export.lines)
        assert all(abs(a - b) < timedelta(minutes=1) for a, b in zip(seen, told, strict=True))


def test_an_order_of_day_and_month_that_is_open_is_said():
    said = [line for line in proposed("months unclear").unsure if "%d/%m/%Y" in line and "%m/%d/%Y" in line]
    assert len(said) == 1
    for name in ("us, quoted, crlf", "minutes only", "two digit years, day first"):
        assert not any("read as" in line for line in proposed(name).unsure), name


def test_a_missing_receiver_is_said():
    for name in ("no receiver", "no receiver, no header"):
        assert any("receiver" in line for line in proposed(name).unsure)


def test_two_columns_that_fit_equally_well_are_said(tmp_path):
    """The same account numbers twice, without names: nobody can know which one counts."""
    export = EXPORTS["no receiver, no header"]
    lines = [line.split(";") for line in export.content.decode().splitlines()]
    doubled = "".join(";".join([*cells, str(9999 - int(cells[0])).zfill(4)]) + "\n" for cells in lines)
    found = guess(written(tmp_path, doubled.encode()))
    assert any("could both be the account" in line for line in found.unsure)


def test_preview_and_zone(tmp_path):
    path = written(tmp_path, EXPORTS["iso, comma"].content)
    found = guess(path, timezone="Europe/Berlin")
    assert len(found.preview) == 20
    assert found.layout.timezone == "Europe/Berlin"
    with pytest.raises(InputProblem):
        guess(path, timezone="Nowhere/Atall")


FIXED = "\n".join(f"09-NOV 06:3{n % 10}  RX1 L2  ACCT 12{n:02d}  BURGLARY ALARM ZONE {n}" for n in range(60))
FRAMES = "\n".join(f'\nABCD0028"SIA-DCS"{n:04d}L0#1234[#1234|NBA{n:02d}]_06:30:12,11-09-2026\r' for n in range(60))
TABLE = "name;city;amount\n" + "\n".join(f"Invented {n};Nowhere;{n * 3}" for n in range(40))


@pytest.mark.parametrize(("text", "missing"), [(FIXED, "the event"), (FRAMES, "no time")], ids=["one word", "frames"])
def test_text_that_says_no_time_or_no_event_is_not_guessed(text, missing, tmp_path):
    """Frames as they come from the wire have no time of receipt; one word for all events tells nothing apart."""
    with pytest.raises(LayoutUnknown, match=missing):
        guess(written(tmp_path, text.encode()))


@pytest.mark.parametrize(
    ("content", "error"),
    [(b"", NothingToRead), (b"\n\n \n", LayoutUnknown), (TABLE.encode(), LayoutUnknown),
     ("a,b,c\n".encode("utf-16"), InputProblem), (bytes(range(32)) * 40, InputProblem)],
    ids=["empty", "blank", "other table", "utf-16", "binary"],
)  # fmt: skip
def test_one_sentence_for_what_is_no_export(content, error, tmp_path):
    with pytest.raises(error) as caught:
        guess(written(tmp_path, content))
    assert "\n" not in caught.value.message
    assert caught.value.message


def test_a_file_that_is_not_there_and_a_folder(tmp_path):
    with pytest.raises(NothingToRead):
        guess(tmp_path / "missing")
    with pytest.raises(InputProblem):
        guess(tmp_path)


cell = st.one_of(
    st.sampled_from(["2026-11-09 06:30:12", "09.11.2026 06:30"]),
    st.sampled_from(["E130", "1130", "0042", "015", "1", "", '"', "BA", "#", "\x00"]),
    st.text(max_size=6),
)  # fmt: skip
tables = st.builds(
    lambda rows, delimiter, end: end.join(delimiter.join(row) for row in rows).encode("utf-8", "surrogatepass"),
    st.lists(st.lists(cell, min_size=3, max_size=5), min_size=1, max_size=8),
    st.sampled_from([",", ";", "\t", "|"]), st.sampled_from(["\n", "\r\n", "\r"]),
)  # fmt: skip
good_row = st.builds(
    lambda n, junk: f"2026-11-09 06:30:{n:02d},E130,{1000 + n % 5},{junk}", st.integers(0, 59), st.text(max_size=5)
)
near = st.builds(
    lambda rows, head: (head + "\n" + "\n".join(rows)).encode("utf-8", "surrogatepass"),
    st.lists(good_row, min_size=3, max_size=9), st.text(max_size=20),
)  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(st.one_of(st.binary(max_size=300), tables, near))
def test_any_bytes_give_a_proposal_or_one_sentence(content):
    with tempfile.TemporaryDirectory() as folder:
        try:
            found = guess(written(Path(folder), content))
        except (NothingToRead, InputProblem) as problem:
            assert "\n" not in problem.message
        else:
            assert 0 < found.explained <= 1
            assert found.preview


def test_times_with_and_without_an_offset_are_compared(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    times = ["2026-11-02T08:15+01", "2026-11-02 08:15:30"] * 10
    path.write_text("when,acct,ev\n" + "".join(f"{at},00{i:02d},E130\n" for i, at in enumerate(times)))
    assert "when" in guess(path).toml
