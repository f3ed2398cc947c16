"""What stands at the end of every run, and which tests stay together when several processes share them."""

from __future__ import annotations

import gc
import os

# Arrays here are small: a second thread of the linear algebra only waits, while another process has work for its core.
# It counts from before NumPy is imported, and for all programs that tests start.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

# What thousands of tests are made of stays to the end: looking through it for what could go, again and again, is a
# twentieth of all their time.
gc.set_threshold(100_000, 20, 100)

ROOT = Path(__file__).parents[1]
LONG = (
    "tests/browser/test_intruders.py", "tests/browser/", "tests/views/test_living_a_build.py",
    "tests/start/test_guided.py", "tests/views/test_cli.py",
    "tests/dashboard/test_line_sheet.py", "tests/dashboard/test_start.py",
    "tests/dashboard/test_aside.py", "tests/decide/test_paired.py",
    "tests/ledger/test_undoing.py", "tests/engine/", "tests/watching/",
)  # fmt: skip
"""Files that take longest, in the order in which they begin: their names begin so."""
ALONE = ("test_intruders.py", "test_guided_builds.py")
"""Browser tests whose dashboards no other file opens: on one process with the rest they would end long after all."""
FOLDERS = pytest.StashKey[Counter[str]]()


def _count(config: pytest.Config, names: Iterable[str]) -> None:
    config.stash[FOLDERS] = Counter(name.split("::")[0].rpartition("/")[0] for name in names)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Count before anything is left out by a word or a mark, and put first what takes longest.

    A long file that begins last leaves one process at work and the others idle.
    """
    _count(config, [item.nodeid for item in items])
    items.sort(
        key=lambda item: next((at for at, name in enumerate(LONG) if item.nodeid.startswith(name)), len(LONG))
    )


def pytest_collection_finish() -> None:
    """Leave what was collected out of every later look for what could go."""
    gc.freeze()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_node_collection_finished(node: object, ids: list[str]) -> None:
    """Count what a worker found, each finding the same: with several processes the first collects nothing itself."""
    _count(node.config, ids)  # type: ignore[attr-defined]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> object:
    """Keep the tests of a file on one process, and all that drive a browser: they share what is slow to make.

    That is simulated builds, and running dashboards; those of `ALONE` share none with the others. In the order
    of `LONG`, so that the slow browser tests start first; another ``--dist`` holds where one is asked for.
    """
    if config.getoption("dist") != "load":
        return None
    from xdist.scheduler import LoadFileScheduling

    class Together(LoadFileScheduling):  # type: ignore[misc]
        def _split_scope(self, nodeid: str) -> str:
            file: str = super()._split_scope(nodeid)
            shared = file.startswith("tests/browser/") and not file.endswith(ALONE)
            return "tests/browser" if shared else file

    config.option.loadscopereorder = False
    return Together(config, log)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Print both lists; the second only where the rooms are looked at."""
    folders = config.stash.get(FOLDERS, Counter())
    if not folders:
        return
    terminalreporter.section("tests collected per folder")
    for folder in sorted(folders):
        terminalreporter.line(f"{folders[folder]:6,} {folder}")
    terminalreporter.line(f"{folders.total():6,} in all")
    if "tests" in folders:
        terminalreporter.section("the ten largest modules, in lines")
        for lines, name in largest_modules(10):
            terminalreporter.line(f"{lines:6,} {name}")


def largest_modules(count: int) -> list[tuple[int, str]]:
    """Give the longest modules of the package, the longest first: to look at, not to split for the number's sake."""
    found = [
        (len(file.read_text(encoding="utf-8").splitlines()), file.relative_to(ROOT).as_posix())
        for file in (ROOT / "forecast").rglob("*.py")
    ]
    return sorted(found, key=lambda item: (-item[0], item[1]))[:count]
