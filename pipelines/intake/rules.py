"""What the acceptance of one file rests on, and the SQL that the quick and the thorough form of it share.

Both forms are layers of SELECTs over a relation with one text column `r_<name>` for each field the file has; they add
the number a cell holds as `n_<name>` and the value as stored as `v_<stored name>`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from pipelines.contract.codes import PRESSURE_QUANTITIES
from pipelines.contract.currencies import CURRENCY_CODES
from pipelines.contract.fields import Field, Table
from pipelines.contract.limits import date_limits
from pipelines.contract.units import PASCAL_PER_UNIT, UNIT_SPELLINGS
from pipelines.intake.sql_text import name, text, texts
from pipelines.settings import Settings

MEASURED = ("pressure", "quantity")
TIMES = ("date", "timestamp")
_LONGEST_NAME = 200
# Cells that say so hold nothing.
BLANK_WORDS = ("NULL", "null", "N/A", "n/a", "#N/A")


@dataclass(frozen=True)
class Rules:
    """The acceptance of one file.

    known: contract fields the file has. today: the day of the load. is_plain: the file is known to hold no control
    characters and no white space but spaces and line ends. may_break: a cell may hold a line break.
    """

    table: Table
    known: frozenset[str]
    settings: Settings
    today: date
    is_plain: bool = False
    may_break: bool = True

    def present(self) -> list[Field]:
        """The fields the file has, in the contract's order."""
        return [entry for entry in self.table.fields if entry.name in self.known]

    def units(self) -> list[Field]:
        """The unit columns of the table, whether the file has them or not."""
        return [entry for entry in self.table.fields if entry.kind == "unit"]

    def served_by(self, unit: Field) -> list[Field]:
        """The measured fields of the file whose unit stands in this unit column."""
        return [entry for entry in self.present() if entry.unit_field == unit.name and entry.kind in MEASURED]

    def unit_field_of(self, entry: Field) -> Field:
        """The unit column of a measured field."""
        return self.table.by_name[entry.unit_field or ""]


def is_prose(entry: Field) -> bool:
    """Whether a field may hold several lines of text, such as notes; a name of 200 characters at most has one line."""
    return entry.kind == "text" and entry.longest > _LONGEST_NAME


def raw(entry: Field) -> str:
    """The column of the text as delivered."""
    return name(f"r_{entry.name}")


def stored(entry: Field) -> str:
    """The column of the value as stored."""
    return name(f"v_{entry.stored_name}")


def number(entry: Field) -> str:
    """The column of the number a cell holds, before its unit is applied."""
    return name(f"n_{entry.name}")


def stored_list(rules: Rules) -> list[str]:
    """The stored values in the order of the delivered table: its fields, then what is derived from a quantity."""
    columns = [stored(entry) for entry in rules.table.fields]
    for entry in rules.table.fields:
        if entry.kind == "quantity":
            unit = stored(rules.unit_field_of(entry))
            is_pressure = f'"v_quantity" IN ({texts(PRESSURE_QUANTITIES)})'
            columns.append(f"CASE WHEN {is_pressure} THEN abs({stored(entry)}) * {factor(unit)} END")
            columns.append(f"CAST(sign({stored(entry)}) AS SMALLINT)")
    return columns


def factor(unit: str) -> str:
    """Pascal for one of a unit; NULL when it is no unit of pressure."""
    cases = " ".join(f"WHEN {text(code)} THEN {pascal!r}::DOUBLE" for code, pascal in PASCAL_PER_UNIT.items())
    return f"CASE {unit} {cases} END"


def unit_of(key: str, allowed: tuple[str, ...]) -> str:
    """The UCUM code of a folded spelling, of those allowed; NULL for any other."""
    pairs = [(spelling, code) for spelling, code in UNIT_SPELLINGS.items() if code in allowed]
    return f"map([{texts(pair[0] for pair in pairs)}], [{texts(pair[1] for pair in pairs)}])[{key}]"


def default_unit(rules: Rules, unit: Field) -> str:
    """The company's unit for pressures written without one, for a unit column; NULL when it has told none."""
    default = rules.settings.default_pressure_unit
    served = rules.served_by(unit)
    if not default or not served:
        return "NULL::VARCHAR"
    if any(entry.kind == "quantity" for entry in served):
        return f'CASE WHEN folded("r_quantity") IN ({texts(PRESSURE_QUANTITIES)}) THEN {text(default)} END'
    return text(default)


def in_limits(entry: Field, value: str) -> str:
    """Whether a number lies within the limits of its field; false for NaN and the infinite."""
    low = -1.7e308 if entry.minimum is None else entry.minimum
    high = 1.7e308 if entry.maximum is None else entry.maximum
    return f"{value} BETWEEN {float(low)!r}::DOUBLE AND {float(high)!r}::DOUBLE"


def within_days(rules: Rules, entry: Field, value: str) -> str:
    """Whether a date or time lies within the limits of its field."""
    low, high = date_limits(entry, rules.today)
    kind = "DATE" if entry.kind == "date" else "TIMESTAMP"
    return f"({value} >= {kind} '{low}' AND {value} < {kind} '{high + timedelta(days=1)}')"


def codes_of(entry: Field) -> str:
    """The codes a cell may hold, as literals."""
    if entry.kind == "currency":
        return texts(CURRENCY_CODES)
    return texts(entry.code_list.values()) if entry.code_list else "NULL"
