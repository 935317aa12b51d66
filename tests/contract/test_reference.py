"""The reference page leaves nothing of the contract out."""

from __future__ import annotations

import re

from pipelines.contract.codes import CAUSES
from pipelines.contract.reasons import REASONS
from pipelines.contract.reference import reference_page
from pipelines.contract.tables import TABLES
from pipelines.contract.units import UNIT_CODES


def section(page: str, heading: str) -> str:
    match = re.search(rf"^(#+) {re.escape(heading)}\n(.*?)(?=^#{{1,3}} |\Z)", page, re.MULTILINE | re.DOTALL)
    assert match, f"no section {heading}"
    return match.group(2)


def test_every_column_stands_in_its_table_with_kind_and_whether_it_is_required():
    page = reference_page()
    for table in TABLES:
        text = section(page, table.name)
        for entry in table.fields:
            required = "required" if entry.is_required else ""
            assert f"| `{entry.name}` | {entry.kind} | {required} | {entry.about} |" in text, (
                f"{table.name}.{entry.name}"
            )


def test_every_code_has_its_meaning_and_every_code_list_its_heading():
    page = reference_page()
    for table in TABLES:
        for entry in table.fields:
            for code in entry.code_list.codes if entry.code_list else ():
                assert f"| `{code.code}` | {code.about} |" in page
    assert "looked at and found sound" in section(page, "outcome (checks)")
    assert "not decided yet" in section(page, "outcome (warranty_claims)")


def test_units_causes_and_reasons_are_listed():
    page = reference_page()
    assert all(f"| `{unit}` |" in section(page, "Units") for unit in UNIT_CODES)
    assert "249.08891 Pa" in page
    assert all(f"| `{cause.code}` | {cause.group} |" in section(page, "Causes") for cause in CAUSES)
    assert all(f"| `{reason}` |" in page for reason in REASONS)


def test_every_markdown_table_is_even():
    width = None
    for line in reference_page().splitlines():
        if not line.startswith("|"):
            width = None
            continue
        cells = len(re.findall(r"(?<!\\)\|", line))
        assert width in (None, cells), line
        width = cells


def test_same_contract_same_page():
    assert reference_page() == reference_page()
