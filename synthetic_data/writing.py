"""Tables to files, piece by piece: CSV or Parquet through DuckDB."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pyarrow as pa

FORMATS = {"csv": "FORMAT csv, HEADER", "parquet": "FORMAT parquet, COMPRESSION zstd"}


class Writer:
    """Collects a fleet's tables block by block and writes them in pieces of about `piece_visits` visits.

    A fleet that fits in one piece gets plain names (`visits.csv`), a larger one numbered ones (`visits-0001.csv`).
    The rows and their order do not depend on the size of the pieces. Memory is bounded by one piece.
    """

    def __init__(self, folder: Path, kind: str, n_blocks: int, piece_visits: int) -> None:
        if kind not in FORMATS:
            raise ValueError(f"format is {kind!r}; must be one of {', '.join(FORMATS)}.")
        self.folder = Path(folder)
        self.folder.mkdir(parents=True, exist_ok=True)
        self.kind = kind
        self.is_in_pieces = n_blocks > 1
        self.piece_visits = piece_visits
        self.waiting: dict[str, list[pa.Table]] = {}
        self.n_pieces = 0
        self.con = duckdb.connect()
        # One thread writes Parquet row groups in one order only, and is as fast for pieces of this size.
        self.con.execute("SET preserve_insertion_order=true")

    def add(self, tables: dict[str, pa.Table]) -> None:
        """Take the tables of one block; write a piece when enough visits wait."""
        for name, table in tables.items():
            self.waiting.setdefault(name, []).append(table)
        if sum(table.num_rows for table in self.waiting.get("visits", [])) >= self.piece_visits:
            self.flush()

    def flush(self) -> None:
        """Write what waits."""
        if not self.waiting:
            return
        self.n_pieces += 1
        suffix = f"-{self.n_pieces:04d}" if self.is_in_pieces else ""
        for name, tables in self.waiting.items():
            self.write(f"{name}{suffix}", pa.concat_tables(tables))
        self.waiting = {}

    def write(self, stem: str, table: pa.Table) -> None:
        """Write one table as one file."""
        path = self.folder / f"{stem}.{self.kind}"
        self.con.register("piece", table)
        self.con.execute(f"COPY piece TO '{str(path).replace(chr(39), chr(39) * 2)}' ({FORMATS[self.kind]})")
        self.con.unregister("piece")

    def close(self) -> None:
        """Write what waits and let go of the connection."""
        self.flush()
        self.con.close()
