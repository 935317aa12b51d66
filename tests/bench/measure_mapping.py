"""A foreign export of millions of rows, and a database, loaded through a mapping: wall time and peak memory.

    python tests/bench/measure_mapping.py --fleet FOLDER/fleet-5000000
    python tests/bench/measure_mapping.py --connection "host=127.0.0.1 dbname=postgres user=reader"

The export is made of a fleet that `measure.py --folder FOLDER` keeps: other names of columns, codes of the company's own,
dates day first, decimal commas, semicolons. Each load runs in a process of its own. Fails above 4 GB, and where rows of the
database are held back: they would be read and not stored, so that less was measured than was promised.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from pathlib import Path

import duckdb
from measure import run

MOST_GB = 4.0
# Five million visits, one each, end in October 2024: none lies in the future, where it would be held back.
VISIT_EVERY = "30 seconds"

LOAD = """
import sys
from pathlib import Path
from pipelines.loading import load
from pipelines.mapping.mapping_file import read_mapping
report = load(Path(sys.argv[1]), [Path(path) for path in sys.argv[4:]], mapping=read_mapping(Path(sys.argv[2])))
assert report.is_changed, report
for file in report.files:
    assert not file.error, file
    assert file.n_rows == file.n_accepted + file.n_held_back + file.n_duplicates, file
    assert sys.argv[3] == "may hold back" or file.n_rows == file.n_accepted, file
    print(f"{file.file_name} to {file.table_name}: {file.n_rows:,} rows = {file.n_accepted:,} accepted + "
          f"{file.n_held_back:,} held back + {file.n_duplicates:,} duplicates")
"""

# Table -> what its file is called, and its columns: ours -> theirs.
EXPORT = {
    "visits": ("calls", {
        "visit_id": "Auftrag", "site_id": "Objekt", "appliance_id": "Anlage", "technician_id": "Monteur",
        "arrived_at": "Beginn", "left_at": "Ende", "visit_kind": "Einsatzart", "symptom": "Störung",
        "cause_code": "Ursache", "is_declared_complete": "Erledigt", "notes": "Bemerkung"}),
    "part_lines": ("items", {
        "visit_id": "Auftrag", "line_no": "Pos", "part_number": "Artikel", "part_class": "Teileart",
        "quantity": "Menge", "price": "Preis", "removed_tag": "Anhänger"}),
    "readings": ("measured", {
        "visit_id": "Auftrag", "reading_no": "Nr", "quantity": "Größe", "value": "Messwert", "unit": "Einheit",
        "condition": "Zustand", "contacts": "Kontakt", "taken": "Wann"}),
}  # fmt: skip
RECODED = {
    "visit_kind": "CASE visit_kind WHEN 'no_heat' THEN 'AUSFALL' WHEN 'maintenance' THEN 'WARTUNG' ELSE visit_kind END",
    "part_class": "CASE part_class WHEN 'draft_switch' THEN 'DRUCKDOSE' ELSE part_class END",
    "price": "replace(price, '.', ',')",
    "value": "replace(value, '.', ',')",
    **{
        name: f"coalesce(strftime(try_strptime(left(replace({name}, 'T', ' '), 16), '%Y-%m-%d %H:%M'), '%d.%m.%Y %H:%M'), {name})"
        for name in ("arrived_at", "left_at")
    },
}
CODES = {
    "visit_kind": '{ "AUSFALL" = "no_heat", "WARTUNG" = "maintenance" }',
    "part_class": '{ "DRUCKDOSE" = "draft_switch" }',
}
HEAD = 'name = "measured"\nconfirmed = true\n'


def export(fleet: Path, folder: Path) -> list[Path]:
    """One file a table, as a company of other habits would export the fleet."""
    con = duckdb.connect(config={"memory_limit": "3GB"})
    con.execute("SET preserve_insertion_order = false")
    paths = []
    for table, (stem, columns) in EXPORT.items():
        source = [str(path) for path in sorted((fleet / "records").glob(f"{table}-*.csv"))]
        cells = ", ".join(f'{RECODED.get(ours, ours)} AS "{theirs}"' for ours, theirs in columns.items())
        paths.append(folder / f"{stem}.csv")
        con.execute(
            f"COPY (SELECT {cells} FROM read_csv(?, all_varchar = true, union_by_name = true)) "
            f"TO '{paths[-1]}' (HEADER, DELIMITER ';')",
            [source],
        )
    return paths


def mapping_of_export() -> str:
    blocks = [HEAD + 'decimal_mark = ","\ndate_formats = ["%d.%m.%Y %H:%M"]\n']
    for table, (stem, columns) in EXPORT.items():
        lines = "\n".join(
            f'{ours} = {{ column = "{theirs}", codes = {CODES[ours]} }}' if ours in CODES else f'{ours} = "{theirs}"'
            for ours, theirs in columns.items()
        )
        blocks.append(
            f'[[source]]\nfile = "{stem}.csv"\n[[source.table]]\ntable = "{table}"\n[source.table.columns]\n{lines}\n'
        )
    return "\n".join(blocks)


def mapping_of_database(connection: str, rows: int) -> str:
    """Visits that the database makes up as it goes, so that it needs no tables."""
    query = (
        "SELECT 'V' || g AS visit, 'S' || g % 200000 AS site, 'T' || g % 300 AS tech, "
        f"timestamp '2020-01-01' + g * interval '{VISIT_EVERY}' AS arrived, 'no_heat' AS kind, "
        f"repeat('found the trap full of water; ', 4) AS notes FROM generate_series(1, {rows}) g"
    )
    pairs = {"visit_id": "visit", "site_id": "site", "technician_id": "tech", "arrived_at": "arrived",
             "visit_kind": "kind", "notes": "notes"}  # fmt: skip
    lines = "\n".join(f'{ours} = "{theirs}"' for ours, theirs in pairs.items())
    return (
        f'{HEAD}[database]\nconnection = "{connection}"\n[[source]]\nname = "calls"\nquery = """{query}"""\n'
        f'[[source.table]]\ntable = "visits"\n[source.table.columns]\n{lines}\n'
    )


def measure(work: Path, toml: str, paths: list[Path], may_hold_back: bool) -> bool:
    """Load and print; whether the peak stayed below the bar. Raises RuntimeError where rows are held back and may not be."""
    (work / "mapping.toml").write_text(toml, "utf-8")
    allowed = "may hold back" if may_hold_back else "all accepted"
    step = run(LOAD, work / "home", work / "mapping.toml", allowed, *paths)
    print(step.printed, end="")
    print(f"load and build: {step.seconds:.0f} s, peak {step.peak_gb:.2f} GB (bar {MOST_GB} GB)", flush=True)
    return step.peak_gb <= MOST_GB


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fleet", type=Path, help="a generated fleet, its records split over numbered files")
    parser.add_argument("--connection", help="a PostgreSQL database to read instead; password as libpq finds it")
    parser.add_argument("--rows", type=int, default=5_000_000, help="rows to read from the database")
    parser.add_argument("--folder", type=Path, help="where to work; default: a temporary folder")
    options = parser.parse_args()
    work = Path(tempfile.mkdtemp(prefix="goodpull-mapping-", dir=options.folder))
    is_within = True
    try:
        if options.fleet:
            paths = export(options.fleet, work)
            print(f"{sum(path.stat().st_size for path in paths) / 1e9:.2f} GB of foreign CSV", flush=True)
            is_within = measure(work, mapping_of_export(), paths, True)
        if options.connection:
            shutil.rmtree(work / "home", ignore_errors=True)
            asked = mapping_of_database(options.connection, options.rows)
            is_within = measure(work, asked, [], False) and is_within
    finally:
        shutil.rmtree(work, ignore_errors=True)
    sys.exit(0 if is_within else 1)


if __name__ == "__main__":
    main()
