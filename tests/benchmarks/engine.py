"""Speed, memory and precision of the engine, as ratios measured in one run.

``python -m tests.benchmarks.engine [--json] [--quick]``

Alternatives are timed in turn, several times, and medians compared. What is done once for each shape (building its
quantile table) is reported apart.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path

import numpy as np

from forecast.buildfile.reader import read_build
from forecast.buildfile.schema import Build
from forecast.engine.forecast import forecast_plan
from forecast.engine.plan import compile_plan
from forecast.engine.rows import Plan
from forecast.engine.statistics import percentile
from forecast.engine.tabulated import sampler
from forecast.engine.trials import run
from tests.benchmarks.models import portfolio_c, sized_build
from tests.benchmarks.rivals import openturns_model, plain_totals, scipy_model

M40_TRIALS = 65_536
SHARES = (0.1, 0.5, 0.8, 0.9)
DEMO = Path(__file__).parents[2] / "scenarios" / "before-ordering-ireland"


@dataclass(frozen=True)
class Finding:
    """One line of the table: what was measured, the bar, and whether it was reached."""

    what: str
    value: float
    unit: str
    bar: str
    reached: bool | None
    detail: str = ""


def medians(repetitions: int, **alternatives: Callable[[], object]) -> dict[str, float]:
    """Time alternatives in turn; give the median seconds of each, after one turn that does not count."""
    times: dict[str, list[float]] = {name: [] for name in alternatives}
    for turn in range(repetitions + 1):
        for name, work in alternatives.items():
            start = time.perf_counter()
            work()
            if turn:
                times[name].append(time.perf_counter() - start)
    return {name: statistics.median(found) for name, found in times.items()}


def ours(plan: Plan, trials: int, seed: int = 1) -> list[float]:
    """Simulate and give percentiles with their errors; rows are kept where they fit, as they are by default."""
    return [found.value for found in forecast_plan(plan, trials, seed).percentile_set(SHARES)]


def speed(repetitions: int) -> list[Finding]:
    """Compare with the same model by hand, with another library, and with the normals alone."""
    plan = compile_plan(sized_build(40))
    sampler.cache_clear()
    start = time.perf_counter()
    for item in plan.inputs:
        sampler(item.shape)
    tables = time.perf_counter() - start
    scipy_run, turns_run = scipy_model(plan), openturns_model(plan)
    count = 40 * M40_TRIALS
    generator = np.random.default_rng(1)
    times = medians(
        repetitions,
        ours=lambda: ours(plan, M40_TRIALS),
        scipy=lambda: scipy_run(M40_TRIALS, SHARES),
        openturns=lambda: turns_run(M40_TRIALS, SHARES),
        normals=lambda: generator.standard_normal(count),
    )
    mine = times["ours"]
    detail = f"{mine * 1e3:.1f} ms against {{:.1f}} ms"
    return [
        Finding("SciPy's quantile functions by hand", times["scipy"] / mine, "times faster", ">= 20",
                times["scipy"] / mine >= 20, detail.format(times["scipy"] * 1e3)),
        Finding("OpenTURNS, sample and quantile", times["openturns"] / mine, "times faster", ">= 20",
                times["openturns"] / mine >= 20, detail.format(times["openturns"] * 1e3)),
        Finding("the normals alone", mine / times["normals"], "times as long", "<= 3",
                mine / times["normals"] <= 3, detail.format(times["normals"] * 1e3)),
        Finding("tables of M40, once", tables * 1e3, "ms", "", None, "built when a shape is first used"),
    ]  # fmt: skip


def flatness(repetitions: int) -> list[Finding]:
    """Compare the time per input and trial over sizes."""
    sizes = [(10, 65_536), (40, 65_536), (400, 65_536), (40, 16_384), (40, 1_048_576)]
    plans = {inputs: compile_plan(sized_build(inputs)) for inputs, _ in sizes}
    work = {
        f"{inputs} inputs, {trials:,} trials": partial(run, plans[inputs], trials, 1, keep="totals")
        for inputs, trials in sizes
    }
    times = medians(repetitions, **work)
    each = {
        name: seconds / inputs / trials * 1e9
        for (name, seconds), (inputs, trials) in zip(times.items(), sizes, strict=True)
    }
    ratio = max(each.values()) / min(each.values())
    detail = "; ".join(f"{name}: {value:.1f} ns" for name, value in each.items())
    return [Finding("flatness over sizes", ratio, "largest by smallest", "<= 1.5", ratio <= 1.5, detail)]


_MEMORY = """
import forecast.engine.forecast, numpy, scipy.special
from tests.benchmarks.engine import peak
from tests.benchmarks.models import sized_build
from forecast.engine.plan import compile_plan
from forecast.engine.sensitivity import variance_shares
build = sized_build(100)
before = peak()
found = forecast.engine.forecast.forecast_plan(compile_plan(build), 1_048_576, keep="totals")
found.percentile_set((0.1, 0.5, 0.8, 0.9)), variance_shares(found.trials.moments), found.lines
print(peak() - before)
"""


def peak() -> float:
    """Give this process's largest memory so far, in MiB; where Linux tells, without that of its parent."""
    try:
        status = Path("/proc/self/status").read_text()
    except OSError:
        unit = 2**20 if sys.platform == "darwin" else 1024
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


def memory() -> list[Finding]:
    """Measure the peak over what importing takes, in a process of its own."""
    answer = subprocess.run([sys.executable, "-c", _MEMORY], capture_output=True, text=True, check=True)
    extra = float(answer.stdout)
    detail = "1,048,576 trials, 100 lines, totals and shares kept"
    return [Finding("peak memory over the import", extra, "MiB", "<= 300", extra <= 300, detail)]


def import_time(repetitions: int) -> list[Finding]:
    """Time importing the package, in processes of their own, less the interpreter's start."""
    times = medians(
        repetitions,
        bare=lambda: subprocess.run([sys.executable, "-c", "pass"], check=True),
        package=lambda: subprocess.run([sys.executable, "-c", "import forecast"], check=True),
        face=lambda: subprocess.run([sys.executable, "-c", "from forecast import simulate"], check=True),
    )
    seconds = times["package"] - times["bare"]
    face = times["face"] - times["bare"]
    detail = f"with simulate itself {face:.2f} s"
    return [Finding("import forecast", seconds, "s", "< 0.3", seconds < 0.3, detail)]


def precision(seeds: int) -> list[Finding]:
    """Compare the P90's error over seeds with plain Monte Carlo of two and a half times as many trials.

    The bar is plain Monte Carlo's standard error by its formula, √(q (1 − q) / N) / density; what it comes to over
    the same number of seeds is printed beside, and is itself uncertain by 1 / √(2 · seeds).
    """
    builds: dict[str, Build] = {"the demo build": read_build(DEMO), "portfolio C": portfolio_c()}
    found = []
    for name, build in builds.items():
        plan = compile_plan(build)
        long = run(plan, 4_000_000, 987_654, keep="totals").totals
        truth, below, above = (percentile(long, q) for q in (0.9, 0.89, 0.91))
        formula = float(np.sqrt(0.09 / 40_960)) * (above - below) / 0.02
        drawn = [percentile(run(plan, 16_384, seed, keep="totals").totals, 0.9) for seed in range(seeds)]
        plain = [percentile(plain_totals(plan, 40_960, seed), 0.9) for seed in range(seeds)]
        mine, theirs = (float(np.sqrt(np.mean((np.array(x) - truth) ** 2))) for x in (drawn, plain))
        detail = f"{mine:.2f} at 16,384 trials; plain at 40,960: {formula:.2f} by formula, "
        detail += f"{theirs:.2f} over {seeds} seeds"
        ratio = mine / formula
        found.append(Finding(f"P90 error, {name}", ratio, "of plain's", "<= 1", ratio <= 1, detail))
    return found


def main() -> None:
    """Measure, and print a table or JSON."""
    parser = argparse.ArgumentParser(description="Measure the engine.")
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")
    parser.add_argument("--quick", action="store_true", help="fewer repetitions")
    options = parser.parse_args()
    repetitions = 3 if options.quick else 9
    findings = speed(repetitions) + flatness(repetitions) + memory() + import_time(repetitions)
    findings += precision(20 if options.quick else 240)
    if options.json:
        print(json.dumps([asdict(finding) for finding in findings], indent=2))
        return
    for finding in findings:
        mark = "" if finding.reached is None else "reached" if finding.reached else "NOT reached"
        print(f"{finding.what:36} {finding.value:9.2f} {finding.unit:20} {finding.bar:7} {mark}")
        print(f"    {finding.detail}")


if __name__ == "__main__":
    main()
