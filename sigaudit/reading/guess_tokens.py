"""What stands on one line of a log without delimiters: times, numbers, words and signs, each with its place.

A date or clock is found by its shape wherever it stands; a word of the trade in front of a number is its label;
other words that follow one another are one text.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from sigaudit.reading.guess_words import FIELD_WORDS

__all__ = ["FRAME", "LABELLED", "MESSAGE", "MONTH", "TIMED", "Token", "tokens"]

TIMED = "TDCY"  # a date with its clock, a date, a clock, a date without year
MONTH = "(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
FRAME = r'(?:[0-9A-Fa-f]{8})?"\*?[A-Z][A-Z0-9-]+"[0-9]{4}.*\](?:_[0-9:,-]+)?'
MESSAGE = r"[0-9B-F]{4} ?(?:18|98) ?[136][0-9B-F]{3} ?[0-9B-F]{2} ?[0-9B-F]{3} ?[0-9B-F]"
_YEAR, _DAY = r"(?:19|20)\d\d", r"[0-3]?\d"
_CLOCK = r"[0-2]?\d:[0-5]\d(?::[0-5]\d(?:[.,]\d{1,9})?)?(?: ?[ap]m\b)?(?: ?(?:z\b|[+-]\d\d:?\d\d))?(?![\w:])"
_DATE = (
    rf"(?:{_YEAR}([-/.])[01]?\d\1{_DAY}|{_DAY}([-/.])[0-3]?\d\2(?:{_YEAR}|\d\d)"
    rf"|{_DAY}([-/. ]?){MONTH}\3(?:{_YEAR}|\d\d)|{MONTH} +{_DAY},? +{_YEAR})"
)
_PACKED = re.compile(
    rf"(?<!\w)({_YEAR}[01]\d[0-3]\d|[0-3]\d[01]\d{_YEAR}|\d{{6}})( ?)([0-2]\d[0-5]\d(?:[0-5]\d)?)(?!\w)"
)
_SHORT = re.compile(
    rf"(?<![\w/.:-])(?:{_DAY}([-/.])[0-3]?\d\.?|{_DAY}[-. ]?{MONTH}|{MONTH} +{_DAY})(?=[ -]+{_CLOCK})", re.I
)
_WHOLE = re.compile(rf"(?<![\w/.:-]){_DATE}(?: - |, | |[T_,-]){_CLOCK}", re.I)
_LONE = re.compile(rf"(?<![\w/.:-]){_DATE}(?!\w|[/.:-]\w)", re.I)
_HOUR = re.compile(rf"(?<![\w.:-]){_CLOCK}|(?<=-){_CLOCK}", re.I)
_VALUE = re.compile(r"[A-Za-z0-9]*\d[A-Za-z0-9]*(?![^\W\d_])|[B-F]{3,16}(?![^\W_])")
_WORD = re.compile(r"[^\W\d_]+(?:['/.&-][^\W\d_]+)*")
_SPEAKING = ("account", "zone", "partition", "receiver", "line")
_LABELS = {word for name in _SPEAKING for word in FIELD_WORDS[name] if " " not in word}
_LABELS |= {"event", "evt", "ev", "code", "cid", "msg", "message", "user", "usr", "zones"}
_GLUED = re.compile(
    rf"({'|'.join(sorted((one for one in _LABELS if len(one) > 1), key=len, reverse=True))})([0-9A-F]*\d[0-9A-F]*)",
    re.I,
)
LABELLED = re.compile(rf"(?:{'|'.join(sorted(_LABELS))})[ :=#(<]*[0-9A-F]*\d[0-9A-F]*\b", re.I)
_LEADS = re.compile(r"[ \t]*[:=#.]?[ \t]*(?=[A-Za-z]?\d|[B-F]{3,16}\b)")


@dataclass(frozen=True)
class Token:
    """kind: one of TIMED, V a value with digits, L a label, W words, P a sign, F a frame, M a message.

    lead: how many blanks stand before it, two for more.
    """

    kind: str
    text: str
    start: int
    end: int
    lead: int = 0

    @property
    def mark(self) -> str:
        """What two lines of the same shape have in common at this place."""
        return self.kind + self.text if self.kind in "LP" else self.kind


def tokens(line: str, carried: re.Pattern[str] | None = None, kind: str = "") -> list[Token]:
    """The tokens of a line. carried: what of it is one token of the ``kind`` F or M."""
    found: list[Token] = []
    whole = carried.search(line) if carried else None
    at = 0
    while at < len(line):
        if line[at] in " \t\f\v\0":
            at += 1
            continue
        if whole is not None and at == whole.start():
            found.append(Token(kind, whole[0], at, whole.end()))
            at = whole.end()
            continue
        stop = whole.start() if whole is not None and at < whole.start() else len(line)
        found += _next(line[:stop], at, found)
        at = found[-1].end
    return [replace(token, lead=_lead(line, token.start)) for token in found]


def _lead(line: str, start: int) -> int:
    before = line[max(0, start - 2) : start]
    return len(before) - len(before.rstrip(" \t"))


def _next(line: str, at: int, before: list[Token]) -> list[Token]:
    """The token, or a label with its value, that begins at ``at``."""
    if timed := _timed(line, at):
        return timed
    if (value := _VALUE.match(line, at)) is not None:
        glued = _GLUED.fullmatch(value[0])
        if glued is not None:
            cut = at + len(glued[1])
            return [Token("L", glued[1], at, cut), Token("V", glued[2], cut, value.end())]
        return [Token("V", value[0], at, value.end())]
    if (word := _WORD.match(line, at)) is None:
        return [Token("P", line[at], at, at + 1)]
    if _is_label(line, word):
        return [Token("L", word[0], at, word.end())]
    end = word.end()
    # Words with one blank between them are one text; a label of the trade ends it.
    while line[end : end + 1] == " " and (more := _WORD.match(line, end + 1)) is not None:
        if _is_label(line, more) or _VALUE.match(line, end + 1) or _timed(line, end + 1):
            break
        end = more.end()
    return [Token("W", line[at:end], at, end)]


def _is_label(line: str, word: re.Match[str]) -> bool:
    last = re.split("['/.&-]", word[0])[-1].casefold()
    return last in _LABELS and _LEADS.match(line, word.end()) is not None


def _timed(line: str, at: int) -> list[Token]:
    """Date and clock that begin here, as one token where they stand close together."""
    if (packed := _PACKED.match(line, at)) is not None and _is_packed(packed):
        return [Token("T", packed[0], at, packed.end())]
    if (whole := _WHOLE.match(line, at)) is not None:
        return [Token("T", whole[0], at, whole.end())]
    for kind, pattern in (("D", _LONE), ("Y", _SHORT), ("C", _HOUR)):
        if (found := pattern.match(line, at)) is not None:
            return [Token(kind, found[0], at, found.end())]
    return []


def _is_packed(found: re.Match[str]) -> bool:
    """Whether digits alone are a date and a clock; of six only where nothing parts them from a clock with seconds."""
    date, clock = found[1], found[3]
    if len(date) == 6:
        return len(clock) == 6 and 1 <= int(date[2:4]) <= 12 and 1 <= int(date[4:]) <= 31
    return len(clock) == 6 or bool(found[2])
