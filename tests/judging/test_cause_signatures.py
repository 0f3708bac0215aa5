"""The textbook pattern of a fault leads to its cause, by the shipped numbers alone.

Patterns: the failure catalogue of the trade, one row per fault in the guide's table; here the findings that the
fault leaves at a site where everything else is quiet. Common practice, no source. Not the simulator: nothing here
was drawn from the model's own numbers.
"""

from __future__ import annotations

import numpy as np
import pytest

from sigaudit.judging import cause_model, causes
from sigaudit.judging.cards import read_all
from sigaudit.store import shipped

CARDS = read_all(shipped.queries() / "checks")
READING = cause_model.read(shipped.queries(), CARDS)
assert READING is not None
SPACE = causes.space(READING.reference)
CHECKS = READING.reference.checks

# What fires, and the cause that a practitioner would name first.
FIRST = [
    ("override_not_set", "default_account_in_use account_not_on_roster panel_silent contacts_only"),
    ("override_not_set", "account_near_miss account_not_on_roster panel_silent contacts_only"),
    ("account_mistyped", "account_near_miss account_not_on_roster gone_silent test_overdue"),
    ("account_mistyped", "account_near_miss account_not_on_roster never_heard"),
    ("account_shared", "one_account_two_sites zone_not_listed user_out_of_range"),
    ("panel_not_captured", "panel_silent contacts_only"),
    ("panel_not_captured", "panel_silent contacts_only test_never_sent"),
    ("report_format_wrong", "format_unexpected zone_detail_missing"),
    ("tone_level_marginal", "repeated_delivery dialer_fails_to_report"),
    ("tone_level_marginal", "garbled_messages tests_missed_often repeated_delivery"),
    ("contacts_not_wired", "contacts_missing"),
    ("contacts_inverted", "contacts_disagree restore_before_event"),
    ("contact_type_wrong", "contacts_disagree code_unfit_for_system"),
    ("capture_card_fault", "capture_supervision_trouble panel_silent"),
    ("line_sensing_without_line", "line_cut_always"),
    ("line_sensing_off", "line_cut_blind backup_path_silent test_overdue"),
    ("second_line_terminal_open", "tests_missed_often dialer_fails_to_report line_cut_always"),
    ("lines_joined", "line_cut_flapping dialer_fails_to_report repeated_delivery"),
    ("phone_line_faulty", "line_cut_standing primary_path_silent test_overdue"),
    ("phone_line_faulty", "line_cut_standing"),
    ("primary_path_dead", "primary_path_silent test_overdue supervision_missed"),
    ("backup_path_dead", "backup_path_silent test_overdue"),
    ("weak_radio_path", "supervision_flapping supervision_missed"),
    ("weak_radio_path", "supervision_missed tests_missed_often"),
    ("supervision_not_enabled", "supervision_never_seen supervision_missed"),
    ("supervision_interval_wrong", "supervision_interval_too_long supervision_missed"),
    ("test_timer_missing", "test_never_sent"),
    ("test_timer_wrong", "test_interval_too_long test_overdue tests_missed_often"),
    ("test_timer_doubled", "test_timer_doubled"),
    ("panel_clock_wrong", "clock_offset"),
    ("panel_clock_wrong", "test_time_drifting"),
    ("restores_not_programmed", "restores_missing"),
    ("zone_list_outdated", "zone_not_listed"),
    ("system_type_wrong", "code_unfit_for_system"),
    ("open_close_reporting_wrong", "open_close_one_sided"),
    ("power_supply_fault", "ac_power_flapping battery_low_standing"),
    ("power_supply_fault", "ac_power_out_standing battery_low_standing"),
    ("battery_aged", "battery_low_standing"),
    ("battery_aged", "silent_after_power_loss gone_silent test_overdue"),
    ("ground_fault", "ground_fault_reported test_reports_trouble"),
    ("zone_wiring_fault", "zone_chatter"),
    ("zone_left_bypassed", "bypass_standing"),
    ("site_out_of_service", "gone_silent test_overdue"),
    ("left_on_test", "on_test_too_long alarm_while_on_test"),
    ("roster_wrong", "roster_incomplete"),
    ("roster_wrong", "unexpected_receiver_line"),
]
# Patterns that a log leaves open: the cause must stand among the first three.
AMONG_THREE = [
    ("contacts_crossed", "contacts_disagree"),
    ("contacts_inverted", "contacts_disagree"),
    ("contact_type_wrong", "contacts_disagree"),
    ("phone_line_faulty", "line_cut_flapping"),
    ("lines_joined", "line_cut_flapping"),
    ("phone_line_faulty", "gone_silent test_overdue"),
    ("primary_path_dead", "gone_silent test_overdue"),
    ("zone_wiring_fault", "trouble_standing"),
    ("zone_left_bypassed", "supervisory_standing"),
    ("battery_aged", "wireless_sensor_trouble"),
    ("zone_wiring_fault", "wireless_sensor_trouble"),
]
# Findings that come of people, weather or chance more often than of a fault.
NOTHING = ["", "waterflow_repeated", "fire_alarm_repeated", "inspection_not_on_test", "alarm_while_on_test",
           "user_out_of_range"]  # fmt: skip


def ranked(fires: str) -> tuple[list[str], float]:
    """Causes by probability, and that of none, where just these checks fire and all others were silent."""
    states = np.zeros((1, len(CHECKS)), dtype=np.int8)
    states[0, [CHECKS.index(check) for check in fires.split()]] = causes.FIRES
    allowed = np.ones((1, len(SPACE.names)), dtype=np.bool_)
    found = causes.posterior(SPACE, states, allowed)[0]
    chance = {name: float(found[SPACE.members[:, i]].sum()) for i, name in enumerate(SPACE.names)}
    return sorted(chance, key=lambda name: -chance[name]), float(found[0])


@pytest.mark.parametrize(("cause", "fires"), FIRST, ids=lambda value: value)
def test_the_textbook_pattern_names_its_cause(cause: str, fires: str) -> None:
    first = ranked(fires)[0][0]
    # A pair is what no receiver log can tell apart: either of the two is right.
    assert cause in (first, *SPACE.model.cause(first).pair)


def test_every_cause_has_its_pattern() -> None:
    assert {cause for cause, _ in (*FIRST, *AMONG_THREE)} == set(SPACE.names)


@pytest.mark.parametrize(("cause", "fires"), AMONG_THREE, ids=lambda value: value)
def test_an_open_pattern_keeps_its_causes_in_sight(cause: str, fires: str) -> None:
    assert cause in ranked(fires)[0][:3]


@pytest.mark.parametrize("fires", NOTHING)
def test_what_people_and_weather_do_is_not_called_a_fault(fires: str) -> None:
    assert ranked(fires)[1] > 0.5


@pytest.mark.parametrize("check", CHECKS)
def test_one_finding_alone_is_never_certain(check: str) -> None:
    """One check in one week: a lead, and the card of the cause says what to look for next."""
    names, _ = ranked(check)
    states = np.zeros((1, len(CHECKS)), dtype=np.int8)
    states[0, CHECKS.index(check)] = causes.FIRES
    found = causes.posterior(SPACE, states, np.ones((1, len(SPACE.names)), dtype=np.bool_))[0]
    assert float(found[SPACE.members[:, SPACE.names.index(names[0])]].sum()) < 0.985
