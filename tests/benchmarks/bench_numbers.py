"""How long comparing numbers with one another takes. Run by hand, recorded in DEVELOPERS.md.

    python -m tests.benchmarks.bench_numbers [ACCOUNTS]

Invented accounts of six digits with four weeks of events at the rate of the bulk data, two in a hundred silent,
two in a hundred strays. Planted: sites that report under two numbers, numbers with two digits swapped, and storms in
which hundreds tell the same in one minute. Told: seconds, and how much of what was planted the checks' own SQL finds.
"""

from __future__ import annotations

import resource
import sys
import time
from datetime import datetime

import numpy as np
import pyarrow as pa

from sigaudit.judging import checks, measures
from sigaudit.judging.cards import read
from sigaudit.judging.desk import Desk, Window
from sigaudit.store import roster_tables
from sigaudit.store.engine_duckdb import connect
from sigaudit.store.shipped import queries

AS_OF = datetime(2026, 11, 23, 5)
DAYS, PAIRS, SWAPS, STORMS = 28, 200, 100, 20
EVENTS_A_DAY = 0.7  # beginnings and restores, as tests/simulation/bulk.py
CODES = np.array(["130", "373", "110", "384", "301", "302"])
SHARES = np.array([0.35, 0.15, 0.1, 0.1, 0.25, 0.05])


def main(accounts: int) -> None:
    rng = np.random.default_rng(7)
    with connect(memory_limit="1GiB") as con:
        desk = Desk(con, Window(datetime(2026, 11, 16, 5), AS_OF, AS_OF))
        _roster(desk, accounts, rng)
        n_rows = _edges(desk, accounts, rng)
        _numbers(desk, accounts, rng)
        desk.put("numbers", pa.table({"i": pa.array(range(1, 4097), pa.int32())}))
        started = time.perf_counter()
        measures.compare(desk)
        print(f"{accounts:,} accounts, {n_rows:,} events compared: {time.perf_counter() - started:.1f} s")
        cards = [read(queries() / "checks" / f"{name}.toml") for name in ("two_accounts_one_site", "account_near_miss")]
        for card in cards:
            _limits(desk, card.id, {limit.name: limit.default for limit in card.limits.values()})
            for name in ("co_timed", "near_numbers"):
                desk.view(name, f"select * from kept_{name}")
            started = time.perf_counter()
            rows = checks.run_one(desk, card).to_pylist()
            found = {(row["account_key"], row["subject"]) for row in rows if row["verdict"] == "finding"}
            truth = _truth(accounts, card.id)
            told = f"{len(found & truth)} of {len(truth)} planted found, {len(found - truth)} beyond"
            print(f"{card.id}: {len(rows):,} rows, {told}; {time.perf_counter() - started:.2f} s")
    print(f"peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


def _key(number: int) -> str:
    return f"main/{number:06d}"


def _swapped(number: int) -> str:
    digits = f"{number:06d}"
    return digits[:3] + digits[4] + digits[3] + digits[5]


def _truth(accounts: int, check: str) -> set[tuple[str, str]]:
    if check == "two_accounts_one_site":
        return {(_key(i), f"peer={_key(i + accounts // 2)}") for i in range(PAIRS)}
    return {(_key(i), f"peer=main/{_swapped(i)}") for i in _victims(accounts)}


def _victims(accounts: int) -> list[int]:
    """Silent accounts whose fourth and fifth digit swapped give another number; that one is taken off the roster."""
    step = accounts // (SWAPS * 4)
    return [i for i in range(1000, accounts, step) if f"{i:06d}"[3] != f"{i:06d}"[4]][:SWAPS]


def _roster(desk: Desk, accounts: int, rng: np.random.Generator) -> None:
    gone = {int(_swapped(i)) for i in _victims(accounts)}
    rows = [i for i in range(accounts) if i not in gone]
    kinds = rng.choice(["fire", "burglary"], len(rows))
    made = {
        "account_key": [_key(i) for i in rows], "receiver_group": ["main"] * len(rows),
        "account": [f"{i:06d}" for i in rows], "site": [f"Site {i}" for i in rows], "system_type": kinds,
        "panel_account": [""] * len(rows), "monitored": [True] * len(rows),
    }  # fmt: skip
    for name in measures.ROSTER:
        schema = roster_tables.SCHEMAS[name]
        table = schema.empty_table()
        if name == "accounts":
            table = pa.table({f.name: pa.array(made.get(f.name, [None] * len(rows)), f.type) for f in schema})
        desk.put(f"all_{name}", table)


def _edges(desk: Desk, accounts: int, rng: np.random.Generator) -> int:
    n = int(accounts * EVENTS_A_DAY * DAYS)
    who = rng.integers(0, accounts, n)
    code = rng.choice(len(CODES), n, p=SHARES)
    zone = np.where(code < 4, rng.integers(1, 9, n), 0)
    at = rng.integers(0, DAYS * 86400, n)
    opens = rng.random(n) < 0.5
    parts = [(who, code, zone, at, opens)]
    for i in range(PAIRS):  # one site under two numbers: eight events, some seconds apart
        t = rng.integers(0, DAYS * 86400, 8)
        for number, lag in ((i, 0), (i + accounts // 2, int(rng.integers(1, 50)))):
            parts.append((np.full(8, number), np.zeros(8, int), np.full(8, 3), t + lag, np.arange(8) % 2 == 0))
    for _ in range(STORMS):  # an area's event: the same from hundreds in one minute
        hit = rng.choice(accounts, 400, replace=False)
        t = rng.integers(0, DAYS * 86400) + rng.integers(0, 30, 400)
        parts.append((hit, np.full(400, 1), np.zeros(400, int), t, np.ones(400, bool)))
    who, code, zone, at, opens = (np.concatenate(column) for column in zip(*parts, strict=True))
    quiet = np.isin(who, np.r_[np.arange(PAIRS), np.arange(PAIRS) + accounts // 2]) & (np.arange(len(who)) < n)
    keep = ~quiet
    who, code, zone, at, opens = (column[keep] for column in (who, code, zone, at, opens))
    second = np.datetime64(AS_OF, "s").astype(np.int64) - DAYS * 86400 + at
    keys = pa.array([_key(i) for i in range(accounts)]).take(pa.array(who))
    desk.put(
        "kept_rare_edges",
        pa.table(
            {
                "account_key": keys,
                "received_utc": pa.array(second.astype("datetime64[s]")).cast(pa.timestamp("us")),
                "slot_no": second // 60,
                "qualifier": pa.array(np.where(opens, "E", "R")),
                "code": pa.array(CODES[code]),
                "zone": pa.array([f"{i:03d}" for i in range(10)]).take(pa.array(zone)),
                "is_telling": code < 3,
            }
        ),
    )
    return len(who)


def _numbers(desk: Desk, accounts: int, rng: np.random.Generator) -> None:
    """Silent accounts and stray numbers; a planted stray tests on at its twin's interval on its twin's line."""
    victims = _victims(accounts)
    taken = {int(_swapped(i)) for i in victims}
    others = [
        int(i) for i in rng.choice(accounts, accounts // 50, replace=False) if i not in taken and i not in victims
    ]
    silent = [*victims, *others]
    gone = np.datetime64(AS_OF, "us") - rng.integers(3, 20, len(silent)).astype("timedelta64[D]")
    last = pa.array(gone)
    desk.put(
        "kept_fallen_silent",
        pa.table(
            {
                "account_key": [_key(i) for i in silent], "receiver_group": ["main"] * len(silent),
                "account": [f"{i:06d}" for i in silent], "installed_on": pa.array([None] * len(silent), pa.date32()),
                "ranks_as": ["fire"] * len(silent), "first_utc": last, "last_utc": last,
                "test_s": [86400.0] * len(silent), "last_test_utc": last,
            }
        ),
    )  # fmt: skip
    odd = [f"{int(i):06d}" for i in rng.integers(accounts, 10 * accounts, accounts // 50)]
    strays = list(dict.fromkeys([*(_swapped(i) for i in victims), *odd]))
    first = np.r_[
        gone[: len(victims)] + np.timedelta64(1, "D"),
        np.datetime64(AS_OF, "us") - rng.integers(1, 28, len(strays) - len(victims)).astype("timedelta64[D]"),
    ]
    n = len(strays)
    desk.put(
        "kept_strays",
        pa.table(
            {
                "account_key": [f"main/{s}" for s in strays], "receiver_group": ["main"] * n, "account": strays,
                "first_utc": pa.array(first), "last_utc": pa.array([AS_OF] * n, pa.timestamp("us")),
                "n_ever": pa.array([9] * n, pa.int64()), "n_alarm_window": pa.array([0] * n, pa.int64()),
                "has_fire": [0] * n, "has_burglary": [0] * n, "period_s": [86400.0] * n,
                "first_test_utc": pa.array(first),
            }
        ),
    )  # fmt: skip
    ways = [(key, str(number % 3 + 1)) for number, key in enumerate(_key(i) for i in silent)]
    desk.put("kept_path_lines", _lines([key for key, _ in ways], [line for _, line in ways], path="phone"))
    line_of = dict(zip(strays, (line for _, line in ways[: len(victims)]), strict=False))
    used = _lines([f"main/{s}" for s in strays], [line_of.get(s, str(i % 3 + 1)) for i, s in enumerate(strays)])
    desk.put("kept_used_lines", used)
    desk.make(
        "kept_two_combs",
        "select '' as account_key, '' as origin, timestamp '2026-11-01' as first_a_utc, timestamp '2026-11-01' as"
        " first_b_utc, 86400.0 as period_a_s, 86400.0 as period_b_s where false",
    )


def _lines(keys: list[str], lines: list[str], path: str = "") -> pa.Table:
    return pa.table({"account_key": keys, "path": [path] * len(keys), "receiver": ["1"] * len(keys), "line": lines})


def _limits(desk: Desk, check: str, values: dict[str, float]) -> None:
    told = " union all ".join(f"select '{name}' as name, {value} as value" for name, value in values.items())
    desk.make(
        "ranged_limits",
        f"select a.account_key, '{check}' as check_id, l.name, l.value from all_accounts as a cross join ({told}) as l",
    )


if __name__ == "__main__":
    main(int((*sys.argv[1:2], "100000")[0]))
