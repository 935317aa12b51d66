"""The relations of the store as their .sql files declare them, and the order in which they must be built.

A file holds one SELECT. Its name is the relation's name; the first comment line says what one row is, the second how it
is kept. What it reads comes from DuckDB's own parser (`json_serialize_sql`), so nobody keeps a list of dependencies.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Any

import duckdb

from pipelines.errors import GoodpullError

SQL_FOLDER = Path(__file__).parent / "sql"
# What an incremental build remakes in part.
NARROWED_KINDS = ("table by site", "table by visit")
KINDS = ("view", "table", *NARROWED_KINDS)


class RelationError(GoodpullError):
    """A .sql file is not what the build expects, or names a relation that nobody makes."""


@dataclass(frozen=True)
class Relation:
    """One relation. about: what one row is. kept_as: one of KINDS. tree: its SELECT as DuckDB parsed it.

    reads: names it reads, `name` for relations and `delivered.name` for accepted records.
    own_names: names of its WITH clauses.
    """

    name: str
    about: str
    kept_as: str
    select: str
    tree: dict[str, Any]
    reads: frozenset[str]
    own_names: frozenset[str]


def read_relations(con: duckdb.DuckDBPyConnection, folders: Iterable[Path]) -> dict[str, Relation]:
    """Every relation in the folders, by name. Raises RelationError naming the file and what is wrong."""
    relations: dict[str, Relation] = {}
    for path in sorted(path for folder in folders for path in folder.glob("*.sql")):
        if path.stem in relations:
            raise RelationError(f"{path}: a relation named {path.stem} exists already; give it another name.")
        relations[path.stem] = read_relation(con, path)
    return relations


def read_relation(con: duckdb.DuckDBPyConnection, path: Path) -> Relation:
    """One relation from its file."""
    text = path.read_text("utf-8")
    about, kept_as = header(path, text, "kept as:")
    if kept_as not in KINDS:
        raise RelationError(f"{path} line 2: kept as {kept_as!r}; must be one of: {', '.join(KINDS)}.")
    tree = parse(con, text, path)
    reads, own_names = references(tree)
    return Relation(path.stem, about, kept_as, text, tree, reads, own_names)


def header(path: Path, text: str, label: str) -> tuple[str, str]:
    """First comment line, and the value of the second one, which must start with `label`."""
    lines = text.splitlines()
    if len(lines) < 3 or not lines[0].startswith("-- ") or not lines[1].startswith(f"-- {label} "):
        raise RelationError(f"{path}: must start with the line '-- <what one row is>' and the line '-- {label} ...'.")
    return lines[0][3:].strip(), lines[1].removeprefix(f"-- {label} ").strip()


def parse(con: duckdb.DuckDBPyConnection, text: str, path: Path) -> dict[str, Any]:
    """The SELECT of a file as DuckDB parses it. Raises RelationError when it is not exactly one SELECT."""
    row = con.execute("SELECT json_serialize_sql(?::VARCHAR)", [text.strip().rstrip(";")]).fetchone()
    tree = json.loads(row[0]) if row else {}
    if tree.get("error") or len(tree.get("statements", [])) != 1:
        raise RelationError(f"{path}: must hold exactly one SELECT ({tree.get('error_message', 'none found')}).")
    return tree


def references(tree: dict[str, Any]) -> tuple[frozenset[str], frozenset[str]]:
    """Names a SELECT reads (`name`, or `delivered.name`), and the names of its own WITH clauses, which are left out."""
    named: set[str] = set()
    own: set[str] = set()

    def look(node: dict[str, Any]) -> None:
        if node.get("type") == "BASE_TABLE":
            named.add(_qualified(node))
        for entry in (node.get("cte_map") or {}).get("map", []):
            own.add(entry["key"])

    _walk(tree, look)
    return frozenset(named - own), frozenset(own)


def narrowed(con: duckdb.DuckDBPyConnection, relation: Relation, replacements: Mapping[str, str], database: str) -> str:
    """The relation's SELECT as text, reading tables of another database instead of the relations they narrow.

    replacements: `name` or `delivered.name` -> name of a table in the main schema of `database`.
    """
    tree = json.loads(json.dumps(relation.tree))

    def look(node: dict[str, Any]) -> None:
        if node.get("type") == "BASE_TABLE" and _qualified(node) in replacements:
            node["alias"] = node.get("alias") or node["table_name"]
            path = [database, "main", replacements[_qualified(node)]]
            node["catalog_name"], node["schema_name"], node["table_name"] = path
            # DuckDB 2 reads the name from here; the three above are what earlier versions read.
            node["qualified_name"] = {"path": path}

    _walk(tree, look)
    row = con.execute("SELECT json_deserialize_sql(?::JSON)", [json.dumps(tree)]).fetchone()
    assert row is not None
    return row[0]


def in_order(relations: Mapping[str, Relation], given: Iterable[str]) -> list[Relation]:
    """The relations so that each comes after what it reads.

    given: names that exist without being built, such as `delivered.visits` and `setting`.
    Raises RelationError for an unknown name, a name hidden by a WITH clause, and a circle.
    """
    known = set(given)
    for relation in relations.values():
        hidden = relation.own_names & (known | set(relations))
        if hidden:
            raise RelationError(
                f"{relation.name}.sql has a WITH clause named {', '.join(sorted(hidden))}, which is also a relation; "
                "give the WITH clause another name."
            )
        unknown = relation.reads - known - set(relations)
        if unknown:
            raise RelationError(
                f"{relation.name}.sql reads {', '.join(sorted(unknown))}, which nobody makes; must be a record "
                "(delivered.<table>) or a relation with its own .sql file. Correct the name or write that file."
            )
    sorter = TopologicalSorter(
        {name: sorted(relation.reads & set(relations)) for name, relation in sorted(relations.items())}
    )
    try:
        return [relations[name] for name in sorter.static_order()]
    except CycleError as error:
        raise RelationError(f"Relations read each other in a circle: {' <- '.join(error.args[1])}.") from error


def _qualified(node: dict[str, Any]) -> str:
    schema = node.get("schema_name") or ""
    return f"{schema}.{node['table_name']}" if schema else node["table_name"]


def _walk(node: Any, look: Callable[[dict[str, Any]], None]) -> None:
    if isinstance(node, dict):
        look(node)
        for value in node.values():
            _walk(value, look)
    elif isinstance(node, list):
        for value in node:
            _walk(value, look)
