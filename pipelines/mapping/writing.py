"""A mapping written as TOML, as a person reads and changes it; and the copy that is kept with the loads it made."""

from __future__ import annotations

import json
import os
import re
import threading
from collections.abc import Iterator, Sequence
from collections.abc import Mapping as Table
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from pipelines.durable_files import replace as put_in_place
from pipelines.mapping.declared import ColumnRule, Mapping, RowCondition, Source, TableMap

# Folder of a home with every version of a mapping that was loaded with.
FOLDER = "mappings"
_HEAD = """\
# How the columns of an export become those of the data contract (goodpull contract lists them).
# Look through every line; confirmed = true lets it be loaded: goodpull load --map FILE EXPORT
"""


def toml_of(mapping: Mapping, remarks: Table[tuple[int, str, str], str] | None = None) -> str:
    """The mapping as TOML that reads back to itself.

    remarks: (number of the source from 0, table, column) -> what stands behind that line, such as how sure a proposal is.
    """
    lines = [_HEAD, f"name = {_quoted(mapping.name)}", f"confirmed = {_flag(mapping.is_confirmed)}"]
    if mapping.time_zone:
        lines.append(f"time_zone = {_quoted(mapping.time_zone)}")
    if mapping.date_formats:
        lines.append(f"date_formats = {_list(mapping.date_formats)}")
    lines.append(f"decimal_mark = {_quoted(',' if mapping.has_decimal_comma else '.')}")
    if mapping.default_pressure_unit:
        lines.append(f"default_pressure_unit = {_quoted(mapping.default_pressure_unit)}")
    if mapping.blank:
        lines.append(f"blank = {_list(mapping.blank)}")
    if mapping.connection is not None:
        lines += ["", "[database]", f"connection = {_quoted(mapping.connection)}"]
        lines.append(f"timeout_seconds = {mapping.timeout_seconds}")
    for title, pairs in (
        ("parts", mapping.part_aliases),
        ("technicians", mapping.technician_aliases),
        ("sites", mapping.site_aliases),
        ("appliances", mapping.appliance_aliases),
    ):
        if pairs:
            lines += ["", f"[aliases.{title}]", *(f"{_quoted(key)} = {_quoted(value)}" for key, value in pairs)]
    for n, source in enumerate(mapping.sources):
        lines += _source(
            source, {(table, column): said for (at, table, column), said in (remarks or {}).items() if at == n}
        )
    return "\n".join(lines) + "\n"


@contextmanager
def kept_version(home: Path, mapping: Mapping) -> Iterator[Path]:
    """Keep the mapping in the home under its name and version; the ledger of loads names the version.

    Taken away again when the block ends with an error, unless an earlier load kept it.
    """
    path = version_path(home, mapping)
    is_new = not path.exists()
    if is_new:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_durably(path, toml_of(replace(mapping, is_confirmed=True)))
    try:
        yield path
    except BaseException:
        if is_new:
            path.unlink(missing_ok=True)
        raise


def version_path(home: Path, mapping: Mapping) -> Path:
    """Where the version of a mapping is kept."""
    stem = re.sub(r"[^\w-]+", "_", mapping.name).strip("_")[:60] or "mapping"
    return home / FOLDER / f"{stem}-{mapping.digest}.toml"


def write_durably(path: Path, toml: str) -> None:
    """Write a mapping so that it is whole and on the disk, or not there at all."""
    # A name of its own: two who write the same mapping at once must not write into each other's file.
    beside = path.with_name(f"{path.name}.{os.getpid()}-{threading.get_ident()}.tmp")
    try:
        beside.write_text(toml, "utf-8")
        put_in_place(beside, path)
    finally:
        beside.unlink(missing_ok=True)


def confirmed_text(toml: str) -> str:
    """The text with confirmed = true in it, all else as it was."""
    changed, n = re.subn(r"(?m)^confirmed\s*=\s*(true|false)", "confirmed = true", toml, count=1)
    return changed if n else f"confirmed = true\n{toml}"


def _source(source: Source, remarks: Table[tuple[str, str], str]) -> list[str]:
    lines = ["", "[[source]]"]
    if source.name:
        lines.append(f"name = {_quoted(source.name)}")
    if source.query is not None:
        lines.append(f"query = {_quoted(source.query)}")
    else:
        lines.append(f"file = {_quoted(source.file)}")
    if source.sheet is not None:
        lines.append(f"sheet = {_quoted(source.sheet)}")
    if source.columns:
        lines.append("# Its columns when the mapping was made; with others the load stops.")
        lines.append(f"columns = {_list(source.columns)}")
        unread = source.unread(source.columns)
        if unread:
            # As one remark line, whatever the names hold.
            lines.append(f"# Of these no table reads: {_list(unread)}")
    for table in source.tables:
        lines += _table(table, {column: said for (name, column), said in remarks.items() if name == table.table_name})
    return lines


def _table(table: TableMap, remarks: Table[str, str]) -> list[str]:
    lines = ["", "[[source.table]]", f"table = {_quoted(table.table_name)}"]
    if table.is_distinct:
        lines.append("distinct = true")
    if table.rows:
        lines.append(f"rows = [{', '.join(_condition(one) for one in table.rows)}]")
    lines.append("[source.table.columns]")
    for column, rule in table.columns:
        said = f"  # {remarks[column]}" if column in remarks else ""
        lines.append(f"{column} = {_rule(rule)}{said}")
    return lines


def _rule(rule: ColumnRule) -> str:
    if rule == ColumnRule(columns=rule.columns) and len(rule.columns) == 1:
        return _quoted(rule.columns[0])
    said: list[str] = []
    if len(rule.columns) == 1:
        said.append(f"column = {_quoted(rule.columns[0])}")
    elif rule.columns:
        said.append(f"columns = {_list(rule.columns)}, join = {_quoted(rule.join)}")
    if rule.value is not None:
        said.append(f"value = {_quoted(rule.value)}")
    if rule.is_row_number:
        said.append("row_number = true")
    if rule.number_within:
        said.append(f"number_within = {_list(rule.number_within)}")
    if rule.split is not None:
        said.append(f"split = {_quoted(rule.split)}, part = {rule.part}")
    for key, value in (("pattern", rule.pattern), ("otherwise", rule.otherwise), ("default", rule.default)):
        if value is not None:
            said.append(f"{key} = {_quoted(value)}")
    if rule.prefix:
        said.append(f"prefix = {_quoted(rule.prefix)}")
    if rule.blank:
        said.append(f"blank = {_list(rule.blank)}")
    if rule.formats:
        said.append(f"formats = {_list(rule.formats)}")
    if rule.codes:
        said.append(f"codes = {{ {', '.join(f'{_quoted(key)} = {_quoted(code)}' for key, code in rule.codes)} }}")
    return f"{{ {', '.join(said)} }}"


def _condition(one: RowCondition) -> str:
    said = [f"column = {_quoted(one.column)}"]
    if one.is_in:
        said.append(f"is = {_list(one.is_in)}")
    if one.is_not_in:
        said.append(f"is_not = {_list(one.is_not_in)}")
    if one.is_filled:
        said.append("filled = true")
    return f"{{ {', '.join(said)} }}"


def _quoted(text: str) -> str:
    """A TOML string; JSON's escapes are TOML's, but for the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _list(texts: Sequence[str]) -> str:
    return f"[{', '.join(_quoted(text) for text in texts)}]"


def _flag(value: bool) -> str:
    return "true" if value else "false"
