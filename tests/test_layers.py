"""The house stands as drawn: imports run downwards, files are where they belong and of a readable size."""

from __future__ import annotations

import ast
import fnmatch
import re
import tomllib
from pathlib import Path

import duckdb
import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("pipelines", "models", "dashboard", "synthetic_data")
# What each package may import of ours; the longest matching prefix of a module's own name decides.
MAY_IMPORT = {
    "dashboard": ("dashboard", "models", "pipelines", "synthetic_data"),
    "models": ("models", "pipelines"),
    "models.methods": ("models.methods",),
    "pipelines": ("pipelines",),
    "pipelines.contract": ("pipelines.contract", "pipelines.errors"),
    "synthetic_data": ("synthetic_data", "pipelines.contract"),
}
# Libraries that belong to one layer only.
KEPT_OUT = {
    "pipelines": ("streamlit", "altair", "statsmodels", "sklearn", "scipy", "rich", "typer"),
    "models": ("streamlit", "altair", "rich", "typer"),
    "models.methods": ("duckdb", "streamlit", "altair"),
    "synthetic_data": ("streamlit", "altair", "sklearn", "statsmodels"),
    "dashboard.charts": ("streamlit", "duckdb"),
}
TOP_FOLDERS = {"pipelines", "models", "dashboard", "synthetic_data", "tests"}
TOP_FILES = {"README.md", "DEVELOPERS.md", "pyproject.toml"}
LONGEST_FILE = 320
FORBIDDEN_WORDS = {"util", "utils", "helper", "helpers", "manager", "managers"}


def module_name(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def sources(*folders: str, suffix: str = ".py") -> list[Path]:
    return sorted(path for folder in folders for path in (ROOT / folder).rglob(f"*{suffix}"))


def shown(path: Path) -> str:
    return str(path.relative_to(ROOT))


def imported(tree: ast.AST, module: str, is_package: bool) -> set[str]:
    """Every module imported anywhere in the file, also inside functions and for types only."""
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                own = module.split(".") if is_package else module.split(".")[:-1]
                base = ".".join([*own[: len(own) - node.level + 1], *([node.module] if node.module else [])])
            found |= {f"{base}.{alias.name}" for alias in node.names}
    return found


def rule_for(module: str, rules: dict[str, tuple[str, ...]]) -> list[tuple[str, ...]]:
    return [rules[name] for name in sorted(rules, key=len) if module == name or module.startswith(f"{name}.")]


def is_within(name: str, allowed: tuple[str, ...]) -> bool:
    return any(name == prefix or name.startswith(f"{prefix}.") for prefix in allowed)


@pytest.mark.parametrize("path", sources(*PACKAGES), ids=shown)
def test_imports_run_downwards(path):
    module = module_name(path)
    names = imported(ast.parse(path.read_text("utf-8")), module, path.name == "__init__.py")
    allowed = rule_for(module, MAY_IMPORT)[-1]
    ours = {name for name in names if name.split(".")[0] in (*PACKAGES, "tests")}
    upwards = {name for name in ours if not is_within(name, allowed)}
    assert not upwards, f"{module} may import only {', '.join(allowed)} of ours"
    for kept_out in rule_for(module, KEPT_OUT):
        strangers = {name for name in names if is_within(name, kept_out)}
        assert not strangers, f"{module} must not need {', '.join(kept_out)}"


def test_the_import_check_finds_what_it_looks_for():
    text = "import dashboard.app\ndef f():\n    from models.figures import all\n    from ..contract import tables\n"
    names = imported(ast.parse(text), "pipelines.intake.reading", is_package=False)
    assert names == {"dashboard.app", "models.figures.all", "pipelines.contract.tables"}
    assert not is_within("models.figures.all", rule_for("pipelines.intake.reading", MAY_IMPORT)[-1])
    assert not is_within("pipelines.store", rule_for("synthetic_data.fleet", MAY_IMPORT)[-1])
    assert not is_within("models.figures.all", rule_for("models.methods.proportion", MAY_IMPORT)[-1])


def test_top_level_is_what_was_agreed():
    ignored = [
        line.strip().rstrip("/") for line in (ROOT / ".gitignore").read_text("utf-8").splitlines() if line.strip()
    ]
    there = {
        path
        for path in ROOT.iterdir()
        if not path.name.startswith(".") and not any(fnmatch.fnmatch(path.name, pattern) for pattern in ignored)
    }
    assert {path.name for path in there if path.is_dir()} == TOP_FOLDERS
    assert {path.name for path in there if path.is_file()} == TOP_FILES


def test_every_package_is_installed():
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]["packages"]
    there = {module_name(path) for path in sources(*PACKAGES) if path.name == "__init__.py"}
    assert set(listed) == there
    loose = {shown(path) for path in sources(*PACKAGES) if not (path.parent / "__init__.py").exists()}
    assert not loose, "a module in a folder that is no package would not be installed"


@pytest.mark.parametrize("path", [*sources(*PACKAGES, "tests"), *sources(*PACKAGES, suffix=".sql")], ids=shown)
def test_file_is_of_a_readable_size_and_well_named(path):
    text = path.read_text("utf-8")
    assert len(text.splitlines()) <= LONGEST_FILE, f"{shown(path)} is too long; part it where its jobs part"
    words = {word for part in path.relative_to(ROOT).with_suffix("").parts for word in part.lower().split("_")}
    if path.suffix == ".py":
        named = (ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, named):
                words |= {word.lower() for word in re.findall(r"[A-Z]?[a-z0-9]+|[A-Z]+(?![a-z])", node.name)}
    assert not words & FORBIDDEN_WORDS, "say what it does instead"


RELATIONS = [
    path for folder in ("records", "facts", "checks") for path in sources(f"pipelines/sql/{folder}", suffix=".sql")
]


@pytest.mark.parametrize("path", RELATIONS, ids=shown)
def test_a_relation_is_one_plain_select(path):
    text = path.read_text("utf-8")
    lines = text.splitlines()
    assert lines[0].startswith("-- "), "the first line says what one row is"
    if path.parent.name != "checks":
        assert re.fullmatch(r"-- kept as: (view|table|table by site|table by visit)", lines[1]), (
            "the second line says how it is kept"
        )
    assert re.fullmatch(r"[a-z][a-z0-9_]*", path.stem)
    statements = duckdb.extract_statements(text)
    assert [statement.type for statement in statements] == [duckdb.StatementType.SELECT]


@pytest.mark.parametrize("path", sources(*PACKAGES, suffix=".sql"), ids=shown)
def test_sql_holds_no_templating(path):
    text = path.read_text("utf-8")
    assert text.startswith("-- "), "the first line is a comment"
    assert not re.search(r"\{\{|\{%|\$\{|(?<!\\x)\{[A-Za-z_]\w*\}|%s|%\(", text)


def test_relation_names_are_unique():
    names = [path.stem for path in RELATIONS]
    assert RELATIONS, "there must be relations to look at"
    assert len(names) == len(set(names)), "a relation is written by one file only"
