"""Wording of the held-out hands, written before the reader's vocabulary and kept apart from it.

Notes of these hands occur in no fleet. They only measure how well notes are read (held_out_notes.py). Of findings,
denials and doubts, every other phrase (the first, third, ...) was later used to widen the vocabulary; the rest is reported.
"""

from __future__ import annotations

# What each phrase states as found, by cause code.
FOUND = {
    "hose_water": (
        "blew a slug of water out of the pressure tube",
        "tubing to the switch had condensation sitting in it",
        "sensing line waterlogged",
        "drained a teaspoon of moisture from the hose",
    ),
    "hose_leak_or_kink": (
        "rubber tube perished, hissing by the barb",
        "hose popped off the inducer",
        "tubing pinched under the door panel",
        "pinhole in the vacuum line",
    ),
    "port_plugged": (
        "nipple on the collector crusted over",
        "pressure tap packed with scale",
        "barb on inducer choked with rust flakes",
    ),
    "intake_blocked": (
        "cottonwood all over the fresh air screen",
        "intake pipe stuffed with leaves",
        "bag sucked against the combustion air inlet",
    ),
    "restrictor_missing": ("orifice not in the tube", "pulsation damper gone", "someone removed the restrictor"),
    "trap_fouled": ("p-trap gunked up", "slime in the trap", "algae plugging the condensate trap"),
    "drain_frozen": (
        "condensate froze up in the crawl space",
        "outdoor drain leg solid ice",
        "ice plug in drain tube",
    ),
    "drain_slope_or_double_trap": (
        "drain runs uphill",
        "line has a belly and a second trap",
        "no pitch on the condensate line",
    ),
    "drain_pump_or_shared_drain": (
        "pump would not empty, float hung up",
        "common drain backed up from the a/c coil",
        "condensate pump burnt out",
    ),
    "collector_water": (
        "header pan full of condensate",
        "water sloshing in the cold end box",
        "collector was flooded",
    ),
    "outlet_ice_or_snow": ("icicles over termination", "exhaust pipe buried in drift", "snow packed round exhaust"),
    "nest_or_debris": (
        "pulled a bird's nest out of the flue",
        "mud daubers in the exhaust pipe",
        "squirrel built in the vent",
    ),
    "vent_too_long": ("vent exceeds max length", "way too many ells on the flue", "undersized vent, long run"),
    "vent_sag_water": (
        "flue pipe has a low spot, holding water",
        "hanger came off, vent bellied",
        "exhaust drooping with water in the dip",
    ),
    "wind_at_outlet": (
        "gusts blowing back down the exhaust",
        "prevailing wind hits the termination",
        "downdraft at the vent when it blows",
    ),
    "fan_worn": (
        "inducer squealing, bearings shot",
        "blower wheel on the inducer broke loose",
        "exhauster motor lagging",
    ),
    "fan_supply": (
        "cap on the inducer tested low",
        "only 98 volts at inducer motor",
        "run capacitor out of range",
    ),
    "wiring_or_contact": (
        "spade connector burned off",
        "chafed wire shorting to the cabinet",
        "molex pin backed out",
    ),
    "board_input": (
        "board bad, not reading the ps input",
        "control module ignores the pressure circuit",
        "relay on board cooked",
    ),
    "diaphragm_leak": (
        "could hear air through the diaphragm",
        "switch would not hold vacuum",
        "ruptured diaphragm",
    ),
    "setpoint_drift": (
        "switch not closing till 1.1 wc",
        "calibration way off on old switch",
        "closes 30 pct over rating",
    ),
    "contact_stuck_or_resistive": (
        "pressure switch welded shut",
        "6 ohms across the points when made",
        "contacts pitted",
    ),
    "water_in_switch": ("poured water out of old switch", "switch body wet inside", "moisture inside ps"),
    "exchanger_restricted": ("secondary coil gooped up", "hx sooted up", "heat exchanger fins matted"),
    "exchanger_breached": ("hx cracked second cell", "rust through in the heat exchanger", "hole in the cell"),
    "wrong_switch_or_altitude": (
        "previous company put in the wrong rated switch",
        "0.60 switch where plate calls for 0.85",
        "high altitude kit was never installed",
    ),
    "safety_bypassed": (
        "ps jumped out with a paper clip",
        "someone had tied the switch wires together",
        "pressure switch defeated",
    ),
}

# What was looked at and denied, by cause group.
DENIED = {
    "air_path": ("hose dry and tight", "no moisture in tubing", "didn't see any cracks in hose", "hose not kinked"),
    "condensate": ("trap ok", "no backup in the drain", "trap was not plugged", "no ice in the drain"),
    "flue_path": ("vent clear both ends", "no nest in flue", "termination not blocked", "no snow near outlet"),
    "draft_fan": ("inducer sounds normal", "inducer bearings not worn", "no play in wheel"),
    "electrical": ("wiring checked tight", "no loose connections", "no burnt wires at the board"),
    "switch_itself": ("diaphragm not torn", "contacts not burnt", "no water in switch"),
    "heat_exchanger": ("hx not cracked", "no cracks in heat exchanger", "did not find a hole in the exchanger"),
    "installation": ("switch not jumped", "not the wrong switch, label matches"),
}

# What is only supposed, said by another, to be looked for, or priced, by cause group.
OPEN = {
    "air_path": ("possible water in hose", "may be a cracked hose", "next time look for a kinked hose"),
    "condensate": (
        "maybe trap plugged, could not get to it",
        "if it does it again look for plugged trap",
        "quoted unplugging the drain",
    ),
    "flue_path": ("customer thinks a bird nest is in the flue", "might be wind at the vent"),
    "draft_fan": ("inducer may be getting weak", "quoted new inducer for worn bearings"),
    "electrical": ("suspect loose wire", "could be a bad board"),
    "switch_itself": ("probably diaphragm leaking", "suspect contacts sticking"),
    "heat_exchanger": ("recommend checking for cracked exchanger", "possible cracked exchanger"),
    "installation": ("might be the wrong switch", "was it jumpered before?"),
}

OPENED = (
    "no heat call",
    "arrived 8 am, unit down",
    "furnace cycling on ps code",
    "no ht, inducer runs, no ignition",
    "3 flashes on board",
    "customer says it quit overnight",
    "unit locked out on arrival",
    "boiler not firing",
)

DONE = (
    "r&r pressure switch",
    "swapped out ps",
    "new sw installed",
    "put in a new switch",
    "pulled and exchanged the switch",
    "cleaned up and restarted",
    "reset breaker and cycled unit",
    "installed new switch, same rating",
)

# An action that was not done.
NOT_DONE = (
    "did not replace switch",
    "quoted only",
    "left old switch in",
    "switch not changed",
    "customer declined new switch",
    "no parts used",
)

CLOSED = ("good fire", "ok at this time", "ran 3 cycles", "heat on when I left", "all ok", "tested good", "")

READ = (".62 wc on start", '0.85" w.c.', "160 Pa", "read -1.1 iwc running", "1.4 mbar at switch", "", "", "")

SHORTENED = (
    ("pressure", "press"),
    ("switch", "swt"),
    ("condensate", "cndst"),
    ("inducer", "ind"),
    ("exchanger", "exch"),
    ("termination", "term"),
    ("plugged", "plgd"),
    ("blocked", "blkd"),
    ("cracked", "crkd"),
    ("customer", "cust"),
    ("water", "wtr"),
    ("and", "+"),
    ("with", "w/"),
)
