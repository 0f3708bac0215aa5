"""The invented station: receivers, dealers, installers, networks. No name here exists."""

from __future__ import annotations

STATION = "Harbour Watch Monitoring (invented)"

# What each receiver line carries. Receivers 1 and 2 export the plain layout, receiver 3 its own.
LINES = {
    "phone": [("1", "1"), ("1", "2"), ("3", "1")],
    "internet": [("2", "1"), ("3", "2")],
    "cellular": [("2", "2")],
    "radio": [("2", "3"), ("3", "3")],
    "one_way_radio": [("2", "4")],  # not in the demo
}
OWN_LINE = "0"
OWN_ACCOUNT = {"1": "", "2": "", "3": "0000"}

# dealer -> (installers, share of the accounts)
DEALERS = {
    "Dealer Alder": (("Installer A. One", "Installer A. Two", "Installer A. Three"), 0.34),
    "Dealer Birch": (("Installer B. One", "Installer B. Two"), 0.26),
    "Dealer Cedar": (("Installer C. One", "Installer C. Two"), 0.20),
    "Dealer Dogwood": (("Installer D. One",), 0.12),
    "Dealer Elm": (("Installer E. One",), 0.08),
}
AREAS = [f"Area {n}" for n in range(1, 9)]
EXCHANGES = [f"Exchange {n}" for n in range(1, 7)]
NETWORKS = {
    "phone": ["Provider North", "Provider South"],
    "internet": ["Provider North", "Provider East"],
    "cellular": ["Carrier Blue", "Carrier Grey"],
    "radio": ["Harbour radio net"],
    "one_way_radio": ["Hilltop radio net"],
}
PANELS = {
    "fire": ["Fire panel F1", "Fire panel F2"],
    "combined": ["Combined panel K1"],
    "other": ["Panel P1", "Panel P2", "Panel P3"],
}
FIRE_ZONES = ["smoke", "smoke", "smoke", "pull", "pull", "heat", "waterflow", "duct", "valve_tamper"]
BURGLARY_ZONES = ["entry", "perimeter", "perimeter", "interior", "motion", "motion", "glass"]
OTHER_ZONES = {"holdup": ["holdup"], "medical": ["medical"], "environment": ["water", "low_temperature"]}

# zone kind -> alarm code (Contact ID event table, SIA DC-05: 110-118 fire, 130-139 burglary,
# 200-206 fire supervisory)
ALARM_CODES = {
    "smoke": "111", "pull": "115", "heat": "114", "waterflow": "113", "duct": "116", "valve_tamper": "203",
    "entry": "134", "perimeter": "131", "interior": "132", "motion": "132", "glass": "130",
    "holdup": "122", "medical": "101", "water": "154", "low_temperature": "159",
}  # fmt: skip
CONTACT_ZONES = {"alarm": ("901", "110"), "trouble": ("902", "300"), "supervisory": ("903", "200")}
