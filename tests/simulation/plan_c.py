"""Which site of block c carries which fault of power and of single points, and how strong."""

from __future__ import annotations

# (fault, kind of site, strength); the planters say what a strength means. Within a fault from weak to strong.
PLAN: list[tuple[str, str, str]] = [
    ("ac_power_flapping", "burglary_internet", "short/5/2026-10-19 00:00"),
    ("ac_power_flapping", "burglary_dialer", "clock/22/8/2026-11-02 00:00"),
    ("panel_restarts", "burglary_internet", "2/kept/2026-10-19 00:00"),
    ("panel_restarts", "fire_dialer", "5/moved/2026-11-02 00:00"),
    ("path_lost_with_power", "fire_phone_cell", "4/9/4"),
    ("path_lost_with_power", "captured_line", "9/3/0"),
    ("contact_stuck", "captured_radio", "trouble/2/2026-11-05 00:00"),
    ("contact_stuck", "captured_radio", "alarm/5/2026-10-26 00:00"),
    ("fire_alarm_repeated", "fire_dialer", "dirty/1/2026-10-19 00:00"),
    ("fire_alarm_repeated", "fire_dialer", "pull/4/2026-11-02 00:00"),
    ("point_rests_in_alarm", "burglary_internet", "use/6"),
    ("point_rests_in_alarm", "burglary_users", "arming/20"),
    # Five, for more than three a week must reach the log: the outage of 18 November swallows one.
    ("trouble_returning", "fire_dialer", "373/5/3/2026-10-26 00:00"),
    ("trouble_returning", "combined_dialer", "383/9/5/2026-11-02 00:00"),
    ("ground_fault_reported", "fire_two_lines", "wet/4/2026-11-02 00:00"),
    ("ground_fault_reported", "fire_waterflow", "standing/2026-11-10 14:00"),
]
