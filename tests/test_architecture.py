"""The shape of the code, as far as import-linter and ruff do not see it: purity, sizes, names, the top level."""

from __future__ import annotations

import ast
import fnmatch
from functools import cache
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parent.parent
CODE = sorted(
    path.relative_to(PROJECT)
    for folder in ("ledger", "api", "ops", "fixtures_demo")
    for path in PROJECT.glob(f"{folder}/**/*.py")
)
PURE = [
    path
    for path in CODE
    if path.parts[:2] in {("ledger", part) for part in ("book", "line", "conformity", "tracing", "warranty")}
]

# In code without clock, randomness, files, network or process state.
IMPURE_MODULES = {
    "asyncio", "getpass", "glob", "io", "logging", "os", "pathlib", "random", "secrets", "shutil", "socket", "sqlite3",
    "subprocess", "sys", "tempfile", "threading", "time", "urllib.request", "uuid",
}  # fmt: skip
IMPURE_CALLS = {"print", "open", "input", "now", "utcnow", "today", "fromtimestamp", "urandom", "getenv"}

BANNED_MODULES = {"utils", "util", "helpers", "helper", "manager", "managers", "services", "service", "common", "misc"}

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "ledger", "api", "tests", "fixtures_demo", "ops"}
MADE_BY_TOOLS = ("__pycache__", "build", "dist", "*.egg-info")

MAX_FILE_LINES = 400
MAX_FUNCTION_LINES = 60
MAX_POSITIONAL = 5

# A limit that has to be broken stands here with its reason: {"ledger/x.py::name": "why"}.
ALLOWED_LONG: dict[str, str] = {}


@cache
def tree_of(path: Path) -> ast.Module:
    """The syntax tree of a file, given from the project's folder."""
    return ast.parse((PROJECT / path).read_text("utf-8"), str(path))


def imported_modules(path: Path) -> set[str]:
    """Every module that a file imports, wherever in it, and the packages that it lies in."""
    names: set[str] = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names | {name.rsplit(".", cut)[0] for name in names for cut in range(1, name.count(".") + 1)}


def called_names(path: Path) -> set[str]:
    """The last part of every name that a file calls."""
    names: set[str] = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name):
                names.add(node.func.id)
            elif isinstance(node.func, ast.Attribute):
                names.add(node.func.attr)
    return names


def functions_of(path: Path) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Every function and method of a file."""
    return [node for node in ast.walk(tree_of(path)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


@pytest.mark.parametrize("path", PURE, ids=str)
def test_pure_packages_import_nothing_impure(path: Path) -> None:
    """The pure packages import no clock, randomness, files, network or process state."""
    # Conformity reads its own rulebooks through importlib.resources, which is not in the set.
    assert imported_modules(path) & IMPURE_MODULES == set()


@pytest.mark.parametrize("path", PURE, ids=str)
def test_pure_packages_call_nothing_impure(path: Path) -> None:
    """The pure packages print nothing, open nothing and ask no clock."""
    assert called_names(path) & IMPURE_CALLS == set()


def test_only_the_settings_read_the_environment() -> None:
    """One file reads environment variables."""
    readers = {
        str(path)
        for path in CODE
        for node in ast.walk(tree_of(path))
        if (isinstance(node, ast.Attribute) and node.attr in {"environ", "getenv", "environb"})
        or (isinstance(node, ast.alias) and node.name in {"environ", "getenv", "environb"})
    }
    assert readers <= {"api/settings.py"}


@pytest.mark.parametrize(
    "path", [*CODE, *sorted(p.relative_to(PROJECT) for p in PROJECT.glob("tests/**/*.py"))], ids=str
)
def test_files_are_short(path: Path) -> None:
    """A file is one concept: at most 400 lines."""
    lines = len((PROJECT / path).read_text("utf-8").splitlines())
    assert lines <= MAX_FILE_LINES or str(path) in ALLOWED_LONG


@pytest.mark.parametrize("path", CODE, ids=str)
def test_functions_are_short(path: Path) -> None:
    """A function does one thing: at most 60 lines, docstring included."""
    long = [
        f"{path}::{function.name}"
        for function in functions_of(path)
        if (function.end_lineno or 0) - function.lineno + 1 > MAX_FUNCTION_LINES
    ]
    assert [name for name in long if name not in ALLOWED_LONG] == []


@pytest.mark.parametrize("path", CODE, ids=str)
def test_functions_take_few_positional_parameters(path: Path) -> None:
    """More than five parameters are given by name."""
    wide = [
        f"{path}::{function.name}"
        for function in functions_of(path)
        if len([*function.args.posonlyargs, *function.args.args]) - _is_method(function) > MAX_POSITIONAL
    ]
    assert wide == []


def _is_method(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    arguments = [*function.args.posonlyargs, *function.args.args]
    return bool(arguments) and arguments[0].arg in {"self", "cls"}


def test_no_module_has_a_name_that_says_nothing() -> None:
    """A module is named for its concept."""
    assert [str(path) for path in CODE if path.stem in BANNED_MODULES or path.parent.name in BANNED_MODULES] == []


def test_every_long_entry_has_a_reason_and_a_subject() -> None:
    """The table of exceptions names what exists, and says why."""
    stale = [key for key in ALLOWED_LONG if not (PROJECT / key.split("::")[0]).exists()]
    assert (stale, [key for key, reason in ALLOWED_LONG.items() if not reason]) == ([], [])


def test_top_level_holds_only_its_eight_names() -> None:
    """The top level is fixed: two pages, one project file, five folders, and dot-files."""
    names = {path.name for path in PROJECT.iterdir() if not path.name.startswith(".")}
    made = {name for name in names for pattern in MADE_BY_TOOLS if fnmatch.fnmatch(name, pattern)}
    assert names - made == TOP_LEVEL


def test_tests_have_unique_file_names() -> None:
    """Two test files never share a name, so a failure names one file."""
    names = [path.name for path in PROJECT.glob("tests/**/test_*.py")]
    assert sorted(names) == sorted(set(names))


def test_every_package_says_what_it_is() -> None:
    """Each folder of code is a package with a docstring."""
    folders = {PROJECT / path.parent for path in CODE}
    silent = [
        str(folder.relative_to(PROJECT))
        for folder in folders
        if not (folder / "__init__.py").exists()
        or not ast.get_docstring(tree_of((folder / "__init__.py").relative_to(PROJECT)))
    ]
    assert silent == []
