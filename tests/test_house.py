"""The house keeps its own rules: direction of imports, sizes, SQL in files, tidy names."""

import ast
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.sql_file import statements

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "pipeline"
STEPS = (
    "ingest",
    "match",
    "survey",
    "check",
    "plan",
    "schedule",
    "changes",
    "audit",
    "report",
    "proof",
)
# Upper floors may import lower ones, never the other way round.
FLOORS = {
    "cli": 10,
    "calls": 9,
    "terminal": 8,
    "terminal_changes": 9,
    "bench": 7,
    "commands": 7,
    "explain": 7,
    "run": 6,
    "backup": 5,
    "teach": 5,
    "demo": 5,
    **dict.fromkeys(STEPS, 4),
    "radio": 2,
    "estimate": 3,
    "effect": 3,
    "cover": 3,
    "fresh": 3,
    "database": 2,
    "forms": 2,
    "progress": 2,
    "phrases": 2,
    "reasons": 3,
    "sql_file": 1,
    "tables": 0,
    "wording": 1,
    "xlsx": 2,
    "settings": 3,
    "originals": 3,
    "rules_table": 2,
    "records": 1,
    "accounts": 1,
    "errors": 0,
}
MODULES = sorted(PACKAGE.rglob("*.py"))


def _floor_of(parts: tuple[str, ...]) -> str:
    return parts[1] if len(parts) > 1 else "__init__"


def _imports(path: Path) -> Iterator[tuple[str, ...]]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module == "pipeline":
            names = (alias.name for alias in node.names)
            yield from (("pipeline", name) for name in names if name != "__version__")
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            yield tuple(node.module.split("."))
            if node.module == "pipeline":
                yield from (("pipeline", each.name) for each in node.names if each.name in FLOORS)
        elif isinstance(node, ast.Import):
            yield from (tuple(alias.name.split(".")) for alias in node.names)


def _names(path: Path) -> tuple[str, ...]:
    return path.relative_to(ROOT).with_suffix("").parts


@pytest.mark.parametrize("path", MODULES, ids=lambda p: "/".join(_names(p)))
def test_imports_point_down(path: Path) -> None:
    """A module imports only lower floors, or its own; steps never import one another."""
    here = _floor_of(_names(path))
    if here == "__init__":
        return
    for parts in _imports(path):
        if parts[0] != "pipeline" or len(parts) == 1:
            continue
        there = _floor_of(parts)
        assert there == here or FLOORS[there] < FLOORS[here], f"{here} imports {there}"
        if there == "radio":
            assert here in {"radio", "estimate", "survey", "plan", "demo"}


def test_no_module_is_in_an_import_ring() -> None:
    """Following imports from any module never leads back to it."""
    known = {".".join(_names(path)).removesuffix(".__init__"): path for path in MODULES}
    edges = {
        name: {".".join(parts) for parts in _imports(path)} & set(known) - {name}
        for name, path in known.items()
    }
    done: set[str] = set()

    def visit(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, " > ".join((*trail, name))
        if name not in done:
            for other in sorted(edges[name]):
                visit(other, (*trail, name))
            done.add(name)

    for name in sorted(edges):
        visit(name, ())


@pytest.mark.parametrize("path", MODULES, ids=lambda p: "/".join(_names(p)))
def test_files_and_functions_stay_small(path: Path) -> None:
    """No file has 400 lines or more, no function more than 50."""
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) < 400
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            assert length <= 50, f"{node.name} has {length} lines"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: "/".join(_names(p)))
def test_sql_lives_in_files(path: Path) -> None:
    """No Python string begins like a statement, but where the name of a table is no parameter.

    That is where statements are made from declared tables, and where SQLite files are read.
    """
    if path in (PACKAGE / "tables" / "declare.py", PACKAGE / "ingest" / "foreign.py"):
        return
    begins = re.compile(r"\s*(select|insert|delete|update|create|with|copy)\s", re.IGNORECASE)
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.JoinedStr):
            first = node.values[0] if node.values else None
            text = first.value if isinstance(first, ast.Constant) else ""
            assert not (isinstance(text, str) and _is_statement(begins, text)), ast.unparse(node)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            assert not _is_statement(begins, node.value), node.value


def _is_statement(begins: re.Pattern[str], text: str) -> bool:
    return (
        bool(begins.match(text))
        and bool(re.search(r"\b(from|into|table|view|values)\b", text, re.IGNORECASE))
        and text.lower() == text
    )


@pytest.mark.parametrize(
    "path", sorted((ROOT / "sql").rglob("*.sql")), ids=lambda p: f"{p.parent.name}/{p.name}"
)
def test_sql_files_say_what_they_are_for(path: Path) -> None:
    """Every SQL file opens with a comment, and each named part of it holds one statement."""
    text = path.read_text(encoding="utf-8")
    assert text.startswith("--")
    for part in re.split(r"^-- name: .*$", text, flags=re.MULTILINE):
        bare = re.sub(r"--[^\n]*|'(?:[^']|'')*'", "", part).strip()
        assert bare.count(";") <= 1
        assert bare.rstrip(";").strip() or not part.strip()


def test_nothing_names_a_package_registry() -> None:
    """No tracked text names the host of a package registry."""
    host = re.compile(r"pypi\.org|pythonhosted|npmjs|registry\.", re.IGNORECASE)
    files = [
        path
        for folder in ("pipeline", "sql", "tests", ".ci")
        for path in sorted((ROOT / folder).rglob("*"))
        if path.suffix in {".py", ".sql", ".toml", ".md", ".csv", ""} and path.is_file()
    ]
    files += [ROOT / "pyproject.toml", ROOT / "README.md", ROOT / "DEVELOPERS.md"]
    assert len(files) > 50
    for path in files:
        if path != Path(__file__).resolve():
            assert not host.search(path.read_text(encoding="utf-8")), path


def test_no_class_name_is_used_twice() -> None:
    """One name, one meaning: a search for a class finds it alone."""
    named = Counter(
        node.name
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
    )
    assert [name for name, count in named.items() if count > 1] == []


def test_every_statement_is_run_by_its_name() -> None:
    """A search for a statement's name finds it and whoever runs it."""
    text = "\n".join(path.read_text(encoding="utf-8") for path in MODULES)
    unnamed = [
        f"{step} {name}"
        for step in sorted(path.name for path in (ROOT / "sql").iterdir() if path.is_dir())
        if step not in {"rules", "schema", "migrations"}
        for name, statement in statements(step).items()
        if f'"{name}"' not in text and " macro " not in statement  # macros are run as a theme
    ]
    assert unnamed == []
