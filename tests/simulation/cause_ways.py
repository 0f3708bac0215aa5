"""How each cause is carried by a site: by which planter, on which kinds of site, from weak to strong.

``{since}`` in a strength stands for the instant from which on it is so, ``{day}`` for its date, ``{before}`` for
three weeks earlier. The order of the strengths is the order in which they leave traces in the log.
"""

from __future__ import annotations

from dataclasses import dataclass

from tests.simulation import planters
from tests.simulation.faults_causes import PLANTERS as OWN
from tests.simulation.planting import Planter

PLANTERS: dict[str, Planter] = {**planters.PLANTERS, **OWN}
CAPTURED = ("captured_radio", "captured_line", "captured_dual")
DIALERS = ("fire_dialer", "burglary_dialer", "combined_dialer")
NETTED = ("burglary_internet", "burglary_internet_cell", "captured_dual", "supervised_dual")
ANY = ("fire_dialer", "burglary_dialer", "combined_dialer", "burglary_internet", "captured_radio", "fire_phone_cell")


@dataclass(frozen=True)
class Way:
    """One way to carry a cause: planter, archetypes, strengths from weak to strong.

    ended: the same condition came and ended at this site, as such things do, days before the one that stays.
    """

    planter: str
    kinds: tuple[str, ...]
    strengths: tuple[str, ...]
    ended: bool = False


def _way(planter: str, kinds: tuple[str, ...] | str, *strengths: str, ended: bool = False) -> Way:
    return Way(planter, (kinds,) if isinstance(kinds, str) else kinds, strengths, ended)


WAYS: dict[str, tuple[Way, ...]] = {
    "override_not_set": (
        _way("account_near_miss", CAPTURED, "panel/{since}"),
        _way("two_accounts_one_site", ("captured_radio", "captured_dual"), "4/0.7", "6/1.0"),
    ),
    "account_mistyped": (_way("account_near_miss", (*DIALERS, "burglary_internet"), "swap/{since}", "digit/{since}"),),
    "account_shared": (
        _way("one_account_two_sites", (*DIALERS, "burglary_internet"), "{since}/same", "{since}/other"),
    ),
    "panel_not_captured": (
        _way("contacts_only", ("captured_radio", "captured_line"), "{since}/2", "{since}/5"),
        _way("panel_silent", CAPTURED, "uncaptured/{since}"),
    ),
    "report_format_wrong": (
        _way("format_unexpected", ("captured_radio", "captured_line"), "{since}/0.5", "{since}/1.0"),
        _way("zone_detail_missing", ("fire_dialer", "burglary_internet"), "point/1/{since}", "point/4/{since}"),
    ),
    "tone_level_marginal": (
        _way("repeated_delivery", ("fire_dialer", "captured_radio"), "{since}/0.2", "{since}/0.6"),
        _way("garbled_messages", ("burglary_dialer", "captured_radio"), "{since}/0.15", "{since}/0.4"),
    ),
    "contacts_not_wired": (_way("contacts_missing", CAPTURED, "{since}/alarm/3", "{since}/all/4"),),
    "contacts_inverted": (_way("contacts_disagree", CAPTURED, "inverted/2", "inverted/4"),),
    "contacts_crossed": (_way("contacts_disagree", CAPTURED, "crossed/2", "crossed/4"),),
    "contact_type_wrong": (_way("contacts_disagree", CAPTURED, "type/2", "type/4"),),
    "capture_card_fault": (
        _way("capture_supervision_trouble", ("captured_radio", "captured_dual"), "2", "5", "standing/{since}"),
    ),
    "line_sensing_without_line": (_way("line_cut_always", "captured_radio", "{day}/0", "{day}/24"),),
    "line_sensing_off": (_way("line_cut_blind", ("captured_line", "fire_phone_cell"), "{since}"),),
    "second_line_terminal_open": (
        _way("second_line_terminal_open", "fire_two_lines", "0.9/{since}", "0.4/{since}", "0/{since}"),
    ),
    "lines_joined": (
        _way("lines_joined", (*DIALERS, "fire_phone_cell"), "0.15/1/{since}", "0.3/2/{since}", "0.5/4/{since}"),
    ),
    "phone_line_faulty": (
        _way("line_cut_flapping", ("fire_phone_cell", "captured_line"), "6", "16"),
        _way("line_cut_standing", ("fire_phone_cell", "captured_line"), "{since}", ended=True),
        _way("dialer_fails_to_report", DIALERS, "2", "6"),
        _way("tests_missed_often", DIALERS, "{day}/0.25", "{day}/0.5"),
    ),
    "primary_path_dead": (
        _way("primary_path_silent", ("fire_phone_cell", "burglary_internet_cell"), "{since}"),
        _way("gone_silent", ("burglary_internet", "captured_radio"), "{since}"),
    ),
    "backup_path_dead": (_way("backup_path_silent", ("captured_dual", "fire_phone_cell"), "{since}"),),
    "weak_radio_path": (
        _way("supervision_flapping", ("captured_radio", "captured_line"), "6", "16"),
        _way("supervision_missed", ("supervised_single", "supervised_dual"), "3", "6"),
        _way("tests_missed_often", ("burglary_internet", "captured_radio"), "{day}/0.25", "{day}/0.5"),
    ),
    "supervision_not_enabled": (_way("supervision_never_seen", ("supervised_single", "supervised_dual"), ""),),
    "supervision_interval_wrong": (
        _way("supervision_interval_too_long", "supervised_single", "roster/24h", "log/4h", "log/8h"),
    ),
    "test_timer_missing": (
        _way("test_never_sent", (*DIALERS, "burglary_internet"), ""),
        _way("test_on_one_path_only", ("fire_phone_cell", "burglary_internet_cell"), "0.5", "1"),
    ),
    "test_timer_wrong": (
        _way("test_interval_too_long", (*DIALERS,), "2", "4"),
        _way("test_limit_too_tight", ("burglary_dialer", "burglary_internet"), "20", "45"),
    ),
    "test_timer_doubled": (_way("test_timer_doubled", ("burglary_internet", "fire_dialer"), "24/001/{since}"),),
    "panel_clock_wrong": (
        _way("clock_offset", "captured_dual", "{since}/900", "{since}/7200"),
        _way("test_time_drifting", ("burglary_dialer", "burglary_internet"), "8", "25"),
    ),
    "restores_not_programmed": (
        _way("restores_missing", ("burglary_dialer", "burglary_internet", "fire_dialer"), "trouble", "ac", "alarm"),
    ),
    "zone_list_outdated": (
        _way("zone_not_listed", ("fire_dialer", "burglary_internet"), "added/1/1/{since}", "shifted/20/4/{since}"),
        _way("partition_unexpected", ("burglary_internet", "burglary_partitions"), "area/3/1.5/{since}"),
    ),
    "system_type_wrong": (_way("code_unfit_for_system", ("burglary_users", "burglary_internet"), "roster/fire/2"),),
    "open_close_reporting_wrong": (
        _way("open_close_one_sided", ("burglary_partitions", "burglary_users"), "R/1/{since}", "R/0/{since}"),
    ),
    "power_supply_fault": (
        _way("paths_fail_together", "captured_line", "6", "14"),
        _way("battery_low_standing", ("fire_dialer", "burglary_dialer"), "309/{since}", ended=True),
        _way("ac_power_out_standing", ("fire_dialer", "burglary_internet"), "301/{since}", ended=True),
    ),
    "battery_aged": (
        _way(
            "battery_low_standing", ("fire_dialer", "burglary_dialer"), "cycle/8/0.3/{since}", "302/{since}", ended=True
        ),
        _way("silent_after_power_loss", ("fire_dialer", "burglary_dialer"), "{since}/3", "{since}/0.4"),
        _way("wireless_sensor_trouble", "burglary_wireless", "dead/{before}/{since}", ended=True),
    ),
    "ground_fault": (
        _way("ground_fault", ("fire_dialer", "combined_dialer"), "wet/3/{since}", "standing/{since}", ended=True),
    ),
    "zone_wiring_fault": (
        _way("zone_chatter", (*DIALERS, "burglary_partitions"), "15/{since}", "60/{since}"),
        _way("trouble_standing", ("fire_dialer", "combined_dialer"), "373/{since}", ended=True),
        _way("wireless_sensor_trouble", "burglary_wireless", "cycle/4/{since}"),
    ),
    "zone_left_bypassed": (
        _way("bypass_standing", ("fire_dialer", "fire_phone_cell"), "571/{since}", ended=True),
        _way("bypass_standing", ("burglary_dialer", "burglary_partitions"), "573/{since}", ended=True),
    ),
    "site_out_of_service": (
        _way(
            "site_out_of_service", (*DIALERS, "burglary_internet", "captured_radio"), "closing/{since}", "off/{since}"
        ),
    ),
    "left_on_test": (
        _way("on_test_too_long", ANY, "{since}"),
        _way("program_mode_left", ("combined_dialer", "burglary_users"), "627/{since}", "607/{since}", ended=True),
    ),
    "roster_wrong": (
        _way("roster_incomplete", ANY, "system_type", "paths"),
        _way("unexpected_receiver_line", ("burglary_dialer", "fire_dialer"), "{since}/0.5", "{since}/1.0"),
        _way("cancelled_still_sending", ("burglary_dialer", "fire_dialer"), "{day}/0.4", "{day}/1.0"),
    ),
}
# (archetype, cause, cause): both at one site, each by the first of its ways that fits
DOUBLES = (
    ("fire_dialer", "battery_aged", "zone_list_outdated"),
    ("burglary_dialer", "restores_not_programmed", "roster_wrong"),
    ("captured_radio", "weak_radio_path", "contacts_not_wired"),
    ("fire_phone_cell", "phone_line_faulty", "zone_left_bypassed"),
    ("combined_dialer", "zone_wiring_fault", "test_timer_wrong"),
    ("burglary_internet", "test_timer_doubled", "zone_list_outdated"),
    ("burglary_partitions", "open_close_reporting_wrong", "zone_left_bypassed"),
    ("captured_dual", "panel_clock_wrong", "backup_path_dead"),
)


def there(cause: str, kind: str = "") -> tuple[Way, ...]:
    """The ways of a cause whose planter exists, on sites of one kind where it is given."""
    return tuple(way for way in WAYS[cause] if way.planter in PLANTERS and (not kind or kind in way.kinds))
