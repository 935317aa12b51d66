"""The reference page of the contract: every table, column, unit and code, as Markdown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pipelines.contract.codes import BLOCKAGE_FAMILY, CAUSES, CONDENSATE_FAMILY, Cause
from pipelines.contract.describe import column_rules
from pipelines.contract.fields import KINDS, CodeList, Field, Table
from pipelines.contract.reasons import REASONS
from pipelines.contract.tables import PERSONAL_WHOLE_WORDS, PERSONAL_WORDS, TABLES
from pipelines.contract.units import OTHER_UNITS, PASCAL_PER_UNIT, UNIT_SPELLINGS

_RULES = """\
- Only `visits` and `part_lines` are needed. Every other table, and every column that is not required, may be missing.
  What is missing lowers what can be said; it is shown beside the figure, never assumed.
- A bad cell holds back its whole row, with the reason; nothing is blanked or dropped on the quiet.
- Times (`_at`): ISO 8601, with offset or in the company's time zone; stored in UTC. Days (`_on`): ISO 8601.
- Pressures: any unit of the list below, as a number or as text (`-.82`, `0.82"`, `0,82`); stored in pascal. Suction and
  pressure both become a positive draft; the sign of a reading is kept apart. A number without a unit stays unknown.
- Money: with an ISO 4217 currency.
- Columns that name a customer, an address, a phone or an e-mail are dropped on load, and the load says which."""

_MASK_IN_WORDS = {"yes": "yes", "partly": "partly", "no": "no", "cures": "a new switch is the cure"}
_RETURN_IN_WORDS = {
    "freeze": "with the next freeze",
    "snow": "with the next snow or ice",
    "gust": "with the next gust",
    "never": "does not come back",
    "time": "not known",
}


def reference_page() -> str:
    """The whole contract as one Markdown page. Same contract, same text."""
    parts = ["# The visit records", "", _RULES, "", "## Tables", ""]
    parts += _markdown_table(
        ("table", "one row is", "columns that identify it", "required columns"),
        [(_code(t.name), t.row, _codes(t.key), _codes(t.required())) for t in TABLES],
    )
    for table in TABLES:
        parts += ["", *_table_section(table)]
    parts += ["", "## Kinds of column", "", *_markdown_table(("kind", "what it is"), KINDS.items())]
    parts += ["", "## Codes"]
    for code_list in _code_lists():
        parts += ["", f"### {code_list.name}", ""]
        parts += _markdown_table(("code", "meaning"), [(_code(code.code), code.about) for code in code_list.codes])
    parts += ["", *_causes_section(), "", *_units_section(), "", *_reasons_section(), "", *_personal_section(), ""]
    return "\n".join(parts)


def _table_section(table: Table) -> list[str]:
    origin = " Entered in the product; the delivered record is never edited." if table.is_entered_here else ""
    lines = [f"### {table.name}", "", f"One row is {table.row}.{origin}", ""]
    return lines + _markdown_table(
        ("column", "kind", "required", "meaning", "a cell may hold"),
        [_column_row(table, entry) for entry in table.fields],
    )


def _column_row(table: Table, entry: Field) -> tuple[str, ...]:
    required = "required" if entry.is_required else ""
    return _code(entry.name), entry.kind, required, entry.about, "; ".join(column_rules(table, entry))


def _code_lists() -> list[CodeList]:
    """Every code list in use, once, in the order of the tables. Lists of one name are told apart by their table."""
    found: dict[int, tuple[str, CodeList]] = {}
    for table in TABLES:
        for entry in table.fields:
            if entry.code_list is not None:
                found.setdefault(id(entry.code_list), (table.name, entry.code_list))
    names = [code_list.name for _, code_list in found.values()]
    return [
        CodeList(f"{code_list.name} ({table})", code_list.codes) if names.count(code_list.name) > 1 else code_list
        for table, code_list in found.values()
    ]


def _causes_section() -> list[str]:
    intro = (
        "What each cause means for a switch that was pulled. *Masked*: a new switch seems to cure it. "
        "Common practice in the trade, without a published source."
    )
    header = ("cause", "group", "masked", "usually comes back", "season family", "note")
    return ["## Causes", "", intro, "", *_markdown_table(header, [_cause_row(cause) for cause in CAUSES])]


def _cause_row(cause: Cause) -> tuple[str, ...]:
    family = "condensate" if cause.code in CONDENSATE_FAMILY else "blockage" if cause.code in BLOCKAGE_FAMILY else ""
    note = "shut down or restore, and escalate" if cause.must_escalate else ""
    return _code(cause.code), cause.group, _MASK_IN_WORDS[cause.is_masked], _comes_back(cause), family, note


def _comes_back(cause: Cause) -> str:
    if cause.days_low is not None and cause.days_high is not None:
        return f"after {cause.days_low} to {cause.days_high} days"
    return _RETURN_IN_WORDS[cause.returns_with]


def _units_section() -> list[str]:
    def spellings(unit: str) -> str:
        return _codes(spelling for spelling, code in UNIT_SPELLINGS.items() if code == unit)

    rows = [(_code(unit), f"{factor:g} Pa" if factor >= 1e4 else f"{factor:.8g} Pa", spellings(unit))
            for unit, factor in PASCAL_PER_UNIT.items()]  # fmt: skip
    rows += [(_code(unit), "not a pressure", spellings(unit)) for unit in OTHER_UNITS]
    intro = "Units by UCUM code. Factors: NIST SP 811. Capitals, spaces and full stops in a spelling do not matter."
    return ["## Units", "", intro, "", *_markdown_table(("unit", "in pascal", "also written"), rows)]


def _reasons_section() -> list[str]:
    rows = [(_code(code), sentence.replace("{", "").replace("}", "")) for code, sentence in REASONS.items()]
    return ["## Reasons for holding a row back", "", *_markdown_table(("reason", "what is said of the cell"), rows)]


def _personal_section() -> list[str]:
    has, is_word = ", ".join(PERSONAL_WORDS), ", ".join(PERSONAL_WHOLE_WORDS)
    return [
        "## Personal columns",
        "",
        f"Dropped when the name has one of: {has}; or one of these as a word: {is_word}.",
    ]


def _markdown_table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    return [_line(header), _line(["---"] * len(header)), *(_line(row) for row in rows)]


def _line(cells: Sequence[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|").replace("\n", " ") for cell in cells) + " |"


def _code(text: str) -> str:
    return f"`{text}`"


def _codes(texts: Iterable[str]) -> str:
    return ", ".join(_code(text) for text in texts)
