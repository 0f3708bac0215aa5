"""Sent twice, counted once: a DC-09 sender repeats a frame, number and all, when the reply did not arrive."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from sigaudit.reading.codes.dc09 import Dc09Frame
from sigaudit.reading.codes.dc09_body import CheckIn, NotCarried

# Three attempts, 20 s apart: DC-09 5.6.1.1 as quoted in an open-source service (secondary).
RETRY_WINDOW = timedelta(seconds=60)

_UNNUMBERED = "0000"


def fold_sequences(
    frames: Sequence[Dc09Frame],
    received: Sequence[datetime] | None = None,
    within: timedelta = RETRY_WINDOW,
) -> tuple[int | None, ...]:
    """For each frame None where it counts, or the place of the counted frame it repeats.

    A repeat has the sender, the number and the content of an earlier frame, not more than ``within`` after
    its last copy. ``received``: receive time per frame; without it the frames' own times are compared, and
    where a frame has none, sender, number and content alone decide. A number that comes back with another
    content is a counter that began anew: it counts, for losing an alarm is worse than counting it twice.
    Check-ins, replies and the number 0000 are never folded. ValueError: ``received`` of another length.
    Source: DC-09-2007 p. 23 (9995, 9996, 9995, 9997 are three messages; gaps and the wrap from 9999 to 0001
    are no faults).
    """
    times = [frame.sent_utc for frame in frames] if received is None else list(received)
    if len(times) != len(frames):
        raise ValueError(f"{len(frames)} frames need as many receive times, not {len(times)}")
    last: dict[tuple[object, ...], tuple[int, datetime | None]] = {}
    answer: list[int | None] = []
    for place, (frame, at) in enumerate(zip(frames, times, strict=True)):
        if frame.sequence == _UNNUMBERED or isinstance(frame.body, CheckIn | NotCarried):
            answer.append(None)
            continue
        key = (frame.sender, frame.sequence, frame.token, frame.data, frame.extended, frame.sealed)
        first, before = last.get(key, (None, None))
        if first is not None and (at is None or before is None or abs(at - before) <= within):
            answer.append(first)
            last[key] = (first, at)
        else:
            answer.append(None)
            last[key] = (place, at)
    return tuple(answer)
