"""The data contract: every table and column of the visit records, declared once.

Table definitions, acceptance checks, the reference page, the templates, the data package, the generator's
categories and the tests are all derived from TABLES.
"""

from __future__ import annotations

from pipelines.contract import codes
from pipelines.contract.fields import Field, Table

# Widest pressure accepted anywhere: gas pressures stand beside draft in the same column.
PRESSURE_LIMIT_PA = 20_000.0
# A gauge's scale and a switch housing reach further than any pressure read on a visit.
HOUSING_LIMIT_PA = 1_000_000.0


def _id(name: str, about: str, **more) -> Field:
    return Field(name, "id", about, **more)


def _pressure(name: str, about: str, unit_field: str = "pressure_unit", maximum: float = PRESSURE_LIMIT_PA) -> Field:
    return Field(name, "pressure", about, minimum=0.0, maximum=maximum, unit_field=unit_field)


def _money(name: str, about: str) -> Field:
    return Field(name, "number", about, minimum=-1_000_000, maximum=1_000_000, unit_field="currency")


_UNIT = Field("pressure_unit", "unit", "unit of the pressures in this row")
_CURRENCY = Field("currency", "currency", "currency of the amounts in this row")

SITES = Table(
    "sites",
    "one site the company serves",
    ("site_id",),
    (
        _id("site_id", "the site", is_required=True),
        Field("region", "text", "region with its own weather"),
        Field("elevation_m", "number", "height above sea level", unit="m", minimum=-450, maximum=6000),
        _id("weather_station_id", "weather station that speaks for the site"),
    ),
    site_from="site_id",
)

APPLIANCES = Table(
    "appliances",
    "one gas appliance on a site",
    ("appliance_id",),
    (
        _id("appliance_id", "the appliance", is_required=True),
        _id("site_id", "the site it stands on", is_required=True, references="sites.site_id"),
        Field("appliance_kind", "code", "kind of appliance", code_list=codes.APPLIANCE_KIND),
        Field("is_condensing", "flag", "whether it condenses its flue gas"),
        Field("installed_on", "date", "day it was installed", earliest_year=1900),
        Field("removed_on", "date", "day it was taken out"),
        Field("model_code", "text", "model as the company writes it"),
        Field("serial_number", "text", "serial number from the plate"),
        _pressure("rated_make_pressure", "draft at which the switch must make, from the plate or parts list"),
        _pressure("rated_break_pressure", "draft at which the switch must break"),
        _pressure("make_tolerance", "allowed deviation of the make point"),
        _UNIT,
    ),
    site_from="site_id",
)

TECHNICIANS = Table(
    "technicians",
    "one technician",
    ("technician_id",),
    (
        _id("technician_id", "the technician", is_required=True),
        Field("technician_name", "text", "name as shown to those allowed to see it"),
        Field("branch", "text", "branch the technician works from"),
        Field("started_on", "date", "first day with the company", earliest_year=1900),
        Field("left_on", "date", "last day with the company"),
    ),
)

VISITS = Table(
    "visits",
    "one visit to a site",
    ("visit_id",),
    (
        _id("visit_id", "the visit", is_required=True),
        _id("job_id", "the job it belongs to; visits on one job share it"),
        _id("site_id", "the site", is_required=True, references="sites.site_id"),
        _id("appliance_id", "the appliance; blank = not proven which", references="appliances.appliance_id"),
        _id("technician_id", "the lead technician", is_required=True, references="technicians.technician_id"),
        Field("arrived_at", "timestamp", "arrival on site", is_required=True),
        Field("left_at", "timestamp", "departure from site"),
        Field("visit_kind", "code", "why the visit was made", is_required=True, code_list=codes.VISIT_KIND),
        Field("symptom", "code", "what was lost or complained of", code_list=codes.SYMPTOM),
        Field("cause_code", "code", "the cause that was recorded", code_list=codes.CAUSE_CODE),
        Field("contributing_cause_code", "code", "a cause behind the cause", code_list=codes.CAUSE_CODE),
        Field("is_declared_complete", "flag", "whether the job was declared complete on leaving"),
        Field("waits_for_part", "flag", "whether a part was awaited, recorded before leaving"),
        Field("is_after_hours", "flag", "whether it was outside normal hours"),
        _id("follows_visit_id", "the earlier visit this one follows", references="visits.visit_id"),
        Field("notes", "text", "what the technician wrote", longest=20_000),
    ),
    site_from="site_id",
)

VISIT_CREW = Table(
    "visit_crew",
    "one technician on one visit",
    ("visit_id", "technician_id"),
    (
        _id("visit_id", "the visit", is_required=True, references="visits.visit_id"),
        _id("technician_id", "the technician", is_required=True, references="technicians.technician_id"),
        Field("is_lead", "flag", "whether this technician led the visit"),
    ),
    site_from="visits",
)

CHECKS = Table(
    "checks",
    "one check on one visit",
    ("visit_id", "check_code"),
    (
        _id("visit_id", "the visit", is_required=True, references="visits.visit_id"),
        Field("check_code", "code", "what was checked", is_required=True, code_list=codes.CHECK_CODE),
        Field("outcome", "code", "what was found", is_required=True, code_list=codes.OUTCOME),
    ),
    site_from="visits",
)

READINGS = Table(
    "readings",
    "one reading on one visit",
    ("visit_id", "reading_no"),
    (
        _id("visit_id", "the visit", is_required=True, references="visits.visit_id"),
        Field(
            "reading_no",
            "whole",
            "number of the reading within the visit",
            is_required=True,
            minimum=0,
            maximum=100_000,
        ),
        Field("quantity", "code", "what was read", is_required=True, code_list=codes.QUANTITY),
        Field(
            "value",
            "quantity",
            "the reading; suction and pressure alike, its sign is kept apart",
            is_required=True,
            minimum=-100_000,
            maximum=100_000,
            unit_field="unit",
        ),
        Field("unit", "unit", "unit of the reading"),
        Field("condition", "code", "how the appliance was running", code_list=codes.CONDITION),
        Field("contacts", "code", "state of the switch contacts", code_list=codes.CONTACTS),
        Field("taken", "code", "before or after the repair", code_list=codes.TAKEN),
        _id("gauge_id", "the gauge used", references="gauges.gauge_id"),
    ),
    site_from="visits",
)

GAUGES = Table(
    "gauges",
    "one gauge",
    ("gauge_id",),
    (
        _id("gauge_id", "the gauge", is_required=True),
        _pressure("full_scale", "end of its scale", "unit", HOUSING_LIMIT_PA),
        _pressure("resolution", "smallest step it shows", "unit"),
        Field("unit", "unit", "unit of full scale and resolution"),
        Field(
            "accuracy_percent_full_scale",
            "number",
            "accuracy as percent of full scale",
            unit="%",
            minimum=0,
            maximum=100,
        ),
        Field(
            "accuracy_percent_reading",
            "number",
            "accuracy as percent of reading",
            unit="%",
            minimum=0,
            maximum=100,
        ),
        Field("calibrated_on", "date", "day of its last calibration"),
    ),
)

PARTS = Table(
    "parts",
    "one part number",
    ("part_number",),
    (
        _id("part_number", "the part number", is_required=True),
        Field("part_class", "code", "kind of part", code_list=codes.PART_CLASS),
        _pressure("rated_make_pressure", "draft at which the switch must make"),
        _pressure("rated_break_pressure", "draft at which the switch must break"),
        _pressure("make_tolerance", "allowed deviation of the make point"),
        _pressure("maximum_pressure", "most pressure the switch stands", maximum=HOUSING_LIMIT_PA),
        _UNIT,
        Field("has_intentional_bleed", "flag", "whether the switch bleeds by design"),
        Field("is_adjustable", "flag", "whether its make point can be set"),
        _id("superseded_by", "the part number that replaces it", references="parts.part_number"),
        _money("unit_cost", "cost of one"),
        _CURRENCY,
    ),
)

PART_LINES = Table(
    "part_lines",
    "one line of parts on one visit",
    ("visit_id", "line_no"),
    (
        _id("visit_id", "the visit", is_required=True, references="visits.visit_id"),
        Field(
            "line_no",
            "whole",
            "number of the line within the visit",
            is_required=True,
            minimum=0,
            maximum=100_000,
        ),
        _id("part_number", "the part number", references="parts.part_number"),
        Field("part_class", "code", "kind of part", code_list=codes.PART_CLASS),
        Field("description", "text", "the part in the company's words", longest=2_000),
        Field(
            "quantity",
            "number",
            "how many; negative on a credit",
            is_required=True,
            minimum=-1_000,
            maximum=1_000,
        ),
        Field("line_status", "code", "what became of it; blank = fitted", code_list=codes.LINE_STATUS),
        _money("unit_cost", "cost of one"),
        _money("price", "price charged for the line"),
        _CURRENCY,
        Field("is_under_warranty", "flag", "whether a warranty covers it"),
        _id("removed_tag", "tag on the switch taken out"),
    ),
    site_from="visits",
)

BENCH_TESTS = Table(
    "bench_tests",
    "one bench test of a removed switch",
    ("bench_test_id",),
    (
        _id("bench_test_id", "the test", is_required=True),
        _id("removed_tag", "tag of the switch tested"),
        _id("visit_id", "the visit it was removed on", references="visits.visit_id"),
        Field("tested_at", "timestamp", "when it was tested", is_required=True),
        _id("tester_id", "who tested it"),
        _id("gauge_id", "the gauge used", references="gauges.gauge_id"),
        Field("pressure_unit", "unit", "unit of the pressures in this row", is_required=True),
        *(_pressure(f"{point}_{turn}", f"{point} reading {turn}") for point in ("make", "break") for turn in (1, 2, 3)),
        _pressure("rated_make_pressure", "rated make point of the switch tested"),
        _pressure("make_tolerance", "allowed deviation of the make point"),
        Field("is_leak_down_passed", "flag", "whether it held the pressure"),
        Field("contact_ohms", "number", "resistance of the closed contacts", unit="Ohm", minimum=0, maximum=1e9),
        Field("has_water_inside", "flag", "whether water was inside"),
        Field("is_diaphragm_torn", "flag", "whether the diaphragm is torn"),
        Field("handling", "code", "what happened to it between removal and test", code_list=codes.HANDLING),
        Field("selection", "code", "how it came to be tested", code_list=codes.SELECTION),
        Field("selection_probability", "number", "probability with which it was drawn", minimum=0, maximum=1),
        Field("remark", "text", "remark", longest=2_000),
    ),
    either_of=(("removed_tag", "visit_id"),),
    site_from="swaps",
)

WARRANTY_CLAIMS = Table(
    "warranty_claims",
    "one warranty claim",
    ("claim_id",),
    (
        _id("claim_id", "the claim", is_required=True),
        _id("visit_id", "the visit the part was replaced on", is_required=True, references="visits.visit_id"),
        _id("removed_tag", "tag of the switch claimed for"),
        Field("filed_on", "date", "day it was filed"),
        Field("decided_on", "date", "day it was decided"),
        Field("outcome", "code", "the decision", code_list=codes.CLAIM_OUTCOME),
        _money("credited_amount", "amount credited"),
        _CURRENCY,
        Field("refusal_reason", "text", "reason given for a refusal", longest=2_000),
    ),
    site_from="visits",
)

COACHING_SESSIONS = Table(
    "coaching_sessions",
    "one coaching session",
    ("session_id",),
    (
        _id("session_id", "the session", is_required=True),
        _id("technician_id", "who was coached", is_required=True, references="technicians.technician_id"),
        Field("held_on", "date", "day it was held", is_required=True),
        Field("topic", "code", "the step it was about", code_list=codes.TOPIC),
        _id("coach_id", "who coached"),
        Field("remark", "text", "remark", longest=2_000),
    ),
)

WEATHER_DAYS = Table(
    "weather_days",
    "one day at one weather station",
    ("weather_station_id", "day_on"),
    (
        _id("weather_station_id", "the station", is_required=True),
        Field("day_on", "date", "the day", is_required=True),
        Field("min_temperature_c", "number", "lowest temperature", unit="Cel", minimum=-90, maximum=60),
        Field("max_temperature_c", "number", "highest temperature", unit="Cel", minimum=-90, maximum=60),
        Field("precipitation_mm", "number", "precipitation", unit="mm", minimum=0, maximum=2_000),
        Field("snowfall_mm", "number", "new snow", unit="mm", minimum=0, maximum=5_000),
        Field("max_gust_m_s", "number", "strongest gust", unit="m/s", minimum=0, maximum=120),
    ),
)

CORRECTIONS = Table(
    "corrections",
    "one correction entered here, beside the delivered record",
    ("correction_id",),
    (
        _id("correction_id", "the correction", is_required=True),
        _id("visit_id", "the visit it concerns", is_required=True, references="visits.visit_id"),
        Field("corrected_field", "code", "what is corrected", is_required=True, code_list=codes.CORRECTED_FIELD),
        Field("new_value", "text", "the value that holds"),
        Field("reason", "text", "why", is_required=True, longest=2_000),
        _id("corrected_by", "who corrected it", is_required=True),
        Field("corrected_at", "timestamp", "when", is_required=True),
    ),
    site_from="visits",
    is_entered_here=True,
)

TABLES: tuple[Table, ...] = (
    SITES,
    APPLIANCES,
    TECHNICIANS,
    VISITS,
    VISIT_CREW,
    CHECKS,
    READINGS,
    GAUGES,
    PARTS,
    PART_LINES,
    BENCH_TESTS,
    WARRANTY_CLAIMS,
    COACHING_SESSIONS,
    WEATHER_DAYS,
    CORRECTIONS,
)

TABLE_BY_NAME = {table.name: table for table in TABLES}

# Words in a column name that mark a customer's personal data; such columns are dropped on load and named.
PERSONAL_WORDS = (
    "customer",
    "client",
    "tenant",
    "owner_name",
    "homeowner",
    "occupant",
    "contact_name",
    "first_name",
    "last_name",
    "full_name",
    "surname",
    "street",
    "address",
    "postcode",
    "postal",
    "zip",
    "phone",
    "mobile",
    "telephone",
    "email",
    "e_mail",
)
