"""Every code list of the contract, and what each cause means for a switch that was pulled.

The lists are common practice in the trade, set in the structure of ISO 14224
(mode, mechanism, cause, detection, action).
"""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.contract.fields import Code, CodeList


def _list(name: str, **codes: str) -> CodeList:
    return CodeList(name, tuple(Code(code, about) for code, about in codes.items()))


APPLIANCE_KIND = _list(
    "appliance_kind",
    furnace="warm-air furnace",
    boiler="hot-water or steam boiler",
    unit_heater="unit heater",
    water_heater="water heater",
    other="any other gas appliance",
)

VISIT_KIND = _list(
    "visit_kind",
    no_heat="call for no heat",
    other_fault="call for another fault",
    maintenance="planned maintenance",
    return_for_part="planned return to fit a part",
    installation="installation of an appliance",
    inspection="inspection",
    other="any other visit",
)

SYMPTOM = _list(
    "symptom",
    draft_not_proven="starts, but the draft is not proven: the pressure switch did not make",
    runs_then_stops="fires, then the pressure switch opens while running",
    switch_closed_at_rest="pressure switch closed with the draft fan at rest",
    no_heat_other="no heat for another reason",
    noise="noise",
    leak="water or gas leak",
    other="any other complaint",
)

# The symptoms that make a visit a draft fault.
DRAFT_SYMPTOMS = ("draft_not_proven", "runs_then_stops", "switch_closed_at_rest")

OUTCOME = _list(
    "outcome",
    sound="looked at and found sound",
    fault="looked at and found at fault",
    not_done="not done",
)

CHECK_CODE = _list(
    "check_code",
    hose="sensing hose: water, leaks, kinks",
    port="port on the draft fan or collector box",
    trap_and_drain="condensate trap and drain",
    collector_box="collector box",
    vent_outlet="vent outlet",
    air_intake="combustion air intake",
    draft_fan="draft fan: wheel, speed, supply",
    wiring="wiring and connectors",
    control_board="control board input",
    heat_exchanger="heat exchanger",
    switch_at_rest="switch open at rest",
    voltage_across_contacts="voltage across the switch contacts",
    draft_at_switch="draft read with a gauge teed into the hose",
    rating_label="rating label read",
    combustion="combustion and carbon monoxide test",
)

QUANTITY = _list(
    "quantity",
    draft_at_switch="draft at the switch, gauge teed into the hose",
    draft_at_port="draft at the port, hose taken off",
    contact_voltage="voltage across the switch contacts",
    draft_fan_voltage="supply voltage at the draft fan",
    co_air_free="carbon monoxide in the flue gas, air-free",
    flue_temperature="flue gas temperature",
    manifold_pressure="gas pressure at the manifold",
    other="any other reading",
)

# Which reading quantities are pressures, and which of them are draft.
PRESSURE_QUANTITIES = ("draft_at_switch", "draft_at_port", "manifold_pressure")

CONDITION = _list(
    "condition",
    at_rest="draft fan at rest",
    start="at start, before the burner lights",
    cold_running="running, heat exchanger cold",
    hot_running="running, heat exchanger hot",
    circulator_on="running with the blower or circulator on",
    intake_open="running with the intake pipe off",
    vent_open="running with the vent pipe off",
)

CONTACTS = _list("contacts", open="contacts open", closed="contacts closed")

TAKEN = _list("taken", before_repair="before the repair", after_repair="after the repair")

PART_CLASS = _list(
    "part_class",
    draft_switch="draft-proving pressure switch",
    gas_switch="gas pressure switch",
    water_switch="water pressure switch",
    refrigerant_switch="refrigerant pressure switch",
    hose="sensing hose",
    restrictor="pulsation restrictor",
    trap="condensate trap or drain part",
    draft_fan="draft fan or draft-fan assembly",
    control_board="control board",
    other="any other part",
)

LINE_STATUS = _list(
    "line_status",
    fitted="fitted",
    quoted="quoted, not fitted",
    credited="credited back",
    returned="returned unused",
)

HANDLING = _list(
    "handling",
    as_removed="kept as it was removed",
    drained="drained before the test",
    dropped="dropped or struck",
    unknown="not known",
)

SELECTION = _list(
    "selection",
    random="drawn at random",
    chosen="picked by a person",
    returned_only="tested because it came back",
)

CLAIM_OUTCOME = _list("outcome", paid="paid", refused="refused", open="not decided yet")

TOPIC = CodeList(
    "topic",
    CHECK_CODE.codes
    + (
        Code("gauge_use", "using the gauge"),
        Code("root_cause_record", "recording the cause that was found"),
        Code("other", "another topic"),
    ),
)

CORRECTED_FIELD = _list(
    "corrected_field",
    cause_code="the cause",
    link="which earlier visit this one follows",
    callback_class="whether a later visit was a callback",
    owner="who owns the job",
    part_class="what kind of part a line is",
    bench_result="the result of a bench test",
)


@dataclass(frozen=True)
class Cause:
    """A cause of a draft fault.

    is_masked: whether a new switch seems to cure it ("yes", "partly", "no", "cures").
    days_low, days_high: when it usually comes back, in days; None where it waits for weather or does not return.
    returns_with: "time", or the weather that brings it back: "freeze", "snow", "gust"; "never".
    Common practice, without a published source.
    """

    code: str
    group: str
    about: str
    is_masked: str
    days_low: int | None = None
    days_high: int | None = None
    returns_with: str = "time"
    must_escalate: bool = False


CAUSES: tuple[Cause, ...] = (
    Cause("hose_water", "air_path", "water in the sensing hose", "yes", 1, 21),
    Cause("hose_leak_or_kink", "air_path", "sensing hose leaking, cracked or kinked", "yes", 3, 60),
    Cause("port_plugged", "air_path", "sensing port plugged", "no", 0, 14),
    Cause("intake_blocked", "air_path", "combustion air intake blocked", "no", 0, 14),
    Cause("restrictor_missing", "air_path", "pulsation restrictor left out", "no", 1, 30),
    Cause("trap_fouled", "condensate", "condensate trap fouled", "yes", 3, 30),
    Cause("drain_frozen", "condensate", "condensate drain frozen", "yes", None, None, "freeze"),
    Cause("drain_slope_or_double_trap", "condensate", "drain without fall, or trapped twice", "yes", 3, 45),
    Cause("drain_pump_or_shared_drain", "condensate", "condensate pump or shared drain", "yes", 1, 30),
    Cause("collector_water", "condensate", "water standing in the collector box", "yes", 1, 14),
    Cause("outlet_ice_or_snow", "flue_path", "vent outlet iced or snowed up", "yes", None, None, "snow"),
    Cause("nest_or_debris", "flue_path", "nest or debris in the vent", "no", 0, 7),
    Cause("vent_too_long", "flue_path", "vent too long or too many elbows", "yes", 7, 90),
    Cause("vent_sag_water", "flue_path", "vent sagging and holding water", "yes", 3, 30),
    Cause("wind_at_outlet", "flue_path", "wind at the vent outlet", "yes", None, None, "gust"),
    Cause("fan_worn", "draft_fan", "draft fan worn", "partly", 3, 45),
    Cause("fan_supply", "draft_fan", "draft fan supply voltage or capacitor", "partly", 1, 45),
    Cause("wiring_or_contact", "electrical", "wiring, connector or plug", "yes", 3, 60),
    Cause("board_input", "electrical", "control board input", "no", 0, 30),
    Cause("diaphragm_leak", "switch_itself", "diaphragm leaking or torn", "cures", None, None, "never"),
    Cause("setpoint_drift", "switch_itself", "make point drifted out of tolerance", "cures", None, None, "never"),
    Cause(
        "contact_stuck_or_resistive",
        "switch_itself",
        "contacts stuck or resistive",
        "cures",
        None,
        None,
        "never",
    ),
    Cause("water_in_switch", "switch_itself", "water inside the switch; something put it there", "yes", 3, 45),
    Cause(
        "exchanger_restricted",
        "heat_exchanger",
        "heat exchanger restricted",
        "partly",
        7,
        90,
        must_escalate=True,
    ),
    Cause("exchanger_breached", "heat_exchanger", "heat exchanger breached", "partly", 1, 60, must_escalate=True),
    Cause(
        "wrong_switch_or_altitude",
        "installation",
        "wrong switch, or not matched to altitude",
        "no",
        0,
        30,
        must_escalate=True,
    ),
    Cause("safety_bypassed", "installation", "safety switch bypassed", "no", 0, 30, must_escalate=True),
    Cause("not_found", "none_found", "no cause found", "no"),
    Cause("not_reproduced", "none_found", "fault could not be reproduced", "no"),
)

CAUSE_GROUPS = tuple(dict.fromkeys(cause.group for cause in CAUSES))

CAUSE_CODE = CodeList("cause_code", tuple(Code(cause.code, f"{cause.group}: {cause.about}") for cause in CAUSES))

# The two families of the seasonal figures.
CONDENSATE_FAMILY = tuple(cause.code for cause in CAUSES if cause.group == "condensate") + (
    "hose_water",
    "water_in_switch",
    "vent_sag_water",
)
BLOCKAGE_FAMILY = ("intake_blocked", "port_plugged", "outlet_ice_or_snow", "nest_or_debris")

# Codes that only corrections and facts use.
LINK_CLASSES = ("callback", "planned_return", "maintenance", "other_function", "uncertain")
VERDICTS = ("good", "faulty", "inconclusive")
