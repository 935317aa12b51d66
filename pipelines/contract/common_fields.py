"""Columns that many tables have, declared alike: identifiers, pressures, amounts, and their units."""

from __future__ import annotations

from typing import Any

from pipelines.contract.fields import Field

# Widest pressure accepted anywhere: gas pressures stand beside draft in the same column.
PRESSURE_LIMIT_PA = 20_000.0
# A gauge's scale and a switch housing reach further than any pressure read on a visit.
HOUSING_LIMIT_PA = 1_000_000.0
MONEY_LIMIT = 1_000_000

PRESSURE_UNIT = Field("pressure_unit", "unit", "unit of the pressures in this row")
CURRENCY = Field("currency", "currency", "currency of the amounts in this row")


def identifier(name: str, about: str, **more: Any) -> Field:
    """An identifier column; more: is_required, references."""
    return Field(name, "id", about, **more)


def pressure(name: str, about: str, unit_field: str = "pressure_unit", maximum: float = PRESSURE_LIMIT_PA) -> Field:
    """A pressure column whose unit stands in `unit_field`; a magnitude up to `maximum` pascal."""
    return Field(name, "pressure", about, minimum=0.0, maximum=maximum, unit_field=unit_field)


def money(name: str, about: str) -> Field:
    """An amount in the currency of the row."""
    return Field(name, "number", about, minimum=-MONEY_LIMIT, maximum=MONEY_LIMIT, unit_field="currency")
