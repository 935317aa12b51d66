"""Why a row is held back: one code a reason, and the sentence a person reads."""

from __future__ import annotations

# Filled with: got, allowed, column. The file, line and column stand before it.
REASONS = {
    "missing_required": "is blank; must be filled",
    "not_a_code": "is {got}; must be one of {allowed}",
    "not_a_flag": "is {got}; must be yes or no",
    "not_a_number": "is {got}; must be a number",
    "ambiguous_number": "is {got}; the comma may be a decimal or a thousands mark. Write it with a decimal point",
    "not_whole": "is {got}; must be a whole number",
    "not_finite": "is {got}; must be a finite number",
    "out_of_range": "is {got}; must lie between {allowed}",
    "not_a_time": "is {got}; must be a date and time such as 2025-11-03T14:20:00",
    "not_a_date": "is {got}; must be a date that exists, such as 2025-11-03",
    "date_out_of_range": "is {got}; must lie between {allowed}",
    "not_a_unit": "is {got}; must be one of {allowed} or a common spelling of it",
    "not_a_currency": "is {got}; must be a currency code of three letters, such as USD",
    "too_long": "has {got} characters; at most {allowed} are allowed",
    "control_characters": "holds control characters; must be plain text",
    "either_of_missing": "are both blank; at least one must be filled",
    "ragged_row": "the row has {got}; the header has {allowed}",
    "swallowed_rows": "a quotation mark in {column} swallowed the rows that follow it; close or remove it",
}
WHAT_NEXT = "Row held back; see Records → Held back."
