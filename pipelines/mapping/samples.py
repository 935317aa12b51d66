"""The first rows of files nobody described: header and cells, found without knowing any name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipelines.contract.tables import TABLES
from pipelines.intake.file_kinds import IntakeError, kind_of
from pipelines.intake.headers import HeaderFound
from pipelines.intake.landing import land_json_lines, land_parquet, land_rows, land_text
from pipelines.intake.sheets import sheets_of
from pipelines.intake.text_facts import text_facts

ROWS_LOOKED_AT = 2000
_FOR_BLANK = frozenset({"na", "n/a", "n.a.", "nan", "null", "-", "--", "---", "k. a.", "k.a.", "s/o", "n/d"})


@dataclass(frozen=True)
class Sample:
    """A table of a file. columns: names as delivered. rows: the first rows, text or None."""

    file: str
    sheet: str | None
    columns: list[str]
    rows: list[tuple]

    @property
    def shown(self) -> str:
        return self.file if self.sheet is None else f"{self.file} [{self.sheet}]"

    def cells(self, at: int) -> list[str]:
        """The filled cells of a column; a word that means nothing entered fills none."""
        return [cell for cell in self._written(at) if cell.strip().casefold() not in _FOR_BLANK]

    def words_for_blank(self) -> set[str]:
        """The words met that mean: nothing entered."""
        return {
            cell.strip() for at in range(len(self.columns)) for cell in self._written(at)
            if cell.strip().casefold() in _FOR_BLANK
        }  # fmt: skip

    def _written(self, at: int) -> list[str]:
        return [str(row[at]) for row in self.rows if row[at] is not None and str(row[at]).strip()]


def samples_of(path: Path, scratch: Path, n_rows: int = ROWS_LOOKED_AT) -> Iterator[Sample]:
    """Every table of a file. Raises IntakeError when it cannot be read at all."""
    con = duckdb.connect(str(scratch / "sample.duckdb"))
    try:
        con.execute("ATTACH ':memory:' AS landing")
        kind = kind_of(path)
        if kind == "workbook":
            for sheet, rows in sheets_of(path):
                try:
                    landed = land_rows(con, sheet, path.name, rows, fullest_row)
                except IntakeError:
                    continue
                yield Sample(path.name, sheet, landed.columns, _rows(con, landed.relation, landed.columns, n_rows))
            return
        if kind == "parquet":
            landed = land_parquet(con, path, fullest_row)
        elif kind == "json lines":
            landed = land_json_lines(con, path, text_facts(path), scratch, fullest_row)
        else:
            landed = land_text(path, text_facts(path), scratch, find=fullest_row)
        yield Sample(path.name, None, landed.columns, _rows(con, landed.relation, landed.columns, n_rows))
    except duckdb.Error as error:
        raise IntakeError(f"cannot be read ({str(error).splitlines()[0][:200]}). Export it again.") from error
    finally:
        con.close()


def fullest_row(stem: str, rows: list[list[str]]) -> tuple[HeaderFound, int] | None:
    """The header when no name is known: the first row with most different cells that are words, not numbers."""
    best: tuple[HeaderFound, int] | None = None
    for at, row in enumerate(rows):
        words = {cell.strip() for cell in row if cell and any(letter.isalpha() for letter in cell)}
        digits = [cell for cell in row if cell and cell.strip()[:1].isdigit()]
        n_known = len(words) - len(digits)
        if len(words) >= 2 and n_known > 0 and (best is None or n_known > best[0].n_known):
            best = HeaderFound(list(row), TABLES[0], n_known, False), at
    return best


def _rows(con: duckdb.DuckDBPyConnection, relation: str, columns: list[str], n_rows: int) -> list[tuple]:
    cells = ", ".join(f"c{i}" for i in range(len(columns)))
    return con.execute(f"SELECT {cells} FROM {relation} LIMIT {int(n_rows)}").fetchall()
