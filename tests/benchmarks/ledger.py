"""How fast and how safe the ledger is: ``python -m tests.benchmarks.ledger [--json] [--quick]``.

Fills a ledger with 100,000 receipts, adds single ones to it, reads it, lets eight processes write to one file, and
kills a writing process 200 times at random moments.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from forecast.ledger import Ledger, NewReceipt

ROOT = Path(__file__).resolve().parents[2]
WRITER = """
import sys
from forecast.ledger import Ledger
path, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
ledger = Ledger(path, currency="EUR", who=name)
for number in range(count):
    ledger.add_receipt("2026-05-02", name, 100 + number, "EUR", [("a", 60), ("b", 40 + number)],
                       entry_key=f"{name}-{number}")
    print(number, flush=True)
"""


@dataclass(frozen=True)
class Figure:
    """One measured figure beside what it should reach."""

    name: str
    value: float
    unit: str
    target: float | None = None

    @property
    def reached(self) -> bool:
        return self.target is None or self.value <= self.target


def _timed(work: Callable[[], object], times: int = 3) -> float:
    """Give the best of some runs, in seconds."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def fill(path: Path, receipts: int) -> Ledger:
    """Fill a ledger with receipts of two years, two parts each, on sixty lines."""
    ledger = Ledger(path, currency="EUR", who="benchmark")
    random_ = random.Random(1)
    for start in range(0, receipts, 5000):
        ledger.add_receipts(
            NewReceipt(
                f"202{random_.randrange(5, 7)}-{random_.randrange(1, 13):02d}-{random_.randrange(1, 29):02d}",
                f"Supplier {number % 97}", 1000 + number % 500, "EUR",
                ((f"line{number % 60}", 400), (f"line{number % 59}", 600 + number % 500)),
            )
            for number in range(start, min(start + 5000, receipts))
        )  # fmt: skip
    return ledger


def time_one_file(folder: Path, receipts: int, adds: int) -> list[Figure]:
    """Time adding and reading with many receipts in one file."""
    start = time.perf_counter()
    ledger = fill(folder / "many.db", receipts)
    filled = time.perf_counter() - start
    times = []
    for number in range(adds):
        start = time.perf_counter()
        ledger.add_receipt(
            "2026-05-02", "Shop", 1000, "EUR", [("a", 400), ("b", 600)], entry_key=f"add-{number}"
        )
        times.append(1000 * (time.perf_counter() - start))
    cuts = statistics.quantiles(times, n=100)
    return [
        Figure("fill in batches of 5,000", filled, "s"),
        Figure("add one, median", cuts[49], "ms"),
        Figure("add one, p95", cuts[94], "ms", 10.0),
        Figure("add one, slowest", max(times), "ms"),
        Figure("paid by line", 1000 * _timed(ledger.paid_by_line), "ms"),
        Figure("paid by line as of a day", 1000 * _timed(lambda: ledger.paid_by_line("2026-01-31")), "ms"),
        Figure("list all receipts", 1000 * _timed(ledger.list_receipts), "ms"),
        Figure("check the whole file", _timed(ledger.check, 1), "s"),
        Figure("file size", (folder / "many.db").stat().st_size / 1e6, "MB"),
    ]


def _start(path: Path, name: str, count: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITER, str(path), name, str(count)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)


def many_writers(folder: Path, processes: int, each: int) -> list[Figure]:
    """Let several processes write to one file; count receipts missing and receipts there twice."""
    path = folder / "writers.db"
    start = time.perf_counter()
    writers = [_start(path, f"w{number}", each) for number in range(processes)]
    for writer in writers:
        writer.communicate()
    took = time.perf_counter() - start
    keys = [receipt.entry_key for receipt in Ledger(path).list_receipts()]
    wanted = {f"w{number}-{index}" for number in range(processes) for index in range(each)}
    return [
        Figure(f"{processes} processes x {each}: receipts missing", len(wanted - set(keys)), "", 0),
        Figure(
            f"{processes} processes x {each}: receipts twice or strange",
            len(keys) - len(wanted & set(keys)),
            "",
            0,
        ),
        Figure(f"{processes} processes x {each}: complaints of the check", len(Ledger(path).check()), "", 0),
        Figure(f"{processes} processes x {each}: took", took, "s"),
    ]


def kills(folder: Path, count: int) -> list[Figure]:
    """Kill a writing process again and again at a random moment; count what was acknowledged and is gone."""
    path = folder / "kills.db"
    Ledger(path, currency="EUR")
    moments = random.Random(2)
    acknowledged: set[str] = set()
    complaints = 0
    for number in range(count):
        writer = _start(path, f"w{number}", 1_000_000)
        assert writer.stdout is not None
        first = writer.stdout.readline()
        time.sleep(moments.uniform(0, 0.03))
        writer.send_signal(signal.SIGKILL)
        with writer:  # read(), not communicate(), which would pass over what readline() has read ahead
            rest = writer.stdout.read()
        # What follows the last line break was cut off and is no acknowledgement.
        acknowledged |= {f"w{number}-{line}" for line in (first + rest).split("\n")[:-1]}
        complaints += len(Ledger(path).check())
    kept = [receipt.entry_key for receipt in Ledger(path).list_receipts()]
    return [
        Figure(f"{count} kills: acknowledged", len(acknowledged), ""),
        Figure(f"{count} kills: acknowledged and lost", len(acknowledged - set(kept)), "", 0),
        Figure(f"{count} kills: there twice", len(kept) - len(set(kept)), "", 0),
        Figure(f"{count} kills: complaints of the integrity check", complaints, "", 0),
    ]


def time_forecasts(folder: Path, *, quick: bool) -> list[Figure]:
    """Time what is computed from a ledger: the watch view with all those receipts, re-forecast, history."""
    from tests.benchmarks.reforecast import measure, watch_view

    watched = watch_view(Ledger(folder / "many.db", currency="EUR"))
    return watched if quick else [*watched, *measure()]


def run(*, quick: bool) -> list[Figure]:
    """Measure everything in a passing folder."""
    folder = Path(tempfile.mkdtemp(prefix="ledger-benchmark-"))
    try:
        return [
            *time_one_file(folder, 5_000 if quick else 100_000, 200 if quick else 2_000),
            *many_writers(folder, 2 if quick else 8, 20 if quick else 500),
            *kills(folder, 5 if quick else 200),
            *time_forecasts(folder, quick=quick),
        ]
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def main() -> int:
    """Print the figures; fail when one misses its target."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.ledger", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print figures as JSON")
    parser.add_argument("--quick", action="store_true", help="small numbers, to see that it runs")
    options = parser.parse_args()
    figures = run(quick=options.quick)
    if options.json:
        print(json.dumps([asdict(figure) | {"reached": figure.reached} for figure in figures], indent=2))
    else:
        for figure in figures:
            wanted = (
                ""
                if figure.target is None
                else f"  (at most {figure.target:g}{'' if figure.reached else ': MISSED'})"
            )
            print(f"{figure.name:<55}{figure.value:>12.3f} {figure.unit}{wanted}")
    return 0 if all(figure.reached for figure in figures) else 1


if __name__ == "__main__":
    sys.exit(main())
