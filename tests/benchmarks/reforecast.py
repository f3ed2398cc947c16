"""How fast the forecast follows the receipts: ``python -m tests.benchmarks.reforecast [--json]``.

A build of forty figures, three causes and six events gets 200 receipts on 200 days, five on each line, the fifth of
which closes it. So about half of the lines are part-bought most of the time, which costs more than open or closed.
"""

from __future__ import annotations

import argparse
import json
import random
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict
from datetime import date, timedelta
from pathlib import Path

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.engine.plan import compile_plan
from forecast.engine.trials import run
from forecast.ledger import Ledger
from forecast.watching.history import history
from forecast.watching.moved import what_moved
from forecast.watching.reforecast import reforecast
from tests.benchmarks.ledger import Figure
from tests.benchmarks.models import sized_build

RECEIPTS = 200
FIRST = date(2026, 1, 5)


WATCHED = "\n".join(
    [
        '[build]\nname = "watched"\ncurrency = "EUR"\ncountry = "IE"\nbudget = 5000000',
        *(
            f'[[line]]\nid = "line{number}"\ngroup = "other"\namount = {{ low = 20000, middle = 25000, high = 40000 }}'
            for number in range(60)
        ),
    ]
)
"""A build with the sixty lines that the benchmark of the ledger fills with receipts."""


def bought_build(path: Path) -> tuple[Build, Ledger]:
    """Give a build of forty figures and its ledger of 200 receipts, whose sums are one trial of the model."""
    build = sized_build(40)
    truth = run(compile_plan(build), 16, seed=99)
    ledger = Ledger(path, currency="EUR", who="benchmark")
    order = [number for number in range(40) for _ in range(RECEIPTS // 40)]
    random.Random(3).shuffle(order)
    parts = RECEIPTS // 40
    left = dict.fromkeys(order, parts)
    for place, number in enumerate(order):
        line, day = f"item_{number}", FIRST + timedelta(days=place)
        minor = max(1, round(100 * float(truth.row(line)[5]) / parts))
        ledger.add_receipt(day, f"Supplier {number % 7}", minor, "EUR", [(line, minor)])
        left[number] -= 1
        if not left[number]:
            ledger.close_line(line, day)
    return build, ledger


def _best(work: Callable[[], object], times: int = 3) -> float:
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def measure() -> list[Figure]:
    """Time a re-forecast, a history, and what moved between its ends."""
    with tempfile.TemporaryDirectory() as folder:
        build, ledger = bought_build(Path(folder) / "receipts.db")
        last = FIRST + timedelta(days=RECEIPTS)
        half = FIRST + timedelta(days=RECEIPTS // 2)
        return [
            Figure("re-forecast half-way", _best(lambda: reforecast(build, ledger, as_of=half)), "s", 0.3),
            Figure(
                f"history of {RECEIPTS} receipts x 16,384 trials",
                _best(lambda: history(build, ledger)),
                "s",
                3.0,
            ),
            Figure("what moved between two days", _best(lambda: what_moved(build, ledger, half, last)), "s"),
        ]


def watch_view(ledger: Ledger) -> list[Figure]:
    """Time what the watch view shows of a ledger with very many receipts on sixty lines."""
    build = parse_build(WATCHED)

    def view() -> None:
        watch = reforecast(build, ledger)
        assert len(watch.lines) == 60
        assert watch.chance_of_overrun is not None
        assert watch.reasons

    return [Figure("watch view of that ledger", _best(view), "s", 1.0)]


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="for programs")
    options = parser.parse_args()
    figures = measure()
    if options.json:
        print(json.dumps([asdict(figure) | {"reached": figure.reached} for figure in figures], indent=2))
        return
    for figure in figures:
        target = "" if figure.target is None else f"   (to reach: {figure.target:g} {figure.unit})"
        print(f"{figure.name:<45} {figure.value:8.3f} {figure.unit}{target}")


if __name__ == "__main__":
    main()
