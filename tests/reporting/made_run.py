"""A run made by hand for the reporting tests: an invented station, invented sites, hostile texts.

Nothing in it was judged. It is the shape that an audit hands over, filled so that every part of a page
has something to show, over the night of 25 October 2026 on which Vienna's clocks go back.
"""

from __future__ import annotations

from datetime import timedelta

import made_causes
import made_station
from run_tables import FORMULA, FROM, LINKED, LONG, SCRIPT, UNTIL, MadeRun, finding, table


def small() -> MadeRun:
    """The small run: seven accounts with findings, two without, two incidents, hostile texts."""
    findings = [
        finding(1, "gone_silent", "critical"),
        finding(
            1,
            "test_overdue",
            "major",
            action="remote",
            status="continuing",
            weeks_on_list=5,
            subject="path=radio",
        ),
        finding(
            2,
            "test_overdue",
            "major",
            site=SCRIPT,
            dealer=FORMULA,
            sentence=f"{SCRIPT} {LINKED}",
            action="desk",
        ),
        finding(
            3,
            "ac_power_out_standing",
            "minor",
            system_type="burglary",
            dealer="Dealer South",
            status="returned",
            weeks_on_list=3,
            confidence="likely",
        ),
        finding(
            4,
            "trouble_standing",
            "minor",
            site=LONG,
            next_step=LONG,
            dealer="Dealer South",
            status="continuing",
            weeks_on_list=2,
        ),
        finding(
            5,
            "roster_incomplete",
            "note",
            action="desk",
            measured=None,
            limit=None,
            unit="",
            limit_source="",
            limit_standing="",
            cause="",
            cause_probability=None,
            since=None,
            system_type="",
        ),
        finding(
            6,
            "account_not_on_roster",
            "critical",
            account="00../x",
            site="",
            dealer="",
            installer="",
            system_type="",
            action="desk",
            confidence="possible",
        ),
        finding(
            7,
            "line_cut_flapping",
            "major",
            site="-2+3",
            system_type="holdup",
            next_step="+49 call the owner",
            confidence="likely",
        ),
    ]
    accounts = [
        {
            "account_key": f["account_key"],
            "account": f["account"],
            "receiver_group": "main",
            "site": f["site"],
            "customer": SCRIPT if f["page_no"] == 2 else f"Customer {f['page_no'] % 3}",
            "dealer": f["dealer"],
            "installer": f["installer"],
            "system_type": f["system_type"],
            "status": "active",
            "heard": True,
            "first_heard_utc": FROM - timedelta(days=200),
            "last_heard_utc": FROM - timedelta(days=2),
            "signals": 40,
            "monitored": True,
            "page_no": f["page_no"],
        }
        for f in {f["account_key"]: f for f in findings if f["page_no"] != 6}.values()
    ]
    accounts += [
        {
            "account_key": f"main/20{i}",
            "account": f"20{i}",
            "receiver_group": "main",
            "site": f"Sound site {i}",
            "customer": "Customer 1",
            "dealer": "Dealer North",
            "system_type": "burglary",
            "status": "active",
            "heard": i == 1,
            "last_heard_utc": UNTIL - timedelta(hours=3) if i == 1 else None,
            "signals": 14 if i == 1 else 0,
            "monitored": True,
        }
        for i in (1, 2)
    ]
    return MadeRun(
        made_station.meta(),
        {
            "findings": table("findings", findings),
            "accounts": table("accounts", accounts),
            "causes": table("causes", made_causes.causes()),
            "verdicts": table(
                "verdicts",
                [
                    {"check": "gone_silent", "verdict": "finding", "n": 1},
                    {"check": "gone_silent", "verdict": "sound", "n": 8},
                    {"check": "test_overdue", "verdict": "finding", "n": 2},
                    {
                        "check": "test_overdue",
                        "verdict": "not_judged",
                        "reason": "no test interval known",
                        "n": 3,
                    },
                    {
                        "check": "supervision_missed",
                        "verdict": "not_judged",
                        "reason": "check-ins are not in this log",
                        "n": 9,
                    },
                ],
            ),
            "incidents": table("incidents", made_station.incidents()),
            "coverage": table("coverage", made_station.coverage()),
            "tests_by_day": table(
                "tests_by_day",
                [
                    {
                        "local_day": (FROM + timedelta(days=i, hours=6)).date(),
                        "due": 40,
                        "strict": 36 - i,
                        "lenient": 37 - i,
                        "missed": 1 + i,
                        "excused": 2,
                    }
                    for i in range(7)
                ],
            ),
            "figures": table("figures", made_station.figures()),
            "unprotected": table(
                "unprotected",
                [
                    {
                        "account": "1001",
                        "site": "Invented site 1",
                        "system_type": "fire",
                        "since": FROM - timedelta(days=2),
                        "hours": 217.0,
                        "reason": "silent, no incident explains it",
                        "receiver_group": "main",
                        "mark": "8 h",
                        "account_key": "main/1001",
                    },
                    {
                        "account": "1007",
                        "site": "-2+3",
                        "system_type": "holdup",
                        "since": UNTIL - timedelta(hours=5),
                        "hours": 5.0,
                        "reason": "inside the outage of receiver 2",
                        "receiver_group": "main",
                        "mark": "4 h",
                        "account_key": "main/1007",
                    },
                ],
            ),
            **made_station.meeting(findings),
            "first_misses": table("first_misses", made_station.first_misses()),
            "resolved": table(
                "resolved",
                [
                    {
                        "finding_id": "abcdef012345",
                        "account": "1042",
                        "site": "Cured site",
                        "check": "gone_silent",
                        "title": "gone silent",
                        "last_week": "2026-W42",
                    }
                ],
            ),
            "quality": table(
                "quality",
                [
                    {
                        "topic": "reject",
                        "reason": "time not readable",
                        "n": 4,
                        "sample": f"{SCRIPT},2026",
                        "source": "night.csv",
                    },
                    {"topic": "repeat", "reason": "line already held", "n": 310, "source": "night.csv"},
                    {
                        "topic": "doubtful_time",
                        "reason": "repeated hour, order does not tell",
                        "n": 6,
                        "source": "night.csv",
                    },
                ],
            ),
            "evidence": table("evidence", made_station.evidence()),
            "check_in_days": table(
                "check_in_days",
                [
                    {
                        "page_no": 1,
                        "local_day": (FROM - timedelta(days=9 - i)).date(),
                        "path": "radio",
                        "n": 96,
                        "max_gap_s": 900.0,
                    }
                    for i in range(7)
                ],
            ),
            "slots": table("slots", made_station.slots()),
            "path_rows": table(
                "path_rows",
                [
                    {
                        "page_no": 1,
                        "account_key": "main/1001",
                        "path": "radio",
                        "kind": "radio",
                        "role": "primary",
                        "network": LINKED,
                        "receiver": "2",
                        "line": "1",
                        "test_s": 86400.0,
                        "supervision_s": 3600.0,
                    }
                ],
            ),
            "signals_to_see": table(
                "signals_to_see",
                [
                    {
                        "page_no": 1,
                        "account_key": "main/1001",
                        "step_no": 1,
                        "kind": "test",
                        "do": "Start a test.",
                        "event": "E601",
                        "path": "radio",
                        "receiver": "2",
                        "line": "1",
                        "within_s": 90.0,
                    },
                    {
                        "page_no": 1,
                        "account_key": "main/1001",
                        "step_no": 2,
                        "kind": "alarm",
                        "do": "Smoke.",
                        "event": "E111",
                        "restore": "R111",
                        "partition": "1",
                        "zone": "012",
                        "label": SCRIPT,
                    },
                ],
            ),
            "visit_rows": table(
                "visit_rows",
                [{"page_no": 1, "technician": FORMULA, "found": "no_fault", "fixed": "no", "note": SCRIPT}],
            ),
            "spans": table(
                "spans",
                [
                    {
                        "page_no": 1,
                        "kind": "incident",
                        "label": "outage of receiver 2",
                        "from_utc": FROM + timedelta(days=3),
                        "until_utc": FROM + timedelta(days=3, hours=7),
                    },
                    {
                        "page_no": 1,
                        "kind": "on_test",
                        "label": LINKED,
                        "from_utc": FROM - timedelta(days=20),
                        "until_utc": FROM - timedelta(days=19),
                    },
                    {
                        "page_no": 1,
                        "kind": "coverage_hole",
                        "label": "log missing",
                        "from_utc": FROM - timedelta(days=6),
                        "until_utc": FROM - timedelta(days=5),
                    },
                    {
                        "page_no": 1,
                        "kind": "episode",
                        "label": "E301 without a restore",
                        "from_utc": FROM - timedelta(days=3),
                        "until_utc": None,
                    },
                ],
            ),
        },
    )
