"""What a mapping says: which source feeds which table of the contract, column by column.

A mapping is data that a person confirmed; it is read from TOML by `mapping_file.py` and turned into SQL by `canonical.py`.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

from pipelines.contract.fields import Table
from pipelines.contract.tables import TABLE_BY_NAME
from pipelines.errors import GoodpullError
from pipelines.mapping.file_patterns import QUERY_ENDING, fits_pattern, pattern_reading
from pipelines.settings import Settings

# Identifiers that the company's lists of other spellings speak of.
PART_FIELDS = ("part_number", "superseded_by")
TECHNICIAN_FIELDS = ("technician_id", "coach_id", "tester_id")
SITE_FIELDS = ("site_id",)
APPLIANCE_FIELDS = ("appliance_id",)
EXCEL_SERIAL = "excel serial"


class MappingError(GoodpullError):
    """A mapping cannot be used: what, where, what is allowed."""


@dataclass(frozen=True)
class ColumnRule:
    """How one column of the contract is filled.

    columns: source columns, joined by `join` where there are several. value: the same for every row. is_row_number: the
    number of the row, in an identifier behind the name of its file; or number_within: source columns within which rows are counted. split, part: the part-th piece
    (from 1; negative from the end). pattern: a regular expression whose first group is taken. blank: cells that mean
    nothing. codes: folded spelling -> code; otherwise: the code of every other spelling. formats: of dates and times.
    default: for a blank cell. prefix: put before a filled cell.
    """

    columns: tuple[str, ...] = ()
    join: str = " "
    value: str | None = None
    is_row_number: bool = False
    number_within: tuple[str, ...] = ()
    split: str | None = None
    part: int = 1
    pattern: str | None = None
    blank: tuple[str, ...] = ()
    codes: tuple[tuple[str, str], ...] = ()
    otherwise: str | None = None
    formats: tuple[str, ...] = ()
    default: str | None = None
    prefix: str = ""


@dataclass(frozen=True)
class RowCondition:
    """Rows a table is made of: column one of `is_in`, none of `is_not_in`, or filled."""

    column: str
    is_in: tuple[str, ...] = ()
    is_not_in: tuple[str, ...] = ()
    is_filled: bool = False


@dataclass(frozen=True)
class TableMap:
    """One table made from a source. is_distinct: rows that are equal in every column count once."""

    table_name: str
    columns: tuple[tuple[str, ColumnRule], ...]
    rows: tuple[RowCondition, ...] = ()
    is_distinct: bool = False

    @property
    def table(self) -> Table:
        return TABLE_BY_NAME[self.table_name]

    def sources(self) -> list[str]:
        """Every source column it reads, each once."""
        used = [column for _, rule in self.columns for column in (*rule.columns, *rule.number_within)]
        return list(dict.fromkeys([*used, *(condition.column for condition in self.rows)]))


@dataclass(frozen=True)
class Source:
    """A kind of file or sheet, or a query. columns: its shape when the mapping was made; empty = not held to it."""

    tables: tuple[TableMap, ...]
    file: str = "*"
    sheet: str | None = None
    query: str | None = None
    name: str = ""
    columns: tuple[str, ...] = ()

    def fits_file(self, file_name: str) -> bool:
        if self.query is not None:
            return file_name == self.query_file
        return fits_pattern(file_name, self.file)

    @property
    def query_file(self) -> str:
        """Name of the file the rows of a query are landed in."""
        return f"{self.name}{QUERY_ENDING}"

    def fits_sheet(self, sheet: str) -> bool:
        return self.sheet is None or fits_pattern(sheet.strip(), self.sheet)

    def wanted(self) -> list[str]:
        """Every column its tables read, each once."""
        return list(dict.fromkeys(column for table in self.tables for column in table.sources()))

    def unread(self, columns: Sequence[str]) -> list[str]:
        """Those of the columns that none of its tables reads."""
        read = {folded_text(column) for column in self.wanted()}
        return [column for column in columns if folded_text(column) not in read]


@dataclass(frozen=True)
class Mapping:
    """A whole mapping. ..._aliases: folded spelling -> the identifier that holds, chains followed; merged sites too."""

    name: str
    sources: tuple[Source, ...]
    is_confirmed: bool = False
    time_zone: str | None = None
    date_formats: tuple[str, ...] = ()
    has_decimal_comma: bool = False
    default_pressure_unit: str | None = None
    blank: tuple[str, ...] = ()
    part_aliases: tuple[tuple[str, str], ...] = ()
    technician_aliases: tuple[tuple[str, str], ...] = ()
    site_aliases: tuple[tuple[str, str], ...] = ()
    appliance_aliases: tuple[tuple[str, str], ...] = ()
    connection: str | None = None
    timeout_seconds: int = 600

    @property
    def n_tables(self) -> int:
        """Tables of the contract it feeds, of all its sources together."""
        return sum(len(source.tables) for source in self.sources)

    def aliases_of(self, field: str) -> tuple[tuple[str, str], ...]:
        """The other spellings of the identifiers that stand in a field."""
        lists = (
            (PART_FIELDS, self.part_aliases),
            (TECHNICIAN_FIELDS, self.technician_aliases),
            (SITE_FIELDS, self.site_aliases),
            (APPLIANCE_FIELDS, self.appliance_aliases),
        )
        return next((aliases for fields, aliases in lists if field in fields), ())

    @property
    def digest(self) -> str:
        """The version: the same for the same rules, whatever the comments and the confirmation."""
        said = asdict(replace(self, is_confirmed=True))
        return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()[:16]

    def settings(self, company: Settings) -> Settings:
        """The company's settings as they hold for cells read through this mapping."""
        return replace(
            company,
            time_zone=self.time_zone or company.time_zone,
            default_pressure_unit=self.default_pressure_unit or company.default_pressure_unit,
        )

    def sources_of(self, file_name: str) -> list[Source]:
        return [source for source in self.sources if source.fits_file(file_name)]

    def reads_not(self, file_name: str) -> str:
        """What is said of a file that none of its sources reads."""
        files = list(dict.fromkeys(source.file for source in self.sources if source.query is None))
        said = f"no source of the mapping {self.name!r} reads it; it reads {', '.join(files) or 'a database only'}."
        if not files:
            return said
        pattern = f'file = "{pattern_reading(file_name, files)}"'
        return (
            f"{said} For exports of other names write a pattern into the mapping, such as {pattern}, or under "
            "Files it reads on the page Records."
        )


def folded_text(text: str) -> str:
    """A spelling as it is compared: case, outer spaces and runs of spaces do not matter."""
    # As SQL folds: lower() keeps ß, which casefold() would write as ss.
    return re.sub(r"\s+", " ", text.replace("\ufeff", "").strip()).lower()
