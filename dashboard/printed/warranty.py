"""The warranty pack: what is on record for one claim, and what is missing from it. No customer and no technician is named."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard import claimed_switch, figures_access, notices, roles, store_access, visit_sheet, words
from dashboard.printed import pack_names, paper
from dashboard.printed.week import last_day
from models.figures.scope import Scope
from pipelines.errors import GoodpullError

FOOTER = (
    "Goodpull. What is on record, as it was recorded. It never says that an appliance is safe: licensed people, the "
    "manufacturer's instructions and the local code decide."
)
# Of the visit's switches: part and verdict are told where they are the claimed one's; day, reading and cause are the visit's.
_CLAIM = f"""
WITH claim AS (
    SELECT w.claim_id, {claimed_switch.n_claimed()} AS n_switches, {claimed_switch.shared("removed_tag")},
        {claimed_switch.shared("part_number")}, {claimed_switch.shared("verdict")},
        any_value(s.swapped_on) AS swapped_on, any_value(s.appliance_key) AS appliance_key,
        any_value(s.has_gauge_reading) AS has_gauge_reading, any_value(s.has_root_cause) AS has_root_cause
    FROM warranty_claim AS w LEFT JOIN swap_case AS s USING (visit_id) WHERE w.claim_id = ? GROUP BY w.claim_id
)
SELECT w.claim_id, w.visit_id, w.removed_tag AS claimed_tag, coalesce(w.removed_tag, c.removed_tag) AS removed_tag, w.filed_on,
    w.decided_on, w.outcome, w.credited_amount, w.currency, w.refusal_reason, c.part_number, c.swapped_on, c.verdict,
    c.n_switches, c.has_gauge_reading, c.has_root_cause, a.appliance_kind, a.model_code, a.serial_number, a.installed_on
FROM claim AS c JOIN warranty_claim AS w USING (claim_id)
LEFT JOIN visit AS v ON v.visit_id = w.visit_id
LEFT JOIN appliance AS a ON a.appliance_id = coalesce(c.appliance_key, v.appliance_key)
"""
_PAIRS = (("What", "text"), ("On record", "text"))


def warranty_pack(claim_id: str) -> paper.Document:
    """The pack of one claim. Raises GoodpullError when it is not on record."""
    roles.require_pack("warranty")
    claim = store_access.row(_CLAIM, [claim_id])
    if not claim:
        raise GoodpullError(
            f"claim: got {claim_id!r}; no such claim is on record. Claims come with the table warranty_claims."
        )
    visit_id = str(claim["visit_id"])
    visit, benches = visit_sheet.visit_of(visit_id), _benches(claim)
    readings, checks = visit_sheet.readings(visit_id), visit_sheet.checks(visit_id)
    unit = store_access.draft_unit()
    blocks: list[Any] = [paper.Lead(_lead(claim, bool(benches)))]
    on_visit: paper.Table | paper.Text = paper.Text(f"Visit {visit_id} is not on record.")
    if visit:
        facts = [("Visit", f"{visit_id}, {words.date(visit['arrived_on'])}"), *visit_sheet.facts(visit, None)]
        on_visit = paper.table(_PAIRS, facts, "", shares=(0, 1))
    # Side by side, so that a usual claim keeps to one page.
    blocks += [
        paper.Pair(
            (paper.Heading("The claim"), paper.table(_PAIRS, _claim_lines(claim), "", shares=(0, 1))),
            (paper.Heading("The visit"), on_visit),
        ),
        paper.Heading("Readings, checks and parts"),
        paper.table(visit_sheet.READING_COLUMNS, readings, "No readings were recorded."),
        paper.Pair(
            (paper.table(visit_sheet.CHECK_COLUMNS, checks, "No checks were recorded."),),
            (paper.table(visit_sheet.PART_COLUMNS, visit_sheet.parts(visit_id), "No parts were recorded."),),
        ),
        paper.Heading("Bench test"),
    ]
    for bench in benches:
        blocks.append(paper.Text(visit_sheet.bench_sentence(bench)))
        if not words.is_missing(bench.u_pa):
            blocks.append(paper.table(_PAIRS, visit_sheet.budget(bench, unit), "", shares=(0, 1)))
    if not benches:
        blocks.append(paper.Text(_no_bench(claim)))
    missing = missing_evidence(claim, bool(readings), bool(checks), bool(benches))
    # Before the list, so that it never stands on a page by itself.
    blocks.append(paper.Notice("Before any work on an appliance", notices.SAFETY_POINTS))
    blocks += [paper.Heading("What is missing from this claim"), paper.Bullets("", missing, is_ticked=True)]
    day = last_day(figures_access.coverage(Scope()), {})
    return paper.Document(
        f"Warranty claim {claim_id}",
        f"Records to {words.date(day)}. Customer, site and technician are left out.",
        tuple(blocks),
        FOOTER,
        day,
        pack_names.of_document("warranty", day, claim_id),
    )


def _benches(claim: dict) -> list[Any]:
    """The bench results of the switches the claim can be about; see claimed_switch."""
    found = visit_sheet.benches(str(claim["visit_id"]))
    return [bench for bench in found if claim["claimed_tag"] in (None, bench.removed_tag)]


def _no_bench(claim: dict) -> str:
    if claim["n_switches"]:
        return "The removed switch was not tested on the bench."
    return "No switch that the claim fits is on record, so no bench test can be set beside it."


def _credited(claim: dict) -> str:
    """The amount; of a claim that was refused nothing, where the record names none."""
    if claim["outcome"] == "refused" and words.is_missing(claim["credited_amount"]):
        return "nothing: refused"
    return words.money(claim["credited_amount"], claim["currency"])


def missing_evidence(claim: dict, has_readings: bool, has_checks: bool, has_bench: bool) -> tuple[str, ...]:
    """What a claim lacks that would let somebody else judge it, in words; one sentence saying so where nothing is."""
    wanted = (
        (claim.get("removed_tag"), "the tag of the removed switch"),
        (claim.get("part_number"), "the part number that was fitted"),
        (claim.get("serial_number"), "the appliance's serial number"),
        (has_readings and claim.get("has_gauge_reading"), "a gauge reading of the draft"),
        (has_checks, "the checks that were done"),
        (claim.get("has_root_cause"), "a root cause: why the old switch did not make"),
        (has_bench and claim.get("verdict") in ("good", "faulty"), "a clear bench result"),
        (claim.get("outcome") != "refused" or claim.get("refusal_reason"), "the reason given for the refusal"),
    )
    missing = tuple(f"Not on record: {what}." for is_there, what in wanted if not is_there)
    return missing or ("Nothing: tag, part, readings, checks, cause and a clear bench result are on record.",)


def _lead(claim: dict, has_bench: bool) -> str:
    outcome = {"paid": "was paid", "refused": "was refused", "open": "is not decided yet"}.get(
        str(claim["outcome"]), "has no outcome on record"
    )
    reason = f" with the reason: {claim['refusal_reason']}" if claim["refusal_reason"] else ""
    which = "Which of the switches taken out on the visit is claimed is not on record, so no bench result can be told of it."
    bench = {
        "good": "The bench test found the removed switch good.",
        "faulty": "The bench test found the removed switch faulty.",
        "inconclusive": "The bench test of the removed switch was inconclusive.",
    }.get(str(claim["verdict"]), which if has_bench else "No bench test of the removed switch is on record.")
    return f"The claim {outcome}{reason}. {bench}"


def _claim_lines(claim: dict) -> list[tuple[str, str]]:
    def day(name: str) -> str:
        return words.date(pd.Timestamp(claim[name])) if claim[name] is not None else words.NOT_KNOWN

    return [
        ("Filed", day("filed_on")),
        ("Decided", day("decided_on") if claim["outcome"] != "open" else "not decided yet"),
        ("Credited", _credited(claim)),
        ("Removed switch, tag", claim["removed_tag"] or words.NOT_KNOWN),
        ("Part number fitted", claim["part_number"] or words.NOT_KNOWN),
        ("Swapped", day("swapped_on")),
        ("Appliance", words.label(claim["appliance_kind"])),
        (
            "Model, serial number",
            f"{claim['model_code'] or words.NOT_KNOWN}, {claim['serial_number'] or words.NOT_KNOWN}",
        ),
        ("Installed", day("installed_on")),
    ]
