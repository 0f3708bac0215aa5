"""The signals a site should be able to send, one step each: what to do there, and what must be seen at the station.

Made from the roster alone (paths, zone list, what the panel is to send). Codes are those of SIA DC-05; the ways of
bringing a point into alarm are common practice, no source. Nothing here says that a step may be done: that is for the
authority, the station and the persons qualified for the system.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from sigaudit.model import subject_parts
from sigaudit.store import shipped

__all__ = ["Step", "ZoneKind", "needed", "plan", "proofs", "zone_kinds"]

Row = Mapping[str, Any]
# What a path's own loss is told as (SIA DC-05), and by which path it must arrive: any other.
LOSS_CODES = {"phone": "351", "radio": "353", "one_way_radio": "353", "internet": "350", "cellular": "350",
              "satellite": "350"}  # fmt: skip
SECOND_LINE = "352"
ALARM_S = 90  # NFPA 72, 26.2: a signal at the station within 90 s; standing in data/intervals.csv


@dataclass(frozen=True, slots=True)
class ZoneKind:
    """One kind of point of the zone list: the code it reports by, and how it is brought into alarm."""

    kind: str
    code: str
    group: str
    how: str
    source: str


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do and what it must bring: event, restore, where, by which path and box.

    kind: test, path, alarm, supervisory, contact, power, battery, open_close, zone_without_code. restore: '' where the
    code has none. path '' = whichever is in use. within_s: how soon, None where nothing is asked; watch: held back by
    design, so it is due later and not missing meanwhile.
    """

    kind: str
    do: str
    event: str
    restore: str
    partition: str
    zone: str
    label: str
    path: str
    receiver: str
    line: str
    origin: str
    within_s: float | None
    watch: str = ""


@cache
def zone_kinds() -> dict[str, ZoneKind]:
    """Kinds of points by name."""
    with (shipped.data() / "zone_kinds.csv").open(encoding="utf-8", newline="") as file:
        return {row["kind"]: ZoneKind(**row) for row in csv.DictReader(file)}


@cache
def proofs() -> dict[str, tuple[str, ...]]:
    """Check -> kinds of steps that show its fault to be mended."""
    with (shipped.data() / "proof_of_repair.csv").open(encoding="utf-8", newline="") as file:
        return {row["check"]: tuple(row["kinds"].split()) for row in csv.DictReader(file)}


def plan(account: Row, paths: Sequence[Row], zones: Iterable[Row]) -> list[Step]:
    """Every step for one rostered account, in the order that disturbs least: tests, paths, power, points, people."""
    ways = sorted(paths, key=lambda p: (p["role"] != "primary", p["path"]))
    points = sorted(zones, key=lambda z: (z["partition"], z["zone"]))
    return [
        *_tests(ways),
        *_losses(ways),
        *_power(account, ways),
        *_points(account, points, ways),
        *_open_close(account, ways),
    ]


def _tests(ways: Sequence[Row]) -> list[Step]:
    if not ways:
        return [_step("test", "Start a test at the panel.", "E601", origin="panel")]
    made = []
    for way in ways:
        others = [w["path"] for w in ways if w is not way]
        if way["role"] == "primary" or not others:
            do = "Start a test at the panel."
        else:
            back = "it" if len(others) == 1 else "them"
            do = f"Take {' and '.join(others)} away, start a test at the panel, put {back} back."
        made.append(_step("test", do, "E601", way=way, origin="panel"))
        if way["test_s"]:
            made.append(
                _step("test", "Nothing to do: the first timed test.", "E602", way=way, within_s=float(way["test_s"]),
                      watch="timed: due within one interval")
            )  # fmt: skip
    return made


def _losses(ways: Sequence[Row]) -> list[Step]:
    made, lines = [], 0
    for way in ways:
        code = LOSS_CODES.get(way["kind"], "350")
        if way["kind"] == "phone":
            lines += 1
            code = SECOND_LINE if lines > 1 else code
        others = [w for w in ways if w is not way]
        if not others:
            continue  # a lone path cannot report its own loss
        made.append(
            _step("path", f"Unplug {way['path']}; after the signal has come, plug it in again.", f"E{code}", f"R{code}",
                  way=others[0], label=f"loss of {way['path']}", origin="communicator")
        )  # fmt: skip
    return made


def _power(account: Row, ways: Sequence[Row]) -> list[Step]:
    fire = account["system_type"] in ("fire", "combined", "")
    held = "held back by design for 1 to 3 h on fire systems" if fire else "may be held back for a while by design"
    way = ways[0] if ways else None
    return [
        _step("power", "Switch the mains supply of the panel off; on again once the signal has come.", "E301", "R301",
              way=way, origin="panel", within_s=3 * 3600.0 if fire else 3600.0, watch=held),
        _step("battery", "With the mains off, lift the battery lead as the maker says; put it back.", "E302", "R302",
              way=way, origin="panel", within_s=24 * 3600.0, watch="told at the panel's next battery test"),
    ]  # fmt: skip


def _points(account: Row, points: Sequence[Row], ways: Sequence[Row]) -> list[Step]:
    way = ways[0] if ways else None
    made = []
    for point in points:
        at = {"partition": point["partition"], "zone": point["zone"], "label": point["label"] or point["kind"]}
        if point["kind"] in ("user", "communicator"):
            continue
        if point["kind"] == "contact_input":
            do = "Goes with the panel's own alarm, trouble or supervisory: one copy per relay and reset."
            made.append(_step("contact", do, "E", "R", way=way, origin="communicator", **at))
            continue
        kind = zone_kinds().get(point["kind"])
        if kind is None:
            made.append(_step("zone_without_code", "Bring the point into alarm and reset it.", "E", "R", way=way,
                              origin="panel", **at))  # fmt: skip
            continue
        restores = "" if account["sends_restores"] == "no" else f"R{kind.code}"
        step = "supervisory" if kind.group == "supervisory" else "alarm"
        made.append(_step(step, f"{kind.how}; reset.", f"E{kind.code}", restores, way=way, origin="panel",
                          within_s=float(ALARM_S), **at))  # fmt: skip
    return made


def _open_close(account: Row, ways: Sequence[Row]) -> list[Step]:
    if account["sends_openings"] != "yes":
        return []
    way = ways[0] if ways else None
    return [
        _step("open_close", "Unset the system with your code, then set it again.", "E401", "R401", way=way,
              label="opening and closing", origin="panel")
    ]  # fmt: skip


def _step(
    kind: str,
    do: str,
    event: str,
    restore: str = "",
    *,
    way: Row | None = None,
    partition: str = "",
    zone: str = "",
    label: str = "",
    origin: str = "",
    within_s: float | None = float(ALARM_S),
    watch: str = "",
) -> Step:
    path, receiver, line = (str(way[name]) for name in ("path", "receiver", "line")) if way else ("", "", "")
    return Step(kind, do, event, restore, partition, zone, label, path, receiver, line, origin, within_s, watch)


def needed(steps: Sequence[Step], checks: Iterable[tuple[str, str]]) -> list[Step]:
    """Those of the steps that show the findings of a site to be mended: (check id, subject) of each.

    ``alarm`` asks for one point of each kind, ``every_zone`` for all, ``named_zone`` for those of the subjects (without
    one, for one point); ``contact`` brings one alarm with its copy.
    """
    wanted: set[str] = set()
    zones: set[str] = set()
    for check, subject in checks:
        wanted |= set(proofs().get(check, ("test",)))
        zones |= {what for name, what in subject_parts(subject).items() if name == "zone"}
    points = [step for step in steps if step.kind in ("alarm", "supervisory", "zone_without_code")]
    kept = {id(step) for step in steps if step.kind in wanted and step.kind != "alarm"}
    kept |= {id(step) for step in steps if step.kind == "battery" and "power" in wanted}
    if "every_zone" in wanted:
        kept |= {id(step) for step in points}
    named = [step for step in points if f"{step.partition}/{step.zone}" in zones or step.zone in zones]
    if "named_zone" in wanted:
        kept |= {id(step) for step in named}
    if wanted & {"alarm", "contact"} or ("named_zone" in wanted and not named):
        first: dict[str, Step] = {}
        for step in points:
            first.setdefault(step.event, step)
        kept |= {id(step) for step in (list(first.values()) if "alarm" in wanted else list(first.values())[:1])}
    return [step for step in steps if id(step) in kept]
