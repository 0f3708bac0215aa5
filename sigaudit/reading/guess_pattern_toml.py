"""A layout drafted for fixed text, frames or messages, as TOML text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from sigaudit.reading.guess_toml import text

if TYPE_CHECKING:
    from sigaudit.reading.guess_printed import PrintedDraft

__all__ = ["written"]

_USUAL_SHARE = 0.7  # below this the share that every pattern layout asks for may be too much


def written(
    draft: PrintedDraft, identity: str, encodings: Sequence[str], timezone: str,
    samples: Sequence[tuple[str, Mapping[str, str]]],
) -> str:  # fmt: skip
    """The whole file. samples: (line, what it gives)."""
    title = "Drafted from a log; check it"
    lines = [f"id = {text(identity)}", f"kind = {text(draft.kind)}", f"title = {text(title)}", ""]
    if draft.share < _USUAL_SHARE:
        lines += ["[recognise]", f"share = {max(0.05, round(draft.share / 2, 2))}", ""]
    lines += ["[text]", f"encoding = [{', '.join(map(text, encodings))}]"]
    if draft.ignore:
        lines += ["ignore = [", *(f"    {_literal(one)}," for one in draft.ignore), "]"]
    lines += ["", "[pattern]", f"line = {_literal(draft.line)}", "", "[time]"]
    if draft.year:
        lines.append(f"column = [{{ constant = {text(draft.year)} }}, {', '.join(map(text, draft.time))}]")
    lines.append(f"format = {text(draft.form)}")
    if "%y" in draft.form:
        lines.append('two_digit_year = "2000"')
    lines.append(f"timezone = {text(timezone)}")
    if draft.constants:
        lines += ["", "[fields]", *(f"{name} = {{ constant = {text(v)} }}" for name, v in draft.constants.items())]
    if draft.style:
        lines += ["", "[event]", f"style = {text(draft.style)}"]
    if draft.qualifiers:
        pairs = ", ".join(f"{text(word)} = {text(letter)}" for word, letter in draft.qualifiers.items())
        lines.append(f"qualifiers = {{ {pairs} }}")
    if draft.words:
        stands, example = ("...", "130") if draft.style == "separate" else ("E...", "E130")
        lines += [
            "",
            "[event.words]",
            f"# Say what each word stands for, such as {example}, and take away the sign in front:",
        ]
        lines += [f'# {text(word)} = "{stands}"  # {n} lines' for word, n in draft.words.items()]
    for line, gives in samples:
        lines += ["", "[[samples]]", f"line = {text(line)}"]
        lines.append(f"gives = {{ {', '.join(f'{name} = {text(value)}' for name, value in gives.items())} }}")
    return "\n".join(lines) + "\n"


def _literal(value: str) -> str:
    """A TOML literal string, in which a pattern stands as it is; a basic one where it cannot."""
    return f"'{value}'" if "'" not in value and value.isprintable() else text(value)
