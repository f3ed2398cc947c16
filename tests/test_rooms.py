"""The rooms of the house: who may import whom, read from the imports themselves; and that every test is run."""

from __future__ import annotations

import ast
import os
import re
import shlex
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "forecast"
ROOMS = (
    "words", "tables", "figures", "buildfile", "trade", "start", "missing", "ledger", "engine", "watching", "decide",
    "record", "views", "dashboard",
)  # fmt: skip
"""From the one that knows nobody to the one that knows all."""

MODULES = sorted(PACKAGE.rglob("*.py"))

BY_PACKING = {"PKG-INFO", "setup.cfg", "build", "dist"}
"""What setuptools adds at the top of a source distribution, or lays beside it."""


@cache
def known_files() -> tuple[str, ...]:
    """Give the files that git knows and that are there; without git's memory (a source distribution) all that are."""
    try:
        told = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True).stdout
    except FileNotFoundError:  # no git on this machine
        told = ""
    listed = [path for path in told.split("\0") if path and (ROOT / path).exists()]
    return tuple(listed) or files_on_disk(ROOT)


def files_on_disk(root: Path) -> tuple[str, ...]:
    """Give the files below a folder, less what was made from them."""
    found = []
    for top in root.iterdir():
        if top.name.startswith(".") or top.name in BY_PACKING or top.suffix == ".egg-info":
            continue
        files = top.rglob("*") if top.is_dir() else [top]
        found += [
            file.relative_to(root).as_posix() for file in files if file.is_file() and file.suffix != ".pyc"
        ]
    return tuple(sorted(found))


@cache
def imports(file: Path) -> tuple[str, ...]:
    """Give the full name of everything that a module imports, in functions as well; a relative one with its dots."""
    found: list[str] = []
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            found.append("." * node.level + (node.module or ""))
    return tuple(found)


def room(file: Path) -> str | None:
    """Give the room a module stands in; None beside the rooms."""
    parts = file.relative_to(PACKAGE).parts
    return parts[0] if len(parts) > 1 else None


def name(file: Path) -> str:
    return file.relative_to(ROOT).as_posix()


def nobody_imports(breaks: Callable[[Path, str], bool]) -> None:
    """Assert that no import of the package breaks a rule."""
    pairs = [(file, target) for file in MODULES for target in imports(file)]
    nothing_in(f"{name(file)} imports {target}" for file, target in pairs if breaks(file, target))


def nothing_in(found: Iterable[str]) -> None:
    """Assert that nothing was found, and name all that was: a comparison of lists would name the first."""
    listed = sorted(found)
    assert not listed, "\n".join(listed)


def test_there_are_modules_to_look_at() -> None:
    assert {room(file) for file in MODULES} == {None, *ROOMS}


def test_no_import_is_relative() -> None:
    nobody_imports(lambda file, target: target.startswith("."))


def test_a_room_knows_only_the_rooms_below() -> None:
    def breaks(file: Path, target: str) -> bool:
        here, parts = room(file), target.split(".")
        allowed = ROOMS if here is None else ROOMS[: ROOMS.index(here) + 1]
        return parts[0] == "forecast" and len(parts) > 1 and parts[1] in ROOMS and parts[1] not in allowed

    nobody_imports(breaks)


HOMES = {
    "streamlit": ("dashboard",),
    "altair": ("views",),
    "sqlite3": ("ledger",),
    "pandas": ("views", "dashboard"),
    "babel": ("words", "views"),
    "openpyxl": ("tables", "ledger"),
    "pint": ("figures",),
    "pypdf": ("ledger",),
    "rapidocr": ("ledger",),
    "xml": ("ledger",),
}
"""In which rooms alone a library may be imported."""


def test_libraries_stay_in_their_rooms() -> None:
    def breaks(file: Path, target: str) -> bool:
        top = target.split(".")[0]
        return top in HOMES and room(file) not in HOMES[top]

    nobody_imports(breaks)


DATABASE = ("book", "commitments", "marks", "migrations", "opened", "receipt_rows", "store")
"""The ledger's modules that know its database."""


def test_only_the_ledger_knows_its_database() -> None:
    nobody_imports(
        lambda file, target: (
            target.split(".")[0] == "sqlite3"
            and not (file.parent == PACKAGE / "ledger" and file.stem in DATABASE)
        )
    )


OWN = {"forecast/buildfile/incoterms.py", "forecast/dashboard/server.py"}
"""Modules that read a file which comes with a package."""


def test_what_the_builder_names_is_read_by_one_function() -> None:
    """See `forecast.tables.files.open_regular`: a device or a pipe that is read elsewhere holds the program up."""

    def reads(node: ast.AST) -> bool:
        if not isinstance(node, ast.Call):
            return False
        modes = [*node.args, *(word.value for word in node.keywords if word.arg == "mode")]
        writes = any(
            isinstance(mode, ast.Constant) and str(mode.value)[:1] in ("w", "x", "a") for mode in modes
        )
        if isinstance(node.func, ast.Name):
            return node.func.id == "open" and not writes
        if not isinstance(node.func, ast.Attribute) or "resources.files" in ast.unparse(node.func):
            return False
        owner = ast.unparse(node.func.value)
        if node.func.attr == "open":
            return owner not in ("Image", "archive", "os") and not writes
        return node.func.attr in ("read_bytes", "read_text")

    assert reads(ast.parse("path.read_text()").body[0].value)  # type: ignore[attr-defined]
    assert reads(ast.parse("path.open('rb')").body[0].value)  # type: ignore[attr-defined]
    nothing_in(
        f"{name(file)} line {node.lineno}: {ast.unparse(node)}"
        for file in MODULES
        if name(file) not in {*OWN, "forecast/tables/files.py"}
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.expr) and reads(node)
    )


def test_the_engine_knows_arrays_and_models_only() -> None:
    known = {*sys.stdlib_module_names, "numpy", "scipy", "forecast"}
    nobody_imports(lambda file, target: room(file) == "engine" and target.split(".")[0] not in known)


def test_the_top_level_holds_what_the_design_names() -> None:
    top = {path.split("/")[0] for path in known_files() if not path.startswith(".")}
    assert top == {"README.md", "DEVELOPERS.md", "pyproject.toml", "forecast", "app.py", "tests", "scenarios"}


def test_the_starter_only_starts() -> None:
    assert set(imports(ROOT / "app.py")) <= {
        "__future__",
        "sys",
        "pathlib",
        "streamlit",
        "forecast.dashboard.main",
        "forecast.dashboard.server",
    }


def test_importing_the_package_loads_no_statistics_library() -> None:
    code = "import sys, forecast.engine.forecast, forecast.watching.reforecast; print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert not {"scipy.stats", "pandas", "streamlit", "altair"} & set(loaded.stdout.split())


COLLECT = """
import sys, pytest

class Names(pytest.File):
    def collect(self):
        return []

class Files:
    @pytest.hookimpl(tryfirst=True)
    def pytest_pycollect_makemodule(self, module_path, parent):
        print("file:", module_path.relative_to(parent.config.rootpath).as_posix())
        return Names.from_parent(parent, path=module_path)

pytest.main([*sys.argv[1:], "-n", "0", "--collect-only", "-p", "no:cacheprovider"], plugins=[Files()])
"""
"""Collects as far as the files and imports none of them: one second instead of ten."""


def collected_files() -> set[str]:
    """Give the test files that the README's own test command reaches."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    command = re.search(r"<!-- test command -->\n```sh\n.* -m pytest(.*)\n```\n<!-- end -->", text)
    assert command is not None
    surroundings = {key: value for key, value in os.environ.items() if not key.startswith("PYTEST")}
    told = subprocess.run(
        [sys.executable, "-c", COLLECT, *shlex.split(command[1])], cwd=ROOT, env=surroundings,
        capture_output=True, text=True, timeout=300,
    ).stdout  # fmt: skip
    return {line.removeprefix("file: ") for line in told.splitlines() if line.startswith("file: ")}


def test_every_test_file_is_collected() -> None:
    def holds_tests(path: str) -> bool:
        if not path.endswith(".py"):
            return False
        text = (ROOT / path).read_text(encoding="utf-8")
        return Path(path).name.startswith("test_") or re.search(r"^ *def test_", text, re.M) is not None

    wanted = {path for path in known_files() if holds_tests(path)}
    assert len(wanted) > 50
    nothing_in(wanted - collected_files())


def test_without_git_the_files_on_disk_are_looked_at() -> None:
    known = {path for path in known_files() if not path.startswith(".")}
    assert known <= set(files_on_disk(ROOT))


def test_no_two_modules_bear_one_name() -> None:
    """Who looks for a module by its name finds it at the first try."""
    names = Counter(path.name for path in (ROOT / "forecast").rglob("*.py") if path.name != "__init__.py")
    assert [name for name, times in names.items() if times > 1] == []
