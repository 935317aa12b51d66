"""How a cell is cleaned, and when it is not accepted: SQL expressions worked out from the contract.

Each field gives two expressions over the text `t_<name>` of its row: the value as stored, NULL when the text cannot be
that; and, for rows held back only, the code of the reason. A row is accepted when no filled cell came out NULL and
nothing required is blank.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipelines.contract.codes import PRESSURE_QUANTITIES
from pipelines.contract.currencies import CURRENCY_CODES
from pipelines.contract.fields import Field, Table
from pipelines.contract.limits import NUMBER_KINDS, allowed_units, date_limits
from pipelines.contract.reasons import REASONS, WHAT_NEXT, sentence_template
from pipelines.contract.units import PASCAL_PER_UNIT, UNIT_SPELLINGS
from pipelines.settings import Settings

# Any of these in a cell holds its row back; tab and line breaks are allowed in free text.
_CONTROL = "[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\x7f]"
_SHOWN = 60
# A day, or a time that is midnight.
_DAY = r"\d{4,}-\d{1,2}-\d{1,2}([ T]00:00(:00(\.0+)?)?)?"


def text(value: str) -> str:
    """A SQL string literal."""
    return "'" + value.replace("'", "''") + "'"


def name(value: str) -> str:
    """A SQL identifier."""
    return '"' + value.replace('"', '""') + '"'


# Constant maps: a CASE would repeat its operand once a spelling.
_SPELLINGS = f"MAP {{{', '.join(f'{text(key)}: {text(unit)}' for key, unit in UNIT_SPELLINGS.items())}}}"
_FACTORS = f"MAP {{{', '.join(f'{text(unit)}: {factor!r}::DOUBLE' for unit, factor in PASCAL_PER_UNIT.items())}}}"


@dataclass(frozen=True)
class Acceptance:
    """The SQL of one table's acceptance for one file.

    table: its contract. present: contract column -> column of the landed file. today: the day of the load.
    """

    table: Table
    present: dict[str, str]
    settings: Settings
    today: date

    def cells_sql(self, landed: str) -> str:
        """SELECT of the row number `rn` and the cell of every present column as `t_<name>`."""
        cells = [f"cell(raw.{name(column)}) AS {name('t_' + field)}" for field, column in self.present.items()]
        return f"SELECT raw.rowid + 1 AS rn, {', '.join(cells)} FROM {landed} AS raw"

    def numbers_sql(self, landed: str) -> str:
        """`cells_sql` with, for every numeric cell, its number as `n_<name>` and the unit behind it as `s_<name>`.

        In steps, a column a step, so that nothing is worked out twice: `d_<name>` the digits made plain, `l_<name>` the
        number a cell begins with; both only where the text is no number as it stands.
        """
        return self._numbers(self._present_fields(), self.cells_sql(landed))

    def _numbers(self, entries: list[Field], query: str) -> str:
        numeric = [entry for entry in entries if entry.kind in NUMBER_KINDS]
        if not numeric:
            return query
        layers: list[list[str]] = [[], [], []]
        for entry in numeric:
            cell, digits, leading = (name(letter + entry.name) for letter in ("t_", "d_", "l_"))
            layers[0].append(f"CASE WHEN try_cast({cell} AS DOUBLE) IS NULL THEN plain_digits({cell}) END AS {digits}")
            begins = f"leading_digits({digits})" if entry.kind in ("pressure", "quantity") else digits
            layers[1].append(f"{begins} AS {leading}")
            if entry.kind in ("pressure", "quantity"):
                layers[1].append(f"behind_digits({digits}) AS {name('s_' + entry.name)}")
            number = f"coalesce(try_cast({cell} AS DOUBLE), try_cast(with_point({leading}) AS DOUBLE))"
            layers[2].append(f"{number} AS {name('n_' + entry.name)}")
            if entry.kind in ("pressure", "quantity"):
                layers[2].append(f"{self._unit_of_text(name('s_' + entry.name))} AS {name('w_' + entry.name)}")
        for layer in layers:
            query = f"SELECT *, {', '.join(layer)} FROM ({query})"
        return query

    def values_sql(self, landed: str) -> str:
        """SELECT of `rn`, the cells and the stored value of every field as `v_<stored name>`."""
        units = [entry for entry in self.table.fields if entry.kind == "unit"]
        others = [entry for entry in self.table.fields if entry.kind != "unit"]
        with_units = f"SELECT *{self._values(units)} FROM ({self.numbers_sql(landed)})"
        return f"SELECT *{self._values(others)} FROM ({with_units})"

    def _values(self, entries: list[Field]) -> str:
        return "".join(f", {self.value(entry)} AS {name('v_' + entry.stored_name)}" for entry in entries)

    def keys_sql(self, landed: str) -> str:
        """SELECT of the stored value of the key columns only, as `v_<stored name>`."""
        keys = [self.table.by_name[column] for column in self.table.key]
        cells = [f"cell(raw.{name(self.present[entry.name])}) AS {name('t_' + entry.name)}" for entry in keys]
        values = [f"{self.value(entry)} AS {name('v_' + entry.stored_name)}" for entry in keys]
        inner = f"SELECT {', '.join(cells)} FROM {landed} AS raw"
        return f"SELECT {', '.join(values)} FROM ({self._numbers(keys, inner)})"

    def is_bad_sql(self) -> str:
        """Condition over `values_sql` that holds for rows that are not accepted."""
        conditions = [
            f"({name('t_' + entry.name)} IS NOT NULL AND {name('v_' + entry.stored_name)} IS NULL)"
            for entry in self._present_fields()
            if not self._may_stay_unknown(entry)
        ]
        conditions += [f"{name('t_' + column)} IS NULL" for column in self.table.required()]
        conditions += [f"({self._all_blank(group)})" for group in self.table.either_of]
        conditions += [
            f"({self._bad_pressure(entry)})" for entry in self._present_fields() if self._may_stay_unknown(entry)
        ]
        return " OR ".join(conditions) or "false"

    def stored_sql(self, load_id: int) -> str:
        """The select list over `values_sql` in the order of the delivered table's columns."""
        columns = [name("v_" + entry.stored_name) for entry in self.table.fields]
        if any(entry.kind == "quantity" for entry in self.table.fields):
            columns += [self._magnitude(), 'CAST(sign("v_value") AS SMALLINT)']
        return ", ".join([*columns, str(load_id), "rn"])

    def findings(self) -> list[tuple[str, str, str]]:
        """For each column: its name, the SQL of its reason code over `values_sql` (NULL = nothing wrong), its cell."""
        found = [
            (entry.name, self.reason(entry), name("t_" + entry.name) if entry.name in self.present else "NULL")
            for entry in self.table.fields
            if entry.name in self.present or entry.is_required
        ]
        for group in self.table.either_of:
            found.append((", ".join(group), f"CASE WHEN {self._all_blank(group)} THEN 'either_of_missing' END", "NULL"))
        return found

    def value(self, entry: Field) -> str:
        """SQL of the stored value; NULL when the cell cannot be that, or is blank."""
        if entry.name not in self.present:
            return self._unit_from_cells(entry) if entry.kind == "unit" else "NULL"
        cell = name("t_" + entry.name)
        kind = entry.kind
        if kind in ("id", "text"):
            return f"CASE WHEN NOT ({self._too_long(entry)}) AND NOT ({self._control(entry)}) THEN {cell} END"
        if kind == "code":
            codes = ", ".join(text(code) for code in entry.code_list.values()) if entry.code_list else ""
            return f"CASE WHEN {cell} IN ({codes}) THEN {cell} WHEN folded({cell}) IN ({codes}) THEN folded({cell}) END"
        if kind == "flag":
            return f"flag_of({cell})"
        if kind == "unit":
            return self._unit(entry)
        if kind == "currency":
            codes = ", ".join(text(code) for code in CURRENCY_CODES)
            return f"CASE WHEN upper({cell}) IN ({codes}) THEN upper({cell}) END"
        if kind == "whole":
            number = self._number(entry)
            return f"CASE WHEN {self._in_range(entry)} AND {number} = floor({number}) THEN CAST({number} AS BIGINT) END"
        if kind in ("number", "quantity"):
            return f"CASE WHEN {self._in_range(entry)} THEN {self._number(entry)} END"
        if kind == "pressure":
            pascal = self._pascal(entry)
            return f"CASE WHEN {pascal} <= {entry.maximum} THEN {pascal} END"
        low, high = date_limits(entry, self.today)
        when = self._when(entry)
        return f"CASE WHEN {when} >= DATE '{low}' AND {when} < DATE '{high}' + 1 THEN {when} END"

    def reason(self, entry: Field) -> str:
        """SQL of the reason code why the cell is not accepted; NULL when it is."""
        if entry.name not in self.present:
            return "'missing_required'"
        cell = name("t_" + entry.name)
        blank = "'missing_required'" if entry.is_required else "NULL"
        wrong = f"{cell} IS NOT NULL AND {name('v_' + entry.stored_name)} IS NULL"
        if self._may_stay_unknown(entry):
            wrong = self._bad_pressure(entry)
        return f"CASE WHEN {cell} IS NULL THEN {blank} WHEN {wrong} THEN {self._reason_of_wrong(entry)} END"

    def sentence(self, column: str, code: str, got: str, place: str) -> str:
        """SQL of the sentence for a held-back cell: where, column, what was got, what is allowed, what next."""
        entry = self.table.by_name.get(column)
        template = sentence_template(self.table, entry, code) if entry else f"{column} {REASONS[code]}"
        before, has_got, after = template.partition("{got}")
        shown = f"CASE WHEN length({got}) > {_SHOWN} THEN left({got}, {_SHOWN}) || '…' ELSE {got} END"
        if code == "too_long":
            shown = f"CAST(length({got}) AS VARCHAR)"
        middle = f" || coalesce({shown}, '')" if has_got else ""
        return f"{place} || {text(': ' + before)}{middle} || {text(f'{after}. {WHAT_NEXT}')}"

    def _present_fields(self) -> list[Field]:
        return [entry for entry in self.table.fields if entry.name in self.present]

    def _all_blank(self, group: tuple[str, ...]) -> str:
        return " AND ".join(f"{name('t_' + column)} IS NULL" for column in group if column in self.present) or "true"

    def _may_stay_unknown(self, entry: Field) -> bool:
        """A pressure without a unit is accepted and stays unknown."""
        return entry.kind == "pressure"

    def _too_long(self, entry: Field) -> str:
        cell = name("t_" + entry.name)
        return f"strlen({cell}) > {entry.longest} AND length({cell}) > {entry.longest}"

    def _control(self, entry: Field) -> str:
        more = "|[\\t\\r\\n]" if entry.kind == "id" else ""
        return f"regexp_matches({name('t_' + entry.name)}, {text(_CONTROL + more)})"

    def _in_range(self, entry: Field) -> str:
        low = -1.7e308 if entry.minimum is None else entry.minimum
        high = 1.7e308 if entry.maximum is None else entry.maximum
        return f"{self._number(entry)} BETWEEN {low!r} AND {high!r}"

    def _when(self, entry: Field) -> str:
        cell = name("t_" + entry.name)
        if entry.kind == "date":
            return f"CASE WHEN regexp_full_match({cell}, {text(_DAY)}) THEN try_cast({cell} AS DATE) END"
        if self.settings.time_zone == "UTC":
            return f"quick_utc_time_of({cell})"
        return f"quick_time_of({cell}, {text(self.settings.time_zone)})"

    def _number(self, entry: Field) -> str:
        return name("n_" + entry.name)

    def _unit_of_text(self, cell: str) -> str:
        return f"{_SPELLINGS}[unit_key({cell})]"

    def _unit_in_cell(self, entry: Field) -> str:
        """Unit written behind the number in the cell itself; NULL when there is none."""
        return name("w_" + entry.name)

    def _unit(self, entry: Field) -> str:
        cell = name("t_" + entry.name)
        allowed = ", ".join(text(unit) for unit in allowed_units(self.table, entry))
        spelled = self._unit_of_text(cell)
        known = f"CASE WHEN {cell} IN ({allowed}) THEN {cell} WHEN {spelled} IN ({allowed}) THEN {spelled} END"
        return f"CASE WHEN {cell} IS NULL THEN {self._unit_from_cells(entry)} ELSE {known} END"

    def _unit_from_cells(self, entry: Field) -> str:
        served = [other for other in self._present_fields() if other.unit_field == entry.name]
        served = [other for other in served if other.kind in ("pressure", "quantity")]
        default = self.settings.default_pressure_unit
        fallback = text(default) if default else "NULL"
        if any(other.kind == "quantity" for other in served):
            fallback = f"CASE WHEN {self._is_pressure()} THEN {fallback} END"
        return f"coalesce({', '.join([*(self._unit_in_cell(other) for other in served), fallback])})"

    def _unit_for(self, entry: Field) -> str:
        """The unit a pressure is in: the cell's own, else the row's, which the company's default may have filled."""
        row = self.table.by_name[entry.unit_field or ""]
        return f"coalesce({self._unit_in_cell(entry)}, {name('v_' + row.stored_name)})"

    def _factor(self, unit: str) -> str:
        return f"{_FACTORS}[{unit}]"

    def _pascal(self, entry: Field) -> str:
        return f"abs({self._number(entry)}) * {self._factor(self._unit_for(entry))}"

    def _bad_pressure(self, entry: Field) -> str:
        """A pressure may stay unknown for want of a unit; a number that is none, or too large in any unit, may not."""
        cell, number = name("t_" + entry.name), self._number(entry)
        return (
            f"{cell} IS NOT NULL AND ({number} IS NULL OR NOT isfinite({number}) OR {self._has_strange_unit(entry)} "
            f"OR coalesce({self._pascal(entry)}, abs({number})) > {entry.maximum})"
        )

    def _has_strange_unit(self, entry: Field) -> str:
        return f"({name('s_' + entry.name)} IS NOT NULL AND {self._unit_in_cell(entry)} IS NULL)"

    def _is_pressure(self) -> str:
        return f'folded("t_quantity") IN ({", ".join(text(q) for q in PRESSURE_QUANTITIES)})'

    def _magnitude(self) -> str:
        return f'CASE WHEN {self._is_pressure()} THEN abs("v_value") * {self._factor(name("v_unit"))} END'

    def _reason_of_wrong(self, entry: Field) -> str:
        if entry.kind in ("id", "text"):
            return f"CASE WHEN {self._too_long(entry)} THEN 'too_long' ELSE 'control_characters' END"
        if entry.kind in ("code", "flag", "unit", "currency"):
            return f"'not_a_{entry.kind}'"
        if entry.kind in ("date", "timestamp"):
            missing = "not_a_date" if entry.kind == "date" else "not_a_time"
            return f"CASE WHEN {self._when(entry)} IS NULL THEN '{missing}' ELSE 'date_out_of_range' END"
        number = self._number(entry)
        cases = [
            f"WHEN {number} IS NULL AND is_ambiguous({name('l_' + entry.name)}) THEN 'ambiguous_number'",
            f"WHEN {number} IS NULL THEN 'not_a_number'",
            f"WHEN NOT isfinite({number}) THEN 'not_finite'",
        ]
        if entry.kind == "whole":
            cases.append(f"WHEN {number} <> floor({number}) THEN 'not_whole'")
        if entry.kind == "pressure":
            cases.append(f"WHEN {self._has_strange_unit(entry)} THEN 'not_a_unit'")
        return f"CASE {' '.join(cases)} ELSE 'out_of_range' END"
