"""What the ledger knows a file by, and with which settings its cells were read."""

from __future__ import annotations

from dataclasses import replace

from pipelines.mapping.declared import Mapping
from pipelines.settings import Settings


def ledger_digest(content: str, settings: Settings, mapping: Mapping | None) -> str:
    """What the ledger knows a file by: its content, the settings its cells were read with, the version of the mapping."""
    unit = settings.default_pressure_unit or "none"
    read_by = f" mapping={mapping.digest}" if mapping is not None else ""
    return f"{content} time_zone={settings.time_zone} default_pressure_unit={unit}{read_by}"


def settings_read_with(ledger_digest: str, company: Settings) -> Settings:
    """The settings the cells of a file were read with, by what the ledger knows it by; the company's where it does not say."""
    said = dict(word.split("=", 1) for word in ledger_digest.split(" ") if "=" in word)
    unit = said.get("default_pressure_unit", company.default_pressure_unit)
    return replace(
        company,
        time_zone=said.get("time_zone", company.time_zone),
        default_pressure_unit=None if unit == "none" else unit,
    )
