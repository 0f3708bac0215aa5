"""The station's settings, each value with the file and line it came from.

``sigaudit.toml`` is read once; what it does not say has its default. Nothing here knows a check:
limits and severities are handed over as written, and judging compares their names with its own.
"""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sigaudit.errors import SettingsProblem
from sigaudit.intervals import INTERVAL_FORM, interval_seconds
from sigaudit.known_names import (
    PATH_KINDS,
    SEVERITIES,
    SYSTEM_TYPES,
    did_you_mean,
    edition_fault,
    editions,
    listed,
    nearest,
    timezone_fault,
)
from sigaudit.settings_file import DEFAULT, Setting, problem, read_text, written
from sigaudit.settings_keys import KEY_BY_NAME, KEYS, Value
from sigaudit.workspace import SETTINGS_FILE, find

__all__ = [
    "DEFAULT", "INTERVAL_FORM", "MAIN_GROUP", "PATH_KINDS", "SEVERITIES", "SYSTEM_TYPES", "LimitKey",
    "Limits", "Setting", "SettingEntry", "Settings", "did_you_mean", "edition_fault", "editions",
    "interval_seconds", "listed", "load", "nearest", "parse", "timezone_fault",
]  # fmt: skip

MAIN_GROUP = "main"


@dataclass(frozen=True)
class SettingEntry:
    """One row of ``settings show``: full key, value, ``file:line`` or ``default``."""

    key: str
    value: Value
    where: str


@dataclass(frozen=True)
class LimitKey:
    """One limit as the station wrote it.

    scope: 'station', 'system_type', 'dealer' or 'account'; subject: the type, dealer or account key
    ('' for the station).
    """

    scope: str
    subject: str
    check: str
    limit: str
    value: Value
    file: str
    line: int


@dataclass(frozen=True)
class Limits:
    """Limits the station set: ``station[check][limit]``, the others ``[subject][check][limit]``."""

    station: Mapping[str, Mapping[str, Setting]] = field(default_factory=dict)
    by_system_type: Mapping[str, Mapping[str, Mapping[str, Setting]]] = field(default_factory=dict)
    by_dealer: Mapping[str, Mapping[str, Mapping[str, Setting]]] = field(default_factory=dict)
    by_account: Mapping[str, Mapping[str, Mapping[str, Setting]]] = field(default_factory=dict)

    def keys(self) -> Iterator[LimitKey]:
        """Every limit once, the widest scope first, in the order they were written."""
        scopes = (
            ("station", {"": self.station}),
            ("system_type", self.by_system_type),
            ("dealer", self.by_dealer),
            ("account", self.by_account),
        )
        for scope, subjects in scopes:
            for subject, checks in subjects.items():
                for check, limits in checks.items():
                    for limit, found in limits.items():
                        yield LimitKey(scope, subject, check, limit, found.value, found.file, found.line)


@dataclass(frozen=True)
class Settings:
    """What the station decided. Paths are absolute; ``where_of`` tells each value's origin."""

    workspace: Path
    station: str
    timezone: str
    edition: str
    own_accounts: tuple[str, ...]
    default_accounts: tuple[str, ...]
    groups: Mapping[str, str]
    path_kinds: Mapping[str, str]
    dc09_keys: Mapping[str, str]
    history_weeks: int
    compare_weeks: int
    account_range: int
    memory_limit: str
    limits: Limits
    severity: Mapping[str, str]
    report_name: str
    report_colour: str
    report_logo: str
    report_contact: str
    report_language: str
    report_paper: str
    mail: Mapping[str, Any]
    confirmed_limits: tuple[str, ...]
    found: Mapping[tuple[str, ...], Setting]

    @property
    def store_dir(self) -> Path:
        return self.workspace / "store"

    @property
    def layouts_dir(self) -> Path:
        return self.workspace / "layouts"

    @property
    def checks_dir(self) -> Path:
        return self.workspace / "checks"

    @property
    def roster_dir(self) -> Path:
        return self.workspace / "roster"

    @property
    def reports_dir(self) -> Path:
        return self.workspace / "reports"

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.timezone)

    @property
    def group_names(self) -> tuple[str, ...]:
        """Receiver groups an account can belong to, in order of name; ('main',) without a map."""
        return tuple(sorted({*self.groups.values(), MAIN_GROUP})) if self.groups else (MAIN_GROUP,)

    @property
    def only_group(self) -> str:
        """The one group of this station, or '' when the map names several."""
        mapped = set(self.groups.values())
        return MAIN_GROUP if not mapped else mapped.pop() if len(mapped) == 1 else ""

    def group_of(self, receiver: str, line: str = "") -> str:
        """Group of a receiver line: its own entry, else its receiver's, else ``main``."""
        return self.groups.get(f"{receiver}/{line}", self.groups.get(receiver, MAIN_GROUP))

    def path_kind_of(self, receiver: str, line: str = "") -> str:
        """Path kind of a receiver line by ``[receivers.paths]``, or ''."""
        return self.path_kinds.get(f"{receiver}/{line}", self.path_kinds.get(receiver, ""))

    def where_of(self, *key: str) -> str:
        """``file:line`` of a key given by its names (``"severity", "gone_silent"``), or ``default``."""
        return self.found[key].where if key in self.found else DEFAULT

    def limit_keys(self) -> list[LimitKey]:
        """Every limit of the file, for judging to compare with the limits its checks have."""
        return list(self.limits.keys())

    def entries(self) -> list[SettingEntry]:
        """Every setting in force: first those that always have a value, then what the tables hold."""
        rows = [
            SettingEntry(key.name, self.found[path].value if path in self.found else key.default, self.where_of(*path))
            for path, key in KEY_BY_NAME.items()
        ]
        for path, found in self.found.items():
            if path not in KEY_BY_NAME:
                rows.append(SettingEntry(written(path), found.value, found.where))
        return rows


def load(workspace: Path | None = None) -> Settings:
    """Settings of a workspace: the folder given, else the nearest one from here upward.

    Raises UsageProblem when there is no workspace, SettingsProblem (file, line, key, nearest known
    key) when the file cannot be used.
    """
    folder = find(workspace)
    path = folder / SETTINGS_FILE
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = f"{SETTINGS_FILE}: byte {error.start} is no UTF-8"
        raise SettingsProblem(message, next_step="save the file as UTF-8") from error
    except OSError as error:
        message = f"{path}: cannot be read: {error.strerror}"
        raise SettingsProblem(message, next_step="make it a file you may read") from error
    return parse(text, folder)


def parse(text: str, workspace: Path) -> Settings:
    """Settings of a text that stands for the workspace's ``sigaudit.toml``; raises SettingsProblem."""
    found = read_text(text)

    def value(name: str) -> Any:
        path = tuple(name.split("."))
        return found[path].value if path in found else KEY_BY_NAME[path].default

    if not value("station.timezone"):
        raise SettingsProblem(
            f"{SETTINGS_FILE}: station.timezone is not set: no week can be told without it",
            next_step='write it under [station], such as timezone = "Europe/Berlin"',
        )
    groups = {path[2]: str(s.value) for path, s in found.items() if path[:2] == ("receivers", "groups")}
    return Settings(
        workspace=workspace.resolve(),
        station=value("station.name"),
        timezone=value("station.timezone"),
        edition=value("station.edition"),
        own_accounts=value("receivers.own_accounts"),
        default_accounts=value("receivers.default_accounts"),
        groups=groups,
        path_kinds={path[2]: str(s.value) for path, s in found.items() if path[:2] == ("receivers", "paths")},
        dc09_keys={path[2]: str(s.value) for path, s in found.items() if path[:2] == ("dc09", "keys")},
        history_weeks=value("audit.history_weeks"),
        compare_weeks=value("audit.compare_weeks"),
        account_range=value("audit.account_range"),
        memory_limit=value("audit.memory_limit"),
        limits=_limits(found, groups),
        severity={path[1]: str(s.value) for path, s in found.items() if path[0] == "severity"},
        report_name=value("report.name") or value("station.name"),
        report_colour=value("report.colour"),
        report_logo=value("report.logo"),
        report_contact=value("report.contact"),
        report_language=value("report.language"),
        report_paper=value("report.paper"),
        mail={key.name.split(".")[1]: value(key.name) for key in KEYS if key.name.startswith("mail.")},
        confirmed_limits=value("confirmed.limits"),
        found=found,
    )


def _limits(found: Mapping[tuple[str, ...], Setting], groups: Mapping[str, str]) -> Limits:
    def by_subject(name: str) -> dict[str, dict[str, dict[str, Setting]]]:
        tree: dict[str, dict[str, dict[str, Setting]]] = {}
        for path, setting in found.items():
            if path[0] == name:
                subject = _account_key(path, setting, groups) if name == "limits_by_account" else path[1]
                tree.setdefault(subject, {}).setdefault(path[2], {})[path[3]] = setting
        return tree

    station: dict[str, dict[str, Setting]] = {}
    for path, setting in found.items():
        if path[0] == "limits":
            station.setdefault(path[1], {})[path[2]] = setting
    return Limits(
        station, by_subject("limits_by_type"), by_subject("limits_by_dealer"), by_subject("limits_by_account")
    )


def _account_key(path: tuple[str, ...], setting: Setting, groups: Mapping[str, str]) -> str:
    """``group/account`` of a limit's account; a bare account is that of the station's one group."""
    names = sorted({*groups.values(), MAIN_GROUP}) if groups else [MAIN_GROUP]
    group, slash, account = path[1].partition("/")
    if slash and account and group in names:
        return path[1]
    if not slash and len(set(groups.values())) <= 1:
        return f"{next(iter(groups.values()), MAIN_GROUP)}/{path[1]}"
    forms = ", ".join(f'"{name}/{account or group}"' for name in names)
    raise problem(
        path[:2],
        setting.line,
        f"expected a group and an account: {forms}",
        "write the group before the account",
    )
