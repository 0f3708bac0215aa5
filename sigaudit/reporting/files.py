"""Tables and documents for machines and spreadsheets: CSV, JSON, and the guard for text cells."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from sigaudit.reporting.page import Row, RunLike, instant, rows

# Columns fixed by the input contract of whoever reads findings.csv; more follow after them.
FINDING_COLUMNS = (
    "week",
    "account",
    "site",
    "dealer",
    "installer",
    "check",
    "severity",
    "confidence",
    "action",
    "status",
    "since",
    "until",
    "measured",
    "limit",
    "unit",
    "evidence_count",
    "excused_count",
    "cause",
    "cause_probability",
    "next_step",
    "finding_id",
    "subject",
    "receiver_group",
)
MORE_FINDING_COLUMNS = (
    "title",
    "sentence",
    "look_alikes",
    "limit_source",
    "limit_standing",
    "system_type",
    "account_key",
    "weeks_on_list",
    "k",
    "n",
    "last_good",
    "limit_where",
    "page_no",
    "set_aside",
)
INCIDENT_COLUMNS = (
    "incident_id",
    "kind",
    "receiver",
    "line",
    "shared",
    "from_utc",
    "until_utc",
    "accounts",
    "expected",
    "seen",
    "p",
    "excused",
    "why",
)
UNPROTECTED_COLUMNS = (
    "account",
    "site",
    "system_type",
    "since",
    "hours",
    "reason",
    "told_authority_at",
    "told_owner_at",
)
_RUN_KEYS: tuple[str, ...] = ("run_id", "kind", "label", "from_utc", "until_utc", "as_of_utc")
_RUN_KEYS += ("timezone", "station", "edition", "sigaudit_version")
# A spreadsheet takes a cell that begins so for a formula; the last five are the full-width forms
# and the sign that some versions read as a minus.
_STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\u2212")
_PASSED_OVER = " \ufeff\u00a0\u200b"


def starts_formula(text: str) -> bool:
    """True where a spreadsheet might run the text: its first sign after blanks opens a formula."""
    return text.lstrip(_PASSED_OVER).startswith(_STARTS_FORMULA)


def guarded(text: str) -> str:
    """The text, behind an apostrophe where a spreadsheet might otherwise run it."""
    return f"'{text}" if starts_formula(text) else text


def cell(value: Any) -> str:
    """One CSV cell: text guarded, numbers and instants (UTC, ISO 8601, ``Z``) as they are, '' for none."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return format(value, ".10g")
    if isinstance(value, int):
        return str(value)
    if isinstance(value, datetime):
        return utc_text(value)
    return guarded(value.isoformat() if isinstance(value, date) else str(value))


def utc_text(value: datetime) -> str:
    """``2026-11-16T05:00:00Z`` of a naive UTC instant (or an aware one)."""
    plain = value.astimezone(UTC).replace(tzinfo=None) if value.tzinfo else value
    return plain.isoformat() + "Z"


def write_text(path: Path, text: str) -> Path:
    """Write text as UTF-8 with plain line ends, making its folder; gives the path back."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(text)
    return path


def sweep(folder: Path, written: Sequence[Path]) -> None:
    """Remove numbered pages that an earlier run left: one no longer true must not lie beside those that are."""
    kept = set(written)
    for old in folder.glob("[0-9]*.html"):
        if old not in kept:
            old.unlink()


def write_csv(path: Path, columns: Sequence[str], table: Iterable[Mapping[str, Any]]) -> Path:
    """Write rows under the given columns; text cells guarded (see :func:`guarded`)."""
    sink = io.StringIO(newline="")
    out = csv.writer(sink, lineterminator="\n")
    out.writerow(columns)
    out.writerows([cell(row.get(name)) for name in columns] for row in table)
    return write_text(path, sink.getvalue())


def write_json(path: Path, document: Mapping[str, Any]) -> Path:
    """Write a JSON document, keys in the order given, instants as UTC text."""
    text = json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False, default=_plain)
    return write_text(path, text + "\n")


def _plain(value: Any) -> str:
    if isinstance(value, datetime):
        return utc_text(value)
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no place in a run document")


def told(meta: Mapping[str, Any]) -> dict[str, Any]:
    """The run's meta data as documents tell them: instants as UTC text with ``Z``, no table schemas."""
    kept = {key: value for key, value in meta.items() if key != "tables"}
    return kept | {key: utc_text(at) for key in kept if key.endswith("_utc") and (at := instant(kept[key]))}


def write_findings(run: RunLike, folder: Path, findings: Sequence[Row]) -> list[Path]:
    """Write findings.csv and findings.json (format ``sigaudit.findings``, version 1)."""
    names = FINDING_COLUMNS + MORE_FINDING_COLUMNS
    meta = run.meta
    document = {
        "format": "sigaudit.findings",
        "version": 1,
        "run": {key: value for key, value in told(meta).items() if key in _RUN_KEYS},
        "figures": sorted(rows(run, "figures"), key=lambda row: str(row["name"])),
        "findings": [{name: row.get(name) for name in names} for row in findings],
        "first_misses": sorted(rows(run, "first_misses"), key=lambda r: (r["account_key"], r["path"], r["what"])),
        "resolved": sorted(rows(run, "resolved"), key=lambda row: str(row["finding_id"])),
        "verdicts": sorted(rows(run, "verdicts"), key=lambda row: (row["check"], row["verdict"], row["reason"])),
    }
    return [
        write_csv(folder / "findings.csv", names, findings),
        write_json(folder / "findings.json", document),
    ]


def write_run(run: RunLike, folder: Path, written: Iterable[Path]) -> Path:
    """Write run.json: the run's meta data, and the SHA-256 of every file written before it."""
    hashes = {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in written}
    document = {"format": "sigaudit.run", "version": 1, **told(run.meta), "files": dict(sorted(hashes.items()))}
    return write_json(folder / "run.json", document)
