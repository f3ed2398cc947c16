"""Whether it runs on other versions: ``python -m tests.versions [--python 3.12 …] [--lowest]``.

For each Python that is found on this machine an environment of its own is made, with the newest packages and, with
``--lowest``, with the lowest that `pyproject.toml` allows (uv resolves those); a quick part of the tests runs in each.
What could not be run is said, and is no success.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
QUICK = (
    "tests/words", "tests/tables", "tests/figures", "tests/buildfile", "tests/start", "tests/missing",
    "tests/engine/test_sums.py",
    "tests/ledger/test_ledger_receipts.py", "tests/ledger/test_backup.py",
    "tests/watching/test_importing.py", "tests/views/test_edges_of_numbers.py", "tests/views/test_charts.py",
    "tests/dashboard/test_names_act_on_nothing.py",
)  # fmt: skip
"""Every reader, fast parts of the engine and the ledger, commands, charts, and each page once."""


def find(version: str) -> str | None:
    """Give the path of a Python of that version; None where there is none here."""
    found = [shutil.which(f"python{version}")]
    shims = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    found += sorted(str(path / "bin" / "python") for path in shims.glob(f"{version}.*"))
    for path in filter(None, found):
        said = subprocess.run([path, "--version"], capture_output=True, text=True, check=False).stdout
        if said.startswith(f"Python {version}."):
            return path
    return None


def install(python: str, folder: Path, *, lowest: bool) -> Path | str:
    """Make an environment; give its Python, or what went wrong."""
    uv = shutil.which("uv") or str(Path(sys.executable).with_name("uv"))
    inside = folder / ("Scripts" if os.name == "nt" else "bin") / "python"
    steps: list[list[str]] = [[python, "-m", "venv", str(folder)]]
    if lowest:
        if not Path(uv).exists():
            return "uv is not installed, which finds the lowest versions: pip install uv"
        links = os.environ.get("PIP_FIND_LINKS", "").split()
        more = [word for link in links for word in ("--find-links", link)]
        # The tests' own tools may be new: it is the program that has to run with what is old.
        project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
        tools = project["optional-dependencies"]["test"]
        steps += [
            [
                uv,
                "pip",
                "install",
                "-q",
                "--compile-bytecode",
                "--python",
                str(inside),
                "--resolution",
                "lowest-direct",
                *more,
                "-e",
                str(ROOT),
            ],
            [uv, "pip", "install", "-q", "--compile-bytecode", "--python", str(inside), *more, *tools],
        ]
    else:
        steps += [[str(inside), "-m", "pip", "install", "-q", "-e", f"{ROOT}[test]"]]
    for step in steps:
        done = subprocess.run(step, capture_output=True, text=True, check=False)
        if done.returncode:
            return f"cannot be installed: {done.stderr.strip()[-600:]}"
    return inside


def run(version: str, tests: Sequence[str], *, lowest: bool) -> tuple[bool, str]:
    """Run tests in an environment of that version; tell whether they passed, and what was said last."""
    python = find(version)
    if python is None:
        return False, "not run: there is no such Python on this machine"
    with tempfile.TemporaryDirectory(prefix="forecast-versions-") as scratch:
        inside = install(python, Path(scratch) / "venv", lowest=lowest)
        if isinstance(inside, str):
            return False, f"not run: {inside}"
        command = [str(inside), "-m", "pytest", "-q", "-n", "2", "-p", "no:cacheprovider", *tests]
        kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        done = subprocess.run(command, cwd=ROOT, env=kept, capture_output=True, text=True, check=False)
        lines = done.stdout.strip().splitlines() or done.stderr.strip().splitlines() or ["nothing was said"]
        failed = [line for line in lines if line.startswith(("FAILED", "ERROR"))]
        return done.returncode == 0, "\n    ".join([lines[-1], *failed[:20]])


def main() -> int:
    """Run them all; fail where one fails or could not be run."""
    parser = argparse.ArgumentParser(prog="python -m tests.versions", description=__doc__)
    parser.add_argument("--python", action="append", choices=PYTHONS, help="only these")
    parser.add_argument(
        "--lowest", action="store_true", help="with the lowest packages allowed, instead of the newest"
    )
    parser.add_argument("tests", nargs="*", default=QUICK, help="instead of the quick part")
    options = parser.parse_args()
    good = True
    for version in options.python or PYTHONS:
        passed, said = run(version, options.tests, lowest=options.lowest)
        good = good and passed
        kind = "lowest packages" if options.lowest else "newest packages"
        print(f"Python {version}, {kind}: {'passed' if passed else 'FAILED'}, {said}", flush=True)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
