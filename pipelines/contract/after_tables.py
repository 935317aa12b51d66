"""What happens after a visit: bench tests, warranty claims, coaching."""

from __future__ import annotations

from pipelines.contract import codes
from pipelines.contract.common_fields import CURRENCY, identifier, money, pressure
from pipelines.contract.fields import Field, Table

BENCH_TESTS = Table(
    "bench_tests",
    "one bench test of a removed switch",
    ("bench_test_id",),
    (
        identifier("bench_test_id", "the test", is_required=True),
        identifier("removed_tag", "tag of the switch tested"),
        identifier("visit_id", "the visit it was removed on", references="visits.visit_id"),
        Field("tested_at", "timestamp", "when it was tested", is_required=True),
        identifier("tester_id", "who tested it"),
        identifier("gauge_id", "the gauge used", references="gauges.gauge_id"),
        Field("pressure_unit", "unit", "unit of the pressures in this row", is_required=True),
        *(pressure(f"{point}_{turn}", f"{point} reading {turn}") for point in ("make", "break") for turn in (1, 2, 3)),
        pressure("rated_make_pressure", "rated make point of the switch tested"),
        pressure("make_tolerance", "allowed deviation of the make point"),
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
        identifier("claim_id", "the claim", is_required=True),
        identifier("visit_id", "the visit the part was replaced on", is_required=True, references="visits.visit_id"),
        identifier("removed_tag", "tag of the switch claimed for"),
        Field("filed_on", "date", "day it was filed"),
        Field("decided_on", "date", "day it was decided"),
        Field("outcome", "code", "the decision", code_list=codes.CLAIM_OUTCOME),
        money("credited_amount", "amount credited"),
        CURRENCY,
        Field("refusal_reason", "text", "reason given for a refusal", longest=2_000),
    ),
    site_from="visits",
)

COACHING_SESSIONS = Table(
    "coaching_sessions",
    "one coaching session",
    ("session_id",),
    (
        identifier("session_id", "the session", is_required=True),
        identifier("technician_id", "who was coached", is_required=True, references="technicians.technician_id"),
        Field("held_on", "date", "day it was held", is_required=True),
        Field("topic", "code", "the step it was about", code_list=codes.TOPIC),
        identifier("coach_id", "who coached"),
        Field("remark", "text", "remark", longest=2_000),
    ),
)
