"""Why a row is held back: one code a reason, and the sentence a person reads."""

from __future__ import annotations

from pipelines.contract.fields import Field, Table
from pipelines.contract.limits import DATE_KINDS, allowed_units, limits_in_words

# Filled with: got, allowed, column. The file, line and column stand before it.
REASONS = {
    "missing_required": "is blank; must be filled",
    "not_a_code": "is {got}; must be one of {allowed}",
    "not_a_flag": "is {got}; must be yes or no",
    "not_a_number": "is {got}; must be a number",
    "ambiguous_number": "is {got}; the comma may be a decimal or a thousands mark. Write it with a decimal point",
    "not_whole": "is {got}; must be a whole number",
    "not_finite": "is {got}; must be a finite number",
    "out_of_range": "is {got}; must lie {allowed}",
    "not_a_time": "is {got}; must be a date and time such as 2025-11-03T14:20:00",
    "not_a_date": "is {got}; must be a date that exists, such as 2025-11-03",
    "date_out_of_range": "is {got}; must lie {allowed}",
    "not_a_unit": "is {got}; must be one of {allowed} or a common spelling of it",
    "two_units": "is {got}; its unit and the unit column of the row differ",
    "not_a_currency": "is {got}; must be a currency code of three letters, such as USD",
    "too_long": "has {got} characters; at most {allowed} are allowed",
    "control_characters": "holds control characters; must be plain text",
    "either_of_missing": "are both blank; at least one must be filled",
    "ragged_row": "the row has {got}; the header has {allowed}",
    "unreadable": "the row could not be read: {got}",
    "swallowed_rows": "a quotation mark in {column} swallowed the rows that follow it; close or remove it",
}
WHAT_NEXT = "Row held back; see Records → Held back."


def sentence_template(table: Table, entry: Field, reason_code: str) -> str:
    """The sentence for one column and reason with {got} still open: constant, so SQL can fill it for many rows.

    Example: "arrived_at is {got}; must lie between 1990 and tomorrow". Raises KeyError for an unknown code.
    """
    sentence = REASONS[reason_code].replace("{column}", entry.name)
    return f"{entry.name} {sentence.replace('{allowed}', allowed(table, entry, reason_code))}"


def allowed(table: Table, entry: Field, reason_code: str) -> str:
    """What stands for {allowed} in the sentence of a reason: the codes, the units, the limits, or nothing."""
    if reason_code == "not_a_code" and entry.code_list is not None:
        return ", ".join(entry.code_list.values())
    if reason_code == "not_a_unit":
        return ", ".join(allowed_units(table, entry))
    if reason_code == "too_long":
        return f"{entry.longest:,}"
    if reason_code == "out_of_range" or (reason_code == "date_out_of_range" and entry.kind in DATE_KINDS):
        return limits_in_words(entry)
    return ""
