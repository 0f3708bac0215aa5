"""The table ``limits``: which number applies to which account, and who set it.

Order, the later wins: card, card by system type, station, system type, dealer, account.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import pyarrow as pa

from sigaudit.errors import SettingsProblem
from sigaudit.judging.cards import SEVERITIES, Card
from sigaudit.settings import Settings, nearest

SCHEMA = pa.schema(
    [
        ("check_id", pa.string()),
        ("name", pa.string()),
        ("scope", pa.string()),
        ("of", pa.string()),
        ("rank_no", pa.int32()),
        ("value", pa.float64()),
        ("unit", pa.string()),
        ("source", pa.string()),
        ("standing", pa.string()),
        ("set_where", pa.string()),
    ]
)

_RANK = {"station": 3, "system_type": 4, "dealer": 5, "account": 6}

# Whoever has the same system type, the same dealer (of those with limits of their own) and no limit of its own goes
# by the same limits: they are resolved once for all such accounts, under the key of one of them.
HOLDERS = """
select
    account_key,
    min(account_key) over (partition by system_type, dealer, own) as like_key,
    account, system_type, dealer
from (
    select
        a.account_key, a.account, a.system_type,
        case when d.of is null then '' else a.dealer end as dealer,
        case when k.of is null and n.of is null then '' else a.account_key end as own
    from limit_subjects as a
    left join (select distinct of from limit_rules where scope = 'dealer') as d
        on a.dealer = d.of
    left join (select distinct of from limit_rules where scope = 'account') as k
        on a.account_key = k.of
    left join (select distinct of from limit_rules where scope = 'account') as n
        on a.account = n.of
)
"""

# The narrowest match of an account wins: one row per set of like accounts, check and limit.
RESOLVE = """
select like_key, check_id, name, value, unit, source, standing, set_where, rank_no, of
from (
    select a.like_key, r.*,
        row_number() over (
            partition by a.like_key, r.check_id, r.name order by r.rank_no desc, length(r.of) desc
        ) as place
    from limit_holders as a
    inner join limit_rules as r
        on r.scope = 'all'
        or (r.scope = 'system_type' and r.of = a.system_type)
        or (r.scope = 'dealer' and r.of = a.dealer)
        or (r.scope = 'account' and r.of = a.account_key)
        or (r.scope = 'account' and r.of = a.account)
    where a.account_key = a.like_key
) where place = 1
"""

# One row per account, check and limit; ``{0}`` is where the two tables stand.
EACH = """
select h.account_key, s.check_id, s.name, s.value, s.unit, s.source, s.standing, s.set_where
from {0}limit_holders as h
inner join {0}limit_sets as s on h.like_key = s.like_key
"""


def rules(cards: Mapping[str, Card], settings: Settings) -> pa.Table:
    """Every limit that the cards and the settings state, one row per limit and scope.

    Raises SettingsProblem for a check or limit that no card has, or a value that is no number.
    """
    rows: list[dict[str, Any]] = []
    for card in cards.values():
        for limit in card.limits.values():
            base = {
                "check_id": card.id, "name": limit.name, "unit": limit.unit, "source": limit.source,
                "standing": limit.standing, "set_where": f"{card.card_file.name}",
            }  # fmt: skip
            rows.append({**base, "scope": "all", "of": "", "rank_no": 1, "value": limit.default})
            rows.extend(
                {**base, "scope": "system_type", "of": system, "rank_no": 2, "value": value}
                for system, value in limit.by_type.items()
            )
    for key in settings.limit_keys():
        where = f"{key.file}, line {key.line}"
        card = _known(cards, key.check, where)
        if key.limit not in card.limits:
            raise SettingsProblem(
                f"{where}: {key.check} has no limit {key.limit!r}{_near(key.limit, card.limits)}",
                next_step=f"its limits: {', '.join(card.limits) or 'none'}",
            )
        if isinstance(key.value, bool) or not isinstance(key.value, int | float):
            raise SettingsProblem(
                f"{where}: limit {key.check}.{key.limit} = {key.value!r} is not a number",
                next_step=f"a number in {card.limits[key.limit].unit}",
            )
        unit = card.limits[key.limit].unit
        most = 1.0 if unit in ("share", "probability") else float("inf")
        if not 0 <= key.value <= most:
            raise SettingsProblem(
                f"{where}: limit {key.check}.{key.limit} = {key.value!r} is out of range",
                next_step=f"give a number from 0 to 1 ({unit})"
                if most == 1.0
                else f"give a number of {unit} from 0 on",
            )
        rows.append(
            {
                "check_id": key.check, "name": key.limit, "scope": "all" if key.scope == "station" else key.scope,
                "of": key.subject, "rank_no": _RANK[key.scope], "value": float(key.value),
                "unit": card.limits[key.limit].unit, "source": "station's settings", "standing": "house",
                "set_where": f"{key.file}:{key.line}",
            }
        )  # fmt: skip
    return pa.Table.from_pylist(rows, schema=SCHEMA)


def severities(cards: Mapping[str, Card], settings: Settings) -> dict[str, str]:
    """Severities the station set, by check id ('off' or a severity). Raises SettingsProblem."""
    for check, value in settings.severity.items():
        where = settings.where_of("severity", check)
        _known(cards, check, where)
        if value != "off" and value not in SEVERITIES:
            raise SettingsProblem(f"{where}: severity {value!r}", next_step=f"off or one of: {', '.join(SEVERITIES)}")
    return dict(settings.severity)


def _known(cards: Mapping[str, Card], check: str, where: str) -> Card:
    if check not in cards:
        raise SettingsProblem(
            f"{where}: no check {check!r}{_near(check, cards)}", next_step="`sigaudit checks` lists them"
        )
    return cards[check]


def _near(name: str, known: Iterable[str]) -> str:
    found = nearest(name, list(known))
    return f" (nearest: {found[0]})" if found else ""
