"""What happens on a visit, and what is corrected about it."""

from __future__ import annotations

from pipelines.contract import codes
from pipelines.contract.common_fields import CURRENCY, identifier, money
from pipelines.contract.fields import Field, Table

VISITS = Table(
    "visits",
    "one visit to a site",
    ("visit_id",),
    (
        identifier("visit_id", "the visit", is_required=True),
        identifier("job_id", "the job it belongs to; visits on one job share it"),
        identifier("site_id", "the site", is_required=True, references="sites.site_id"),
        identifier("appliance_id", "the appliance; blank = not proven which", references="appliances.appliance_id"),
        identifier("technician_id", "the lead technician", is_required=True, references="technicians.technician_id"),
        Field("arrived_at", "timestamp", "arrival on site", is_required=True),
        Field("left_at", "timestamp", "departure from site"),
        Field("visit_kind", "code", "why the visit was made", is_required=True, code_list=codes.VISIT_KIND),
        Field("symptom", "code", "what was lost or complained of", code_list=codes.SYMPTOM),
        Field("cause_code", "code", "the cause that was recorded", code_list=codes.CAUSE_CODE),
        Field("contributing_cause_code", "code", "a cause behind the cause", code_list=codes.CAUSE_CODE),
        Field("is_declared_complete", "flag", "whether the job was declared complete on leaving"),
        Field("waits_for_part", "flag", "whether a part was awaited, recorded before leaving"),
        Field("is_after_hours", "flag", "whether it was outside normal hours"),
        identifier("follows_visit_id", "the earlier visit this one follows", references="visits.visit_id"),
        Field("notes", "text", "what the technician wrote", longest=20_000),
    ),
    site_from="site_id",
)

VISIT_CREW = Table(
    "visit_crew",
    "one technician on one visit",
    ("visit_id", "technician_id"),
    (
        identifier("visit_id", "the visit", is_required=True, references="visits.visit_id"),
        identifier("technician_id", "the technician", is_required=True, references="technicians.technician_id"),
        Field("is_lead", "flag", "whether this technician led the visit"),
    ),
    site_from="visits",
)

CHECKS = Table(
    "checks",
    "one check on one visit",
    ("visit_id", "check_code"),
    (
        identifier("visit_id", "the visit", is_required=True, references="visits.visit_id"),
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
        identifier("visit_id", "the visit", is_required=True, references="visits.visit_id"),
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
        identifier("gauge_id", "the gauge used", references="gauges.gauge_id"),
    ),
    site_from="visits",
)

PART_LINES = Table(
    "part_lines",
    "one line of parts on one visit",
    ("visit_id", "line_no"),
    (
        identifier("visit_id", "the visit", is_required=True, references="visits.visit_id"),
        Field(
            "line_no",
            "whole",
            "number of the line within the visit",
            is_required=True,
            minimum=0,
            maximum=100_000,
        ),
        identifier("part_number", "the part number", references="parts.part_number"),
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
        money("unit_cost", "cost of one"),
        money("price", "price charged for the line"),
        CURRENCY,
        Field("is_under_warranty", "flag", "whether a warranty covers it"),
        identifier("removed_tag", "tag on the switch taken out"),
    ),
    site_from="visits",
)

CORRECTIONS = Table(
    "corrections",
    "one correction entered here, beside the delivered record",
    ("correction_id",),
    (
        identifier("correction_id", "the correction", is_required=True),
        identifier("visit_id", "the visit it concerns", is_required=True, references="visits.visit_id"),
        Field("corrected_field", "code", "what is corrected", is_required=True, code_list=codes.CORRECTED_FIELD),
        Field("new_value", "text", "the value that holds"),
        Field("reason", "text", "why", is_required=True, longest=2_000),
        identifier("corrected_by", "who corrected it", is_required=True),
        Field("corrected_at", "timestamp", "when", is_required=True),
    ),
    site_from="visits",
    is_entered_here=True,
)
