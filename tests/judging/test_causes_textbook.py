"""The shipped cause model and its inference together: textbook pictures of faults, and odds that mean what they say.

The pictures are the trade's (common practice, no source): what a service desk expects to find behind them.
"""

from __future__ import annotations

import numpy as np
import pytest

from sigaudit.judging import cause_model, diagnose
from sigaudit.judging.cards import read_all
from sigaudit.judging.cause_evidence import Evidence, Unit
from sigaudit.judging.cause_model import Model
from sigaudit.judging.causes import FIRES, LEFT_OUT, SILENT, factor, posterior, space
from sigaudit.store import shipped

CARDS = read_all(shipped.queries() / "checks")


def shipped_model() -> Model:
    reading = cause_model.read(shipped.queries(), CARDS)
    assert reading is not None
    return reading.reference


MODEL = shipped_model()
TEXTBOOK = [
    # a number never heard, and a stray one two digits swapped from it since the same day
    ("account_mistyped", ("never_heard", "account_near_miss", "account_not_on_roster")),
    # the transmitter lives, contacts come, and no message of the panel is ever captured
    ("panel_not_captured", ("panel_silent", "contacts_only")),
    # a daily test where one is asked every six hours
    ("test_timer_wrong", ("test_interval_too_long", "test_overdue")),
    # everything but tests arrives
    ("test_timer_missing", ("test_never_sent", "test_overdue")),
    ("test_timer_doubled", ("test_timer_doubled",)),
    # alarms and troubles begin and never end
    ("restores_not_programmed", ("restores_missing",)),
    # everything by the second path, the first has fallen still
    ("primary_path_dead", ("primary_path_silent", "test_overdue")),
    ("backup_path_dead", ("backup_path_silent",)),
    ("weak_radio_path", ("supervision_flapping", "supervision_missed", "tests_missed_often")),
    ("supervision_not_enabled", ("supervision_never_seen",)),
    ("supervision_interval_wrong", ("supervision_interval_too_long",)),
    # a cut told since the first day at a site that never had the line
    ("line_sensing_without_line", ("line_cut_always",)),
    # the line is dead and nobody was told
    ("line_sensing_off", ("line_cut_blind", "primary_path_silent")),
    ("battery_aged", ("battery_low_standing", "test_reports_trouble")),
    ("zone_list_outdated", ("zone_not_listed",)),
    ("open_close_reporting_wrong", ("open_close_one_sided",)),
    ("zone_left_bypassed", ("bypass_standing",)),
    ("left_on_test", ("on_test_too_long",)),
    ("panel_clock_wrong", ("clock_offset",)),
    ("zone_wiring_fault", ("zone_chatter",)),
    ("account_shared", ("one_account_two_sites", "zone_not_listed")),
    # silent beyond its limit, nothing else said: the log cannot tell a dead path from a site given up
    ("site_out_of_service", ("gone_silent", "test_overdue")),
]  # fmt: skip


@pytest.mark.parametrize(("cause", "fires"), TEXTBOOK, ids=[cause for cause, _ in TEXTBOOK])
def test_a_textbook_picture_leads_to_its_cause(cause: str, fires: tuple[str, ...]) -> None:
    """Every other check ran and is silent; the first thing named is the cause, or a pair that holds it."""
    unit = Unit("main/1", frozenset({"on_roster", *MODEL.cause(cause).where}), frozenset())
    evidence = Evidence(frozenset(MODEL.checks), (unit,), {"main/1": dict.fromkeys(fires, FIRES)}, {}, {})
    rows = diagnose.diagnose(evidence, MODEL, CARDS, {}).rows
    assert cause in {row["cause"] for row in rows if row["rank"] == 1}, [(r["cause"], r["probability"]) for r in rows]


def test_where_nothing_fires_nothing_is_wrong() -> None:
    silent = np.full((1, len(MODEL.checks)), SILENT, dtype=np.int8)
    found = posterior(space(MODEL), silent, np.ones((1, len(MODEL.causes)), dtype=np.bool_))
    assert found[0, 0] > 0.95


def test_of_accounts_drawn_from_the_model_those_said_to_have_a_cause_have_it_as_often_as_said() -> None:
    """The posterior of a sound inference is calibrated on its own world (Dawid 1982, J. Am. Stat. Assoc. 77:605; from
    memory). Accounts are drawn hypothesis by hypothesis and outcome by outcome, a third of all checks not judged.

    Per tenth of probability the share that truly has the cause may be off by chance alone: five standard errors.
    """
    rng = np.random.default_rng(20261125)
    hypotheses = space(MODEL)
    n = 6000
    # Faulty accounts are drawn more often than they occur, and weighed back: else nearly all would be sound.
    drawn_by = np.where(hypotheses.members.any(axis=1), hypotheses.weight * 8.0, hypotheses.weight)
    held = rng.choice(len(drawn_by), size=n, p=drawn_by / drawn_by.sum())
    weight = np.where(held == 0, 1.0, 1.0 / 8.0)
    states = np.full((n, len(MODEL.checks)), LEFT_OUT, dtype=np.int8)
    for _, columns in hypotheses.chains:
        judged = rng.random((n, len(columns))) < 2 / 3
        for pattern in np.unique(judged, axis=0):
            if pattern.any():
                rows = np.flatnonzero((judged == pattern).all(axis=1))
                _draw(rng, hypotheses.rates[:, columns[pattern]], held[rows], states, rows, columns[pattern])
    each = posterior(hypotheses, states, np.ones((n, len(MODEL.causes)), dtype=np.bool_)) @ hypotheses.members
    truth = hypotheses.members[held]
    for low in np.arange(0.0, 1.0, 0.1):
        inside = (each >= low) & (each < low + 0.1)
        share = np.broadcast_to(weight[:, None], each.shape)[inside]
        if inside.sum() < 50:
            continue
        said = float((share * each[inside]).sum() / share.sum())
        was = float((share * truth[inside]).sum() / share.sum())
        error = float(np.sqrt((share**2 * each[inside] * (1 - each[inside])).sum()) / share.sum())
        assert abs(said - was) < 5 * error + 1e-4, (low, said, was, error)


def _draw(
    rng: np.random.Generator, rates: np.ndarray, held: np.ndarray, states: np.ndarray, rows: np.ndarray,
    columns: np.ndarray,
) -> None:  # fmt: skip
    """Outcome of one group for accounts with the same judged checks: none fires, or the i-th does first."""
    k = len(columns)
    pictures = [[SILENT] * k, *([SILENT] * i + [FIRES] + [SILENT] * (k - i - 1) for i in range(k))]
    chances = np.cumsum(np.column_stack([factor(rates, picture) for picture in pictures]), axis=1)[held]
    outcome = (rng.random(len(rows))[:, None] > chances).sum(axis=1)
    states[np.ix_(rows, columns)] = np.array(pictures, dtype=np.int8)[np.minimum(outcome, k)]
