"""A mapping read from TOML, checked against the contract; what is wrong is told with its place."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from pipelines.contract.fields import Table
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.mapping.connection_line import connection_of
from pipelines.mapping.declared import ColumnRule, Mapping, MappingError, RowCondition, Source, TableMap
from pipelines.mapping.mapping_values import (
    aliases_of,
    check_allowed,
    check_keys,
    codes_of,
    formats_of,
    pattern_of,
    seconds_of,
    table_of,
    text_of,
    unit_of,
    words_of,
    zone_of,
)

_TOP = ("name", "confirmed", "time_zone", "date_formats", "decimal_mark", "default_pressure_unit", "blank", "source")
_TOP_TABLES = ("codes", "aliases", "database")
_SOURCE = ("file", "sheet", "query", "name", "columns", "table")
_TABLE = ("table", "columns", "rows", "distinct")
_RULE = (
    ("column", "columns", "join", "value", "row_number", "number_within", "split", "part", "pattern", "blank", "codes")
    + ("otherwise", "format", "formats", "default", "prefix")
)  # fmt: skip
_CONDITION = ("column", "is", "is_not", "filled")


def read_mapping(path: Path) -> Mapping:
    """The mapping of a file. Raises MappingError naming the file, the place, what was got and what is allowed."""
    try:
        return mapping_of(path.read_text("utf-8-sig"), path.stem)
    except FileNotFoundError as error:
        raise MappingError(f"{path}: there is no such mapping. Make one with: goodpull map EXPORT") from error
    except (OSError, UnicodeDecodeError) as error:
        raise MappingError(f"{path}: cannot be read ({error}). Save it as UTF-8 text that you may read.") from error
    except MappingError as error:
        raise MappingError(f"{path}: {error}") from error


def mapping_of(toml: str, name: str = "mapping") -> Mapping:
    """The mapping that a TOML text says. Raises MappingError."""
    try:
        given = tomllib.loads(toml)
    except tomllib.TOMLDecodeError as error:
        twice = (
            " A key stands twice: each column, code and alias may be told once." if "overwrite" in str(error) else ""
        )
        raise MappingError(f"is not valid TOML ({error}).{twice}") from error
    check_keys(given, (*_TOP, *_TOP_TABLES), "the mapping")
    shared = {key: codes_of(value, f"codes.{key}") for key, value in table_of(given, "codes").items()}
    aliases = table_of(given, "aliases")
    check_keys(aliases, ("parts", "technicians", "sites", "appliances"), "aliases")
    database = table_of(given, "database")
    check_keys(database, ("connection", "timeout_seconds"), "database")
    sources = given.get("source", [])
    if not isinstance(sources, list) or not sources:
        raise MappingError("names no source. Write at least one block [[source]] with a block [[source.table]].")
    read = tuple(_source(source, f"source {n}", shared) for n, source in enumerate(sources, 1))
    connection = _connection(database, read)
    mark = given.get("decimal_mark", ".")
    if mark not in (".", ","):
        raise MappingError(f'decimal_mark is {mark!r}; must be "." or ","')
    return Mapping(
        name=str(given.get("name", name)),
        sources=read,
        is_confirmed=given.get("confirmed") is True,
        time_zone=zone_of(given.get("time_zone")),
        date_formats=formats_of(given.get("date_formats", []), "date_formats"),
        has_decimal_comma=mark == ",",
        default_pressure_unit=unit_of(given.get("default_pressure_unit")),
        blank=words_of(given.get("blank", []), "blank"),
        part_aliases=aliases_of(aliases.get("parts", {}), "aliases.parts"),
        technician_aliases=aliases_of(aliases.get("technicians", {}), "aliases.technicians"),
        site_aliases=aliases_of(aliases.get("sites", {}), "aliases.sites"),
        appliance_aliases=aliases_of(aliases.get("appliances", {}), "aliases.appliances"),
        connection=connection,
        timeout_seconds=seconds_of(database.get("timeout_seconds", 600)),
    )


def _source(given: Any, place: str, shared: dict[str, tuple[tuple[str, str], ...]]) -> Source:
    check_keys(given, _SOURCE, place)
    named = given.get("name") or given.get("sheet") or given.get("file") or ""
    place = f"{place} ({named})" if named else place
    tables = given.get("table", [])
    if not isinstance(tables, list) or not tables:
        raise MappingError(f"{place}: feeds no table. Write at least one block [[source.table]].")
    query = given.get("query")
    if query is not None and ("file" in given or "sheet" in given):
        raise MappingError(f"{place}: has a query and a file. Write one source for each.")
    if query is not None and not re.fullmatch(r"\w[\w -]{0,59}", str(given.get("name", ""))):
        raise MappingError(f'{place}: a query needs a name of letters, digits and spaces, such as: name = "visits"')
    return Source(
        tables=tuple(_table_map(table, place, shared) for table in tables),
        file=str(given.get("file", "*")),
        sheet=None if given.get("sheet") is None else str(given["sheet"]),
        query=None if query is None else str(query),
        name=str(given.get("name", "")),
        columns=words_of(given.get("columns", []), f"{place}: columns"),
    )


def _table_map(given: Any, place: str, shared: dict[str, tuple[tuple[str, str], ...]]) -> TableMap:
    check_keys(given, _TABLE, place)
    table = TABLE_BY_NAME.get(str(given.get("table")))
    if table is None or table.is_entered_here:
        allowed = ", ".join(table.name for table in TABLE_BY_NAME.values() if not table.is_entered_here)
        raise MappingError(f"{place}: table is {given.get('table')!r}; must be one of {allowed}")
    place = f"{place}, {table.name}"
    columns = table_of(given, "columns", place)
    rules = tuple(
        (_column(table, name, place), _rule(table, name, rule, place, shared)) for name, rule in columns.items()
    )
    lacking = [name for name in table.required() if name not in columns]
    if lacking:
        raise MappingError(
            f"{place}: does not say where {', '.join(lacking)} comes from; required. Name a column, a value or a number."
        )
    return TableMap(
        table.name, rules, tuple(_condition(one, place) for one in given.get("rows", [])), given.get("distinct") is True
    )


def _column(table: Table, name: str, place: str) -> str:
    if name not in table.by_name:
        raise MappingError(f"{place}: {name} is no column of {table.name}. Its columns: {', '.join(table.by_name)}")
    return name


def _rule(
    table: Table, name: str, given: Any, place: str, shared: dict[str, tuple[tuple[str, str], ...]]
) -> ColumnRule:
    place, entry = f"{place}.{name}", table.by_name[name]
    if isinstance(given, str):
        given = {"column": given}
    check_keys(given, _RULE, place)
    columns = words_of([given["column"]] if "column" in given else given.get("columns", []), f"{place}: columns")
    within = words_of(given.get("number_within", []), f"{place}: number_within")
    told = [bool(columns), "value" in given, given.get("row_number") is True, bool(within)]
    if sum(told) != 1 or ("column" in given and "columns" in given):
        raise MappingError(f"{place}: must name exactly one of column, columns, value, row_number, number_within")
    codes = given.get("codes", {})
    if isinstance(codes, str):
        if codes not in shared:
            raise MappingError(f"{place}: codes names {codes!r}; there is no block [codes.{codes}]")
        pairs = shared[codes]
    else:
        pairs = codes_of(codes, f"{place}.codes")
    for key in ("value", "otherwise", "default"):
        check_allowed(entry, given.get(key), f"{place}.{key}")
    for spelling, code in pairs:
        check_allowed(entry, code, f"{place}.codes[{spelling!r}]")
    part = given.get("part", 1)
    if isinstance(part, bool) or not isinstance(part, int) or part == 0:
        raise MappingError(f"{place}: part is {part!r}; must be a whole number from 1, or from -1 backwards")
    formats = given.get("formats", [given["format"]] if "format" in given else [])
    return ColumnRule(
        columns=columns,
        join=str(given.get("join", " ")),
        value=text_of(given.get("value")),
        is_row_number=given.get("row_number") is True,
        number_within=within,
        split=text_of(given.get("split")),
        part=part,
        pattern=pattern_of(given.get("pattern"), place),
        blank=words_of(given.get("blank", []), f"{place}: blank"),
        codes=pairs,
        otherwise=text_of(given.get("otherwise")),
        formats=formats_of(formats, f"{place}: formats"),
        default=text_of(given.get("default")),
        prefix=str(given.get("prefix", "")),
    )


def _condition(given: Any, place: str) -> RowCondition:
    check_keys(given, _CONDITION, f"{place}: rows")
    if "column" not in given or not ({"is", "is_not", "filled"} & set(given)):
        raise MappingError(f'{place}: a condition of rows is written {{ column = "Kind", is = ["Call"] }}')
    return RowCondition(
        str(given["column"]),
        words_of(given.get("is", []), f"{place}: rows.is"),
        words_of(given.get("is_not", []), f"{place}: rows.is_not"),
        given.get("filled") is True,
    )


def _connection(given: dict[str, Any], sources: Iterable[Source]) -> str | None:
    connection = given.get("connection")
    has_query = any(source.query is not None for source in sources)
    if connection is None:
        if has_query:
            raise MappingError('has a query and no [database]. Write: connection = "host=... dbname=... user=..."')
        return None
    return connection_of(connection)
