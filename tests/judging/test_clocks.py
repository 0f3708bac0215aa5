"""Steps back of a receiver's clock: told with their place, and findings beside them are less sure.

Scenes worked by hand; that either side of a step may be wrong is a house rule (no source).
"""

from __future__ import annotations

import gzip
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from sigaudit.errors import CheckFaulty
from sigaudit.judging import checks
from sigaudit.judging.cards import read_all
from sigaudit.judging.clocks import MINUTES_ONLY, Clocks, known_at
from sigaudit.store.clock_breaks import ClockBreak
from sigaudit.store.shipped import queries
from tests.checks.case import Case
from tests.demo_station import DEMO, DemoStation, called

CASES = Path(__file__).resolve().parents[1] / "checks"
CARDS = read_all(queries() / "checks")
# The last test of 0001 came on the 20th at 02:10 in New York, 07:10 UTC; that of 0002 a day later (the case's why).
SPAN = datetime(2026, 11, 20, 6, 30), datetime(2026, 11, 20, 8, 0)
WEEK = "2026-W45"


def rows(receiver: str, from_utc: datetime, until_utc: datetime) -> dict[str, dict[str, object]]:
    known = Clocks([ClockBreak(1, receiver, 7, until_utc, from_utc, 6)])
    found = Case(CASES / "test_overdue" / "fires").run(CARDS["test_overdue"], known)
    return {row["account_key"].partition("/")[2] + row["subject"]: row for row in found}


def test_a_finding_beside_a_step_is_in_doubt_and_says_why() -> None:
    found = rows("1", *SPAN)
    row = found["0001path=phone"]
    assert (row["doubtful"], row["reason"]) == (1, "the clock of receiver 1 stepped back 1 h 30 min meanwhile")
    plain = Case(CASES / "test_overdue" / "fires").run(CARDS["test_overdue"])
    assert {row["doubtful"] for row in plain} == {0}
    # Heard in the span too, but its evidence begins with its last test, a day later.
    assert found["0002path=phone"]["doubtful"] == 0
    # Sound rows stay as they are.
    assert found["0003path=phone"]["doubtful"] == 0
    # Its signals come by receiver 2 until then: another clock.
    assert found["0005panel"]["doubtful"] == 0


def test_an_account_not_heard_in_the_span_is_not_in_doubt() -> None:
    # 0001 has long been silent on the 22nd; a clock that steps then did not make its silence.
    found = rows("1", datetime(2026, 11, 22, 6, 30), datetime(2026, 11, 22, 8, 0))
    assert found["0001path=phone"]["doubtful"] == 0


def test_another_receivers_clock_is_no_doubt() -> None:
    assert rows("2", *SPAN)["0001path=phone"]["doubtful"] == 0


def test_doubt_lowers_the_confidence_by_one_step() -> None:
    import pyarrow as pa

    def sure(doubtful: int) -> str:
        row = {"grade": [3], "inferred": [0], "doubtful": [doubtful], "excused_count": [0]}
        return checks.confidence(pa.table(row))[0]

    assert (sure(0), sure(1)) == ("strong", "likely")


def test_a_card_says_how_fine_the_times_must_be() -> None:
    """The same log: a check that needs 5 s is not judged, one that takes minutes is."""
    case, card = Case(CASES / "test_overdue" / "fires"), CARDS["test_overdue"]
    minutes = Clocks(coarse=[("1", "1", datetime(2026, 11, 1), datetime(2026, 11, 23), 60)])
    told = {row["account_key"]: row for row in case.run(replace(card, finest_s=5.0), minutes)}
    assert (told["main/0001"]["verdict"], told["main/0001"]["reason"]) == ("not_judged", MINUTES_ONLY)
    assert case.run(replace(card, finest_s=60.0), minutes) == case.run(card)
    # Its log came by another line, or ended before the window: seconds are written there.
    for other in (("1", "2", *minutes.coarse[0][2:]), ("1", "1", datetime(2026, 9, 1), datetime(2026, 10, 1), 60)):
        assert case.run(replace(card, finest_s=5.0), Clocks(coarse=[other])) == case.run(card)


def test_a_card_with_a_wrong_finest_time_is_refused(tmp_path: Path) -> None:
    for name in ("test_overdue.sql", "test_overdue.toml"):
        (tmp_path / name).write_bytes((queries() / "checks" / name).read_bytes())
    card = tmp_path / "test_overdue.toml"
    card.write_text('finest_s = "fine"\n' + card.read_text(encoding="utf-8"), encoding="utf-8", newline="\n")
    with pytest.raises(CheckFaulty, match="finest_s"):
        read_all(tmp_path)


def test_a_log_without_seconds_is_known_by_its_lines(tmp_path: Path) -> None:
    """A demo export cut to minutes, and one as it is."""
    text = gzip.decompress((DEMO / "exports" / f"receiver-1-{WEEK}.csv.gz").read_bytes()).decode("latin-1")
    made = tmp_path / "minutes.csv"
    cut = "".join(f"{line[:16]}:00{line[19:]}" if line[:2] == "20" else line for line in text.splitlines(keepends=True))
    made.write_text(cut, encoding="latin-1", newline="")
    station = DemoStation.of(tmp_path / "station", [made, DEMO / "exports" / f"receiver-2-{WEEK}.csv.gz"])
    known = known_at(station.store())
    assert {(receiver, seconds) for receiver, _, _, _, seconds in known.coarse} == {("1", 60)}
    assert known_at(station.store(), datetime(2026, 11, 1)).coarse == []


@pytest.fixture(scope="module")
def stepped(tmp_path_factory: pytest.TempPathFactory) -> DemoStation:
    """Three weeks of the demo; on the 4th the clock of receiver 1 runs two hours ahead from 06:00 to 18:00 UTC."""
    folder = tmp_path_factory.mktemp("stepped")
    exports = [p for p in sorted((DEMO / "exports").iterdir()) if p.name[11:].split(".")[0][:8] in WEEKS]
    exports = [p for p in exports if p.name != f"receiver-1-{WEEK}.csv.gz"]
    text = gzip.decompress((DEMO / "exports" / f"receiver-1-{WEEK}.csv.gz").read_bytes()).decode("latin-1")
    made = folder / f"receiver-1-{WEEK}.csv"
    made.write_text("".join(ahead(line) for line in text.splitlines(keepends=True)), encoding="latin-1", newline="")
    frames = folder / "receiver-9.csv"
    frames.write_text(sending_times(), encoding="utf-8", newline="")
    return DemoStation.of(folder / "station", [*exports, made, frames], "\n[audit]\ncompare_weeks = 1\n")


def sending_times() -> str:
    """Receiver 9: tests of 25 accounts with the time of sending as DC-09 writes it, 37 s before the receiver's."""
    lines = ["received_at,receiver,line,account,event,partition,zone,panel_time"]
    for day in (2, 3, 4):
        for i in range(25):
            at = datetime(2026, 11, day, 12, i, 40)
            told = f"{at - timedelta(seconds=37):%H:%M:%S,%m-%d-%Y}"
            lines.append(f'{at.isoformat()}+00:00,9,1,9{i:03d},E602,00,000,"{told}"')
    return "\n".join([*lines, ""])


WEEKS = ("2026-W43", "2026-W44", "2026-W45")
FIRST, LAST = datetime(2026, 11, 4, 6), datetime(2026, 11, 4, 18)


def ahead(line: str) -> str:
    """The line as a clock two hours ahead between FIRST and LAST would have written it."""
    try:
        at = datetime.fromisoformat(line[:19])
    except ValueError:
        return line
    utc = at + timedelta(hours=5)
    return f"{(at + timedelta(hours=2)).isoformat()}{line[19:]}" if FIRST <= utc < LAST else line


def test_status_says_it_with_file_and_line(stepped: DemoStation) -> None:
    said = called("status", "-w", str(stepped.folder), "--json")
    assert said.code == 0, said.err
    told = [day["note"] for day in said.document["days"] if day["receiver"] == "1" and day["day"] == "2026-11-04"]
    assert told and all("clock stepped back" in note and f"receiver-1-{WEEK}.csv:" in note for note in told)
    quiet = [day["note"] for day in said.document["days"] if day["receiver"] != "1" or day["day"] == "2026-11-03"]
    assert not [note for note in quiet if "clock" in note]


def test_a_clock_beside_the_sending_clocks_is_told(stepped: DemoStation) -> None:
    said = called("status", "-w", str(stepped.folder), "--json")
    words = "receiver 9 runs 37 s ahead of the sending clocks"
    assert f"{words}, from 25 accounts (spread 0 s)" in said.document["notes"]
    told = [row for row in stepped.audit(WEEK).table("quality").to_pylist() if row["topic"] == "clock_offset"]
    # Receiver 2 of the demo writes its senders' times too: its line stands beside this one.
    mine = [(row["reason"], row["n"], row["sample"]) for row in told if row["reason"].startswith("receiver 9 ")]
    assert mine == [(words, 25, "spread 0 s")]


def test_the_audit_says_it_and_blames_nobody(stepped: DemoStation) -> None:
    run = stepped.audit(WEEK)
    (row,) = [row for row in run.table("quality").to_pylist() if row["topic"] == "order_break"]
    # Two hours, less the minutes between the last line before and the first after the step.
    assert row["reason"].startswith("receiver 1: clock stepped back 1 h ") or row["reason"].endswith(" 2 h")
    assert (row["n"], row["sample"][:5]) == (1, "line ")
    assert row["source"].endswith(f"receiver-1-{WEEK}.csv")
    outages = [i for i in run.table("incidents").to_pylist() if i["kind"] == "receiver_outage" and i["receiver"] == "1"]
    assert [i for i in outages if i["from_utc"] < LAST + timedelta(hours=3) and i["until_utc"] > FIRST] == []


def test_an_audit_of_the_week_before_does_not_know_it(stepped: DemoStation) -> None:
    run = stepped.audit("2026-W44")
    assert [row for row in run.table("quality").to_pylist() if row["topic"] == "order_break"] == []


def test_the_inputs_of_a_run_include_the_breaks(stepped: DemoStation) -> None:
    first = stepped.audit(WEEK).meta["inputs"]
    with stepped.store().catalog.connection() as con:
        held = con.execute("select * from source_breaks").fetchall()
        con.execute("delete from source_breaks")
    try:
        assert stepped.audit(WEEK).meta["inputs"] != first
    finally:
        with stepped.store().catalog.connection() as con:
            con.executemany("insert into source_breaks values (?, ?, ?, ?, ?, ?)", [tuple(row) for row in held])
