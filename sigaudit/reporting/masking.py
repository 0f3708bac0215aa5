"""A run for sharing: account numbers, names and places replaced by stand-ins that stay the same in every report.

Stand-ins come from a key that the store keeps to itself (HMAC-SHA-256, RFC 2104), so that four digits cannot be guessed
back. Log lines, file names and free text of people are left out: what a stranger wrote cannot be masked word by word.
Receiver and line numbers, zones, codes, times and figures stay as they are.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
from collections.abc import Callable, Mapping
from typing import Any

import pyarrow as pa

from sigaudit.model import subject_parts
from sigaudit.reporting.page import RunLike

__all__ = ["STATION", "Masked"]

STATION = "Station not named"
_LEFT_OUT = "(left out of this copy)"
# What a column holds, by its name, in whichever table it stands.
_NAMES = {
    "site": "Site", "customer": "Customer", "dealer": "Dealer", "installer": "Installer", "technician": "Technician",
    "network": "Network", "area": "Area", "exchange": "Exchange", "address": "Place", "template": "Template",
    "customer_email": "Address",
}  # fmt: skip
_ACCOUNTS = ("account", "peer")
_KEYS = ("account_key", "heard_key", "reports_as_key", "stray_key", "peer_key")
_BLANKED = ("raw", "sample", "note", "called", "caller", "text")
_IDS = ("finding_id",)
# Tables whose labels are the roster's names for points: "Lobby", "Nursery".
_POINTS = ("month_episodes", "signals_to_see")
# Tables with sentences, in which the names of their row may be spoken.
_SPOKEN = ("findings", "resolved", "unprotected", "spans", "causes", "sites", "first_misses")


class Masked:
    """The run under stand-in names. ``key``: the store's (``store.mask_key``)."""

    def __init__(self, run: RunLike, key: bytes) -> None:
        self._run = run
        self._key = key

    @property
    def meta(self) -> dict[str, Any]:
        told = dict(self._run.meta)
        told["station"] = STATION
        told["settings"] = []
        told["masked"] = True
        told["roster"] = {**told["roster"], "files": []}
        told["sources"] = [{**source, "name": self._source(source["name"])} for source in told["sources"]]
        return told

    def table(self, name: str) -> pa.Table:
        """The table with every column masked by what its name says it holds."""
        found: pa.Table = self._run.table(name)
        made = found
        for place, field in enumerate(found.schema):
            change = self._column(field.name, name)
            if change is not None and pa.types.is_string(field.type):
                made = made.set_column(place, field, _each(found[field.name], change))
        words = [
            field.name for field in found.schema if pa.types.is_string(field.type) and self._free(field.name, name)
        ]
        return self._spoken(found, made, words) if words else made

    def name(self, kind: str, value: str) -> str:
        """Stand-in for a name: ``Site 7KQ2MD``; '' stays ''."""
        return f"{kind} {self._code(kind, value)}" if value else ""

    def account(self, value: str) -> str:
        """Stand-in for an account number."""
        return f"A{self._code('account', value)}" if value else ""

    def key(self, value: str) -> str:
        """Stand-in for ``GROUP/ACCOUNT``; the group stays."""
        group, _, account = value.rpartition("/")
        return f"{group}/{self.account(account)}"

    def subject(self, value: str) -> str:
        """A finding's subject with the other account's number replaced."""
        parts = (part.partition("=") for part in value.split(","))
        return ",".join(f"{n}={self._peer(v) if n == 'peer' else v}" if eq else n for n, eq, v in parts)

    def _peer(self, value: str) -> str:
        return self.key(value) if "/" in value else self.account(value)

    def _shared(self, value: str) -> str:
        """``area=Harbour``: what members of an incident share."""
        name, eq, what = value.partition("=")
        return f"{name}={self.name(_NAMES.get(name, 'Name'), what)}" if eq else value

    def _source(self, value: str) -> str:
        return f"export {self._code('source', value)}" if value else ""

    def _code(self, kind: str, value: str) -> str:
        digest = hmac.new(self._key, f"{kind}\0{value}".encode(), hashlib.sha256).digest()
        return base64.b32encode(digest)[:7].decode("ascii")

    def _column(self, column: str, table: str) -> Callable[[str], str] | None:
        if column in _NAMES:
            kind = _NAMES[column]
            return lambda value: self.name(kind, value)
        if column in _ACCOUNTS:
            return self.account
        if column in _KEYS:
            return lambda value: self.key(value) if value else ""
        if column in _BLANKED:
            return lambda value: _LEFT_OUT if value else ""
        if column in _IDS:
            return lambda value: hmac.new(self._key, value.encode(), hashlib.sha256).hexdigest()[:12] if value else ""
        if column == "subject":
            return self.subject
        if column == "shared":
            return self._shared
        if column == "label" and table in _POINTS:
            return lambda value: ""
        if column == "source" and table in ("evidence", "quality"):
            return self._source
        if column == "limit_where":
            return lambda value: value if value.endswith(".toml") or value == "roster" else "settings"
        return None

    def _free(self, column: str, table: str) -> bool:
        """Columns of sentences, in which the row's own names may be spoken."""
        return table in _SPOKEN and self._column(column, table) is None

    def _spoken(self, before: pa.Table, made: pa.Table, words: list[str]) -> pa.Table:
        """Sentences with the names of their own row replaced; reasons that people typed are left out."""
        rows = before.select(
            [name for name in before.schema.names if pa.types.is_string(before.schema.field(name).type)]
        )
        texts: dict[str, list[str]] = {name: [] for name in words}
        for row in rows.to_pylist():
            known = self._secrets(row)
            pattern = re.compile("|".join(rf"(?<!\w){re.escape(s)}(?!\w)" for s in known)) if known else None
            for name in words:
                value = row[name] or ""
                if name == "label" and row.get("kind") == "on_test":
                    value = "on test"
                elif name == "set_aside" and value:
                    value = re.sub(r" by .*", f": {_LEFT_OUT}", value, flags=re.DOTALL)
                elif pattern:
                    value = pattern.sub(lambda found, names=known: names[found[0]], value)
                texts[name].append(value)
        for name in words:
            place = made.schema.get_field_index(name)
            made = made.set_column(place, made.schema.field(place), pa.array(texts[name], pa.string()))
        return made

    def _secrets(self, row: Mapping[str, Any]) -> dict[str, str]:
        """The row's own names, longest first, with their stand-ins."""
        known: dict[str, str] = {}
        for column, value in row.items():
            if not value:
                continue
            if column in _NAMES:
                known[value] = self.name(_NAMES[column], value)
            elif column in _ACCOUNTS:
                known[value] = self.account(value)
            elif column in _KEYS:
                known[value] = self.key(value)
            elif column == "subject":
                peer = subject_parts(value).get("peer", "")
                if peer:
                    number = peer.rpartition("/")[2]
                    known[peer] = self._peer(peer)
                    known.setdefault(number, self.account(number))
        return dict(sorted(known.items(), key=lambda pair: -len(pair[0])))


def _texts(table: pa.Table) -> list[str]:
    return [field.name for field in table.schema if pa.types.is_string(field.type)]


def _each(column: pa.ChunkedArray, change: Callable[[str], str]) -> pa.Array:
    """A text column with every value changed, each distinct one once."""
    values = column.to_pylist()
    changed = {value: change(value) for value in set(values) if value is not None}
    return pa.array([None if value is None else changed[value] for value in values], pa.string())
