"""What the simulation knows of each cause: how common, when, which step finds it, what it does to the draft.

The codes and their return times come from the contract; the shares are invented, in the range of common practice.
"""

from __future__ import annotations

import numpy as np

from pipelines.contract import codes

CAUSES = codes.CAUSES
CODES = tuple(cause.code for cause in CAUSES)
N_CAUSES = len(CODES)
NUMBER = {code: number for number, code in enumerate(CODES)}
GROUPS = tuple(cause.group for cause in CAUSES)

STEPS = ("hose", "trap", "vent", "fan", "electrical", "switch", "other")

# code: (share of new draft faults, step that finds it, check that shows it, part of the draft path it acts on,
#        when it happens, how often it is away while somebody looks)
_KNOWN = {
    "hose_water": (9.0, "hose", "hose", "hose", "condensate", 0.15),
    "hose_leak_or_kink": (6.0, "hose", "hose", "hose", "heat", 0.10),
    "port_plugged": (5.0, "hose", "port", "hose", "blockage", 0.05),
    "intake_blocked": (5.5, "vent", "air_intake", "intake", "blockage", 0.05),
    "restrictor_missing": (1.0, "hose", "hose", "hose", "heat", 0.30),
    "trap_fouled": (10.0, "trap", "trap_and_drain", "condensate", "condensate", 0.15),
    "drain_frozen": (3.5, "trap", "trap_and_drain", "condensate", "freeze", 0.20),
    "drain_slope_or_double_trap": (5.0, "trap", "trap_and_drain", "condensate", "condensate", 0.20),
    "drain_pump_or_shared_drain": (4.0, "trap", "trap_and_drain", "condensate", "condensate", 0.20),
    "collector_water": (4.0, "trap", "collector_box", "condensate", "condensate", 0.15),
    "outlet_ice_or_snow": (3.0, "vent", "vent_outlet", "vent", "snow", 0.20),
    "nest_or_debris": (4.5, "vent", "vent_outlet", "vent", "blockage", 0.03),
    "vent_too_long": (3.0, "vent", "vent_outlet", "vent", "heat", 0.40),
    "vent_sag_water": (3.5, "vent", "vent_outlet", "vent", "condensate", 0.25),
    "wind_at_outlet": (3.5, "vent", "vent_outlet", "vent", "gust", 0.60),
    "fan_worn": (6.0, "fan", "draft_fan", "fan", "heat", 0.20),
    "fan_supply": (5.0, "fan", "draft_fan", "fan", "heat", 0.25),
    "wiring_or_contact": (6.0, "electrical", "wiring", "none", "heat", 0.0),
    "board_input": (2.0, "electrical", "control_board", "none", "heat", 0.0),
    "diaphragm_leak": (3.2, "switch", "draft_at_switch", "none", "heat", 0.0),
    "setpoint_drift": (3.2, "switch", "draft_at_switch", "none", "heat", 0.0),
    "contact_stuck_or_resistive": (2.6, "switch", "voltage_across_contacts", "none", "heat", 0.0),
    "water_in_switch": (2.2, "switch", "draft_at_switch", "none", "condensate", 0.0),
    "exchanger_restricted": (1.3, "other", "heat_exchanger", "vent", "heat", 0.10),
    "exchanger_breached": (0.4, "other", "heat_exchanger", "vent", "heat", 0.10),
    "wrong_switch_or_altitude": (0.9, "other", "rating_label", "fan", "heat", 0.10),
    "safety_bypassed": (0.4, "other", "switch_at_rest", "none", "heat", 0.0),
    "not_found": (0.0, "other", "", "none", "heat", 0.0),
    "not_reproduced": (0.0, "other", "", "none", "heat", 0.0),
}

if set(_KNOWN) != set(CODES):  # a cause added to the contract must be given a place here
    raise RuntimeError(f"causes.py: no numbers for {sorted(set(CODES) ^ set(_KNOWN))}")

_ROWS = [_KNOWN[code] for code in CODES]
SHARE = np.array([row[0] for row in _ROWS]) / sum(row[0] for row in _ROWS)
STEP = np.array([STEPS.index(row[1]) for row in _ROWS])
CHECK = tuple(row[2] for row in _ROWS)
PATH = tuple(row[3] for row in _ROWS)
TIMING = tuple(row[4] for row in _ROWS)
AWAY_PROBABILITY = np.array([row[5] for row in _ROWS])

IS_SWITCH = np.array([group == "switch_itself" for group in GROUPS])
IS_NONE_FOUND = np.array([group == "none_found" for group in GROUPS])
MUST_ESCALATE = np.array([cause.must_escalate for cause in CAUSES])
# Only where flue gas condenses.
NEEDS_CONDENSATE = np.array([group == "condensate" for group in GROUPS]) | np.isin(
    CODES, ["vent_sag_water", "water_in_switch"]
)
IS_CONDENSATE_FAMILY = np.isin(CODES, codes.CONDENSATE_FAMILY)
IS_BLOCKAGE_FAMILY = np.isin(CODES, codes.BLOCKAGE_FAMILY)

# Probability that a new switch fitted blindly seems to cure the fault, and that the fault then comes back.
_SEEMS_CURED = {"yes": 1.0, "partly": 0.75, "no": 0.15, "cures": 1.0}
SEEMS_CURED = np.array([_SEEMS_CURED[cause.is_masked] for cause in CAUSES])
DAYS_LOW = np.array([1 if cause.days_low is None else max(cause.days_low, 1) for cause in CAUSES])
DAYS_HIGH = np.array([30 if cause.days_high is None else cause.days_high for cause in CAUSES])
RETURNS_WITH = tuple(cause.returns_with for cause in CAUSES)
# Time: comes back in its own time; never: a new switch really cures it, but a wrong repair leaves it there.
IS_CURED_BY_SWITCH = np.array([cause.is_masked == "cures" for cause in CAUSES])
