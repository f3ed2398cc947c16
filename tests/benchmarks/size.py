"""What large builds cost in time and memory: ``python -m tests.benchmarks.size [--json] [--quick]``.

Two builds: 150 lines with 300 receipts, which is a careful builder's, and 1,000 lines, 100 events and 20,000 receipts,
which is more than anybody's. Every command and every page is a process of its own, so that its time is what a builder
waits and its memory what the machine gives; a command's time holds Python's start, a page's is that of its first run.
``--quick`` leaves out the large one.

``--against CHECKOUT`` instead tells what share of that checkout's processor time a first answer takes here: user and
system time of whole processes, none with a kept answer, the two trees turn by turn, the least of ``--runs`` each. It is
told for a demo and for the careful builder's build. Make the checkout by ``git worktree add --detach CHECKOUT COMMIT``.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from pathlib import Path

from forecast.ledger import NewReceipt
from forecast.ledger.folder import BuildFolder

ROOT = Path(__file__).resolve().parents[2]
COMMANDS = (
    "check",
    "budget",
    "advise",
    "compare",
    "mix",
    "watch",
    "history",
    "moved",
    "earned",
    "receipts",
    "verify",
)
PAGES = ("stand", "cost", "lines", "choose", "receipts", "watch")
GROUPS = ("kit", "freight", "import", "consumables", "wheels", "hardware", "labour", "finish", "other")
FIRST = date(2024, 11, 4)
FIRST_ANSWERS = ("check", "budget", "advise", "moved", "history")
DEMO = "half-way-new-zealand"
GIVEN_UP = 400.0
"""Seconds after which a process is stopped and counted as that long."""

_PAGE = """
import sys, time
from pathlib import Path
import forecast.dashboard.main
from streamlit.testing.v1 import AppTest
folder, page = sys.argv[1:]
sys.argv = ["app.py", folder]
app = AppTest.from_file(str(Path("app.py").resolve()), default_timeout=1000)
if page != "stand":
    app = app.switch_page(f"forecast/dashboard/{page}.py")
start = time.perf_counter()
app.run()
wrong = [item.message for item in app.exception] + [item.value for item in app.error]
print(*wrong, time.perf_counter() - start, sep="\\n")
"""


@dataclass(frozen=True)
class Size:
    """How large a build is, and what its commands and pages may take."""

    lines: int
    events: int
    receipts: int
    days: int
    seconds: float
    megabytes: float


CAREFUL = Size(150, 10, 300, 200, 3.0, 400.0)
HUGE = Size(1000, 100, 20_000, 700, 20.0, 1000.0)


@dataclass(frozen=True)
class Cost:
    """What one command or page took."""

    lines: int
    receipts: int
    what: str
    seconds: float
    megabytes: float
    seconds_aim: float
    megabytes_aim: float

    @property
    def reached(self) -> bool:
        return self.seconds <= self.seconds_aim and self.megabytes <= self.megabytes_aim


def make_build(folder: Path, size: Size) -> BuildFolder:
    """Write a build of a size with its receipts: a third of the lines closed, a third paid in part, some not begun."""
    drawn = random.Random(7)
    rows = [
        '[build]\nname = "Large"\ncurrency = "EUR"\ncountry = "IE"\nbudget = 900000\nhours_per_week = 10',
        *(f'[[cause]]\nid = "cause{number}"\nname = "Cause {number}"' for number in range(4)),
    ]
    middles = []
    for number in range(size.lines):
        middle = round(drawn.lognormvariate(5.0, 1.0), 0) + 20
        middles.append(middle)
        causes = f', causes = {{ cause{number % 4} = "moderate" }}' if number % 2 else ""
        figure = f"{{ low = {0.7 * middle:.0f}, middle = {middle:.0f}, high = {1.7 * middle:.0f}{causes} }}"
        rows.append(f'[[line]]\nid = "line{number}"\nname = "Line {number}"\ngroup = "{GROUPS[number % 9]}"')
        if number % 7 == 3:
            rows.append(f"quantity = {{ low = 3, middle = 5, high = 9 }}\nprice = {middle / 5:.2f}")
        else:
            rows.append(f"amount = {figure}")
        if number % 11 == 5:
            # by turns, so that each package has lines of both routes, and `mix` something to choose
            turn = number // 11
            rows.append(f'package = "work{turn // 2 % 6}"\nroute = ' + ('"self"' if turn % 2 else '"shop"'))
    for number in range(size.events):
        rows.append(
            f'[[event]]\nid = "event{number}"\nname = "Event {number}"\nchance = {0.05 + 0.3 * drawn.random():.2f}\n'
            f"cost = {{ low = 50, middle = {drawn.randrange(100, 400)}, high = 1500 }}"
        )
    rows += [
        '[scenario.diy]\nall = "self"',
        '[scenario.mixed]\nall = "self"\nwork1 = "shop"',
        '[scenario.shop]\nall = "shop"',
    ]
    (folder / "build.toml").write_text("\n".join(rows), encoding="utf-8")
    built = BuildFolder.at(folder)
    ledger = built.ledger()
    on = [place for place in range(size.lines) if place % 11 != 5 and place % 6 != 4]
    each = size.receipts / len(on)
    receipts = []
    for number in range(size.receipts):
        place = on[number % len(on)]
        day = FIRST + timedelta(days=number * size.days // size.receipts)
        minor = max(1, round(100 * middles[place] * drawn.uniform(0.7, 1.3) / max(1.0, each)))
        receipts.append(
            NewReceipt(day.isoformat(), f"Supplier {number % 97}", minor, "EUR", ((f"line{place}", minor),))
        )
    for start in range(0, len(receipts), 5000):
        ledger.add_receipts(receipts[start : start + 5000])
    for number, place in enumerate(on[::3]):
        ledger.close_line(f"line{place}", FIRST + timedelta(days=size.days * (number + 1) * 3 // len(on)))
    return built


def measure(command: list[str], home: Path) -> tuple[float, float, str]:
    """Run a process; give its seconds, its largest memory in megabytes, and what it printed."""
    env = {**os.environ, "FORECAST_HOME": str(home), "PYTHONPATH": str(ROOT)}
    start = time.perf_counter()
    child = subprocess.Popen(
        command, cwd=ROOT, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    guard = threading.Timer(GIVEN_UP, child.kill)
    guard.start()
    assert child.stdout is not None
    said = child.stdout.read()
    _, status, used = os.wait4(child.pid, 0)
    guard.cancel()
    child.returncode = os.waitstatus_to_exitcode(status)
    seconds = time.perf_counter() - start
    if child.returncode not in (0, 1) or "Traceback" in said:
        said = f"[{child.returncode}] {said}"
    return seconds, used.ru_maxrss / 1024, said


def costs(size: Size, only: str = "") -> list[Cost]:
    """Measure every command and page on a build of a size."""
    found = []
    with tempfile.TemporaryDirectory() as place:
        folder, home = Path(place) / "large", Path(place) / "home"
        folder.mkdir()
        home.mkdir()
        make_build(folder, size)
        todo = [(name, [sys.executable, "-m", "forecast", name, str(folder)]) for name in COMMANDS]
        todo += [(f"page {name}", [sys.executable, "-c", _PAGE, str(folder), name]) for name in PAGES]
        for name, command in todo:
            if only not in name:
                continue
            seconds, megabytes, said = measure(command, home)
            if name.startswith("page"):
                last = said.strip().splitlines()[-1]
                seconds = float(last) if last.replace(".", "").isdigit() else seconds
            cost = Cost(size.lines, size.receipts, name, seconds, megabytes, size.seconds, size.megabytes)
            found.append(cost)
            if said.startswith("["):
                print(said[:1500], file=sys.stderr)
    return found


@dataclass(frozen=True)
class Ratio:
    """Seconds of the processor for a first answer, there and here."""

    build: str
    command: str
    there: float
    here: float

    @property
    def share(self) -> float:
        return self.here / self.there


def ratios(checkout: Path, runs: int, only: str = "") -> list[Ratio]:
    """Measure first answers of another checkout and of this one, turn by turn."""
    found = []
    with tempfile.TemporaryDirectory() as place:
        home, large = Path(place) / "demo", Path(place) / "careful"
        large.mkdir()
        make_build(large, CAREFUL)
        subprocess.run(
            [sys.executable, "-m", "forecast", "demo", DEMO], cwd=checkout, check=True, stdout=subprocess.DEVNULL,
            env={**os.environ, "FORECAST_HOME": str(home), "PYTHONPATH": str(checkout)},
        )  # fmt: skip  # the other's demo: what is written today may have keys that it does not know
        for build in (home / "demos" / DEMO, large):
            each = {
                tree: Path(place) / f"{build.name}-{number}" for number, tree in enumerate((checkout, ROOT))
            }
            for copy in each.values():  # a ledger that this tree opens may be too new for the other
                shutil.copytree(build, copy)
            for command in FIRST_ANSWERS:
                if only not in command:
                    continue
                least = dict.fromkeys(each, float("inf"))
                try:
                    for _ in range(runs):
                        for tree, copy in each.items():
                            least[tree] = min(least[tree], processor_seconds(tree, command, copy))
                except RuntimeError as error:
                    print(error, file=sys.stderr)
                    continue
                found.append(Ratio(build.name, command, least[checkout], least[ROOT]))
    return found


def processor_seconds(tree: Path, command: str, build: Path) -> float:
    """Give user and system time of one process that has no kept answer."""
    with tempfile.TemporaryDirectory() as home:
        env = {**os.environ, "FORECAST_HOME": home, "PYTHONPATH": str(tree)}
        child = subprocess.Popen(
            [sys.executable, "-m", "forecast", command, str(build)], cwd=tree, env=env,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert child.stderr is not None
        told = child.stderr.read()
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in (0, 1):
        message = f"{command} in {tree} ended with {child.returncode}: {told}"
        raise RuntimeError(message)
    return used.ru_utime + used.ru_stime


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", default="", help="only what has this in its name")
    parser.add_argument("--against", type=Path, metavar="CHECKOUT", help="another checkout to be measured by")
    parser.add_argument(
        "--runs", type=int, default=5, help="of each command and checkout, with --against (5)"
    )
    asked = parser.parse_args()
    if asked.against is not None:
        several = ratios(asked.against.resolve(), asked.runs, asked.only)
        if asked.json:
            print(json.dumps([{**asdict(ratio), "share": ratio.share} for ratio in several], indent=2))
        for ratio in () if asked.json else several:
            print(
                f"{ratio.build:22} {ratio.command:9} there {ratio.there:6.2f} s  here {ratio.here:6.2f} s  "
                f"share {ratio.share:.2f}"
            )
        return
    found: list[Cost] = []
    for size in (CAREFUL,) if asked.quick else (CAREFUL, HUGE):
        for cost in costs(size, asked.only):
            found.append(cost)
            if not asked.json:
                mark = "" if cost.reached else "  over"
                print(
                    f"{cost.lines:5} lines {cost.receipts:6} receipts  {cost.what:14} {cost.seconds:7.2f} s "
                    f"(aim {cost.seconds_aim:.0f}) {cost.megabytes:6.0f} MB (aim {cost.megabytes_aim:.0f}){mark}",
                    flush=True,
                )
    if asked.json:
        print(json.dumps([{**asdict(cost), "reached": cost.reached} for cost in found], indent=2))


if __name__ == "__main__":
    main()
