"""Lines that hold a frame, event blocks or a 16-digit message of the open standards: where, and what it says itself."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from sigaudit.reading.codes import contact_id, sia
from sigaudit.reading.guess_tokens import FRAME, MESSAGE, Token

__all__ = ["HEADED", "Inside", "clock_of", "holds_inside", "inside_of"]

_LEAST = 0.4  # of the filled lines that must hold one
_FRAME = re.compile(FRAME)
_BLOCKS = re.compile(r"#[0-9A-Fa-f]{3,16}\|[NO][^\]]*")
_MESSAGE = re.compile(rf"(?<![0-9A-Za-z]){MESSAGE}(?![0-9A-Za-z])")
_IN_FRAME = re.compile(
    r"#([0-9A-Fa-f]{3,16})\[(?:#?[0-9A-Fa-f]*\|)?(?:N?[^\]]*?([A-Z]{2})([0-9]{0,4})|([136][0-9A-F]{3}) (..) (...))?"
)
HEADED = re.compile('[0-9A-Fa-f]{8}"')  # CRC and length in front of a frame
_STAMP = re.compile(r"_(\d\d:\d\d:\d\d,\d\d-\d\d-\d{4})")


@dataclass(frozen=True)
class Inside:
    """kind: of the layout; token: F, B, M or ''; group: what the layout calls it; pattern: where it stands."""

    kind: str = "pattern"
    token: str = ""
    group: str = ""
    pattern: re.Pattern[str] | None = None

    def says(self, text: str) -> tuple[str, str, str, str]:
        """(account, event, partition, zone), each '' where it says none."""
        if self.token == "M":
            found = contact_id.read_message(text.replace(" ", ""))
            if isinstance(found, contact_id.Refusal):
                return "", "", "", ""
            return found.account, found.qualifier + found.code, found.partition, found.zone
        if self.token == "B":
            block = sia.read_block(text.rstrip())
            event = None if isinstance(block, contact_id.Refusal) or not block.events else block.events[0]
            account = "" if isinstance(block, contact_id.Refusal) else block.account
            return (account, event.code, event.partition, event.zone) if event else (account, "", "", "")
        m = _IN_FRAME.search(text)
        if m is None:
            return "", "", "", ""
        return m[1] or "", m[2] or m[4] or "", m[5] or "", m[3] or m[6] or ""


def inside_of(lines: Sequence[str]) -> Inside:
    """What most lines hold."""
    framed = sum(_FRAME.search(line) is not None for line in lines)
    if framed > _LEAST * len(lines):
        return Inside("dc09", "F", "frame", _FRAME)
    blocks = Inside("pattern", "B", "event", _BLOCKS)
    found = [m for line in lines if (m := _BLOCKS.search(line)) is not None]
    if len(found) > _LEAST * len(lines) and sum(bool(blocks.says(m[0])[1]) for m in found) > 0.8 * len(found):
        return blocks
    messages = Inside("contact_id", "M", "message", _MESSAGE)
    found = [m for line in lines if (m := _MESSAGE.search(line)) is not None]
    whole = sum(bool(messages.says(m[0])[0]) for m in found)
    # Sixteen digits that add up by chance are one in fifteen.
    if len(found) > _LEAST * len(lines) and whole > 0.8 * len(found):
        return messages
    return Inside()


def holds_inside(text: str) -> bool:
    """Whether most of the first lines hold a frame or a message."""
    lines = [line for line in text[: 1 << 17].split("\n") if line.strip()]
    return bool(lines) and bool(inside_of(lines).token)


def clock_of(frames: Mapping[int, Token], read: Mapping[int, datetime]) -> str:
    """A sentence on the log's clock, by the frames' own times, which are UTC (DC-09); '' where they tell nothing."""
    ahead = []
    for at, token in frames.items():
        stamp = _STAMP.search(token.text)
        if stamp is None or at not in read:
            continue
        try:
            own = datetime.strptime(stamp[1], "%H:%M:%S,%m-%d-%Y")
        except ValueError:
            continue
        ahead.append((read[at].replace(tzinfo=None) - own).total_seconds())
    if len(ahead) < 5:
        return ""
    usual = median(ahead)
    near = sum(abs(one - usual) < 900 for one in ahead)
    if near < 0.8 * len(ahead):
        return ""
    quarters = round(usual / 900)
    if quarters == 0:
        return (
            "The frames' own times, which are UTC, agree with the log's: its clock seems to run in UTC; see timezone."
        )
    way = "ahead of" if quarters > 0 else "behind"
    return f"The log's clock runs {abs(quarters) / 4:g} h {way} the frames' own times, which are UTC; see timezone."
