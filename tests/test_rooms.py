"""The rooms of the house: who may import whom, read from the imports themselves."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "forecast"
ROOMS = ("build", "trade", "engine", "spending", "decide", "views", "dashboard")
"""From the one that knows nobody to the one that knows all."""

MODULES = sorted(PACKAGE.rglob("*.py"))


def imports(file: Path) -> Iterator[str]:
    """Give the full name of everything that a module imports, inside functions as well."""
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: a relative import"
            yield node.module or ""


def room(file: Path) -> str | None:
    """Give the room a module stands in; None beside the rooms."""
    parts = file.relative_to(PACKAGE).parts
    return parts[0] if len(parts) > 1 else None


def name(file: Path) -> str:
    return str(file.relative_to(ROOT))


@pytest.mark.parametrize("file", MODULES, ids=name)
def test_a_room_knows_only_the_rooms_below(file: Path) -> None:
    here = room(file)
    allowed = ROOMS if here is None else ROOMS[: ROOMS.index(here) + 1]
    for target in imports(file):
        parts = target.split(".")
        if parts[0] == "forecast" and len(parts) > 1 and parts[1] in ROOMS:
            assert parts[1] in allowed, f"{name(file)} imports {target}"


HOMES = {
    "streamlit": ("dashboard",),
    "altair": ("views",),
    "sqlite3": ("spending",),
    "pandas": ("spending", "decide", "views", "dashboard"),
    "babel": ("spending", "views", "dashboard"),
}
"""In which rooms alone a library may be imported."""


@pytest.mark.parametrize("file", MODULES, ids=name)
def test_libraries_stay_in_their_rooms(file: Path) -> None:
    for target in imports(file):
        top = target.split(".")[0]
        if top in HOMES:
            assert room(file) in HOMES[top], f"{name(file)} imports {target}"
        if top == "sqlite3":
            assert "ledger" in file.parts, f"{name(file)} imports sqlite3"


@pytest.mark.parametrize("file", [file for file in MODULES if room(file) == "engine"], ids=name)
def test_the_engine_knows_arrays_and_models_only(file: Path) -> None:
    foreign = {target.split(".")[0] for target in imports(file)} - set(sys.stdlib_module_names)
    assert foreign <= {"numpy", "scipy", "forecast"}


@pytest.mark.parametrize("file", MODULES, ids=name)
def test_no_module_does_two_jobs(file: Path) -> None:
    assert len(file.read_text(encoding="utf-8").splitlines()) <= 400


def test_the_top_level_holds_what_the_design_names() -> None:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split()
    top = {path.split("/")[0] for path in listed if not path.startswith(".")}
    assert top == {"README.md", "DEVELOPERS.md", "pyproject.toml", "forecast", "app.py", "tests", "scenarios"}


def test_the_starter_only_starts() -> None:
    assert set(imports(ROOT / "app.py")) <= {
        "__future__",
        "sys",
        "pathlib",
        "streamlit",
        "forecast.dashboard.main",
    }


def test_importing_the_package_loads_no_statistics_library() -> None:
    code = "import sys, forecast.engine.forecast, forecast.spending.reforecast; print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert not {"scipy.stats", "pandas", "streamlit", "altair"} & set(loaded.stdout.split())
