"""A number sent twice counts once. The two runs are those of the conformance tests in DC-09-2007, p. 23."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from sigaudit.reading.codes.dc09 import Dc09Frame, read_frame
from sigaudit.reading.codes.dc09_sequence import fold_sequences
from tests.reading.dc09_frames import framed

START = datetime(2026, 2, 15, 13, 14, 15)


def sent(number: str, *, event: str = "1130 01 005", account: str = "1234", token: str = "ADM-CID") -> Dc09Frame:
    frame = read_frame(framed(f'"{token}"{number}L0#{account}[#1234|{event}]'))
    assert isinstance(frame, Dc09Frame)
    return frame


def seconds(*after: int) -> list[datetime]:
    return [START + timedelta(seconds=each) for each in after]


def test_conformance_run_with_a_repeat_is_three_messages() -> None:
    frames = [sent(number) for number in ("9995", "9996", "9995", "9997")]
    assert fold_sequences(frames, seconds(0, 10, 20, 30)) == (None, None, 0, None)
    assert fold_sequences(frames).count(None) == 3


def test_conformance_run_over_the_wrap_is_four_messages() -> None:
    frames = [sent(number) for number in ("9998", "9999", "0001", "0002")]
    assert fold_sequences(frames, seconds(0, 5, 10, 15)) == (None,) * 4


def test_gaps_and_resets_are_no_faults() -> None:
    frames = [sent(number) for number in ("0100", "0900", "0001")]
    assert fold_sequences(frames, seconds(0, 1, 2)) == (None,) * 3


def test_three_attempts_point_to_the_first() -> None:
    frames = [sent("0007")] * 3
    assert fold_sequences(frames, seconds(0, 40, 100)) == (None, 0, 0)
    assert fold_sequences(frames, seconds(0, 40, 101)) == (None, 0, None)  # 60 s after the last copy, no later


def test_other_senders_other_contents_and_later_days_count() -> None:
    frames = [
        sent("0007"),
        sent("0007", account="9999"),
        sent("0007", event="1110 00 001"),  # the counter began anew: an alarm is never folded away
        sent("0007"),
    ]
    assert fold_sequences(frames, seconds(0, 1, 2, 86400)) == (None,) * 4


def test_frame_times_decide_where_receive_times_are_unknown() -> None:
    late = framed('"ADM-CID"0007L0#1234[#1234|1602 00 000]_13:14:15,02-15-2026')
    later = framed('"ADM-CID"0007L0#1234[#1234|1602 00 000]_13:14:35,02-15-2026')
    next_day = framed('"ADM-CID"0007L0#1234[#1234|1602 00 000]_13:14:15,02-16-2026')
    frames = [frame for raw in (late, later, next_day) if isinstance(frame := read_frame(raw), Dc09Frame)]
    assert fold_sequences(frames) == (None, 0, None)


def test_check_ins_replies_and_number_zero_are_never_folded() -> None:
    frames = [sent("0001", token="NULL")] * 2 + [sent("0042", token="ACK")] * 2 + [sent("0000")] * 2
    assert fold_sequences(frames, seconds(0, 1, 2, 3, 4, 5)) == (None,) * 6


def test_every_frame_needs_its_time() -> None:
    with pytest.raises(ValueError, match="2 frames"):
        fold_sequences([sent("0001"), sent("0002")], seconds(0))
