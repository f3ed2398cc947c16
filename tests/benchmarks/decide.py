"""Paired against unpaired differences, and the speed of the mix search: ``python -m tests.benchmarks.decide [--json]``.

The simulation error of a difference is its standard deviation over seeds: once as the project gives it, with both
sides on the same seed, once as the difference of two forecasts, each on a seed of its own (their variances add up).
The target is a quarter.

Edits of one build, quotes, measures and a package done or farmed out share all or nearly all draws. Changes of P80 and
P90 are read from a line fitted to those of neighbouring percentiles where that is more exact
(`forecast.decide.paired`): a percentile moves by jumps where trials change places around it.

Whole scenarios share few figures that count in both, and what counts in only one of them finds nothing to cancel
against. With standard errors s and t of the two sides' figures and correlation r between them, the error of their
difference is √(s² + t² - 2 r s t), which no pairing brings below |s - t| / √(s² + t²) of the unpaired one; each miss is
printed with this bound. And, tighter, `left_over` measures the error that is left when all figures that count in both
keep their draws and the others change theirs: sharing draws can take away no part of it. The unpaired runs are
stratified already, which takes out of both what plain sampling would leave to pairing. Tried in vain on the means:
regressing the difference on all latent scores, their squares and products with the causes, whose means are known (287
control variates), moved the error from 6.8 to 7.7 and from 42.9 to 43.4. Tried on the percentiles: lines and curves
over windows of up to a fifth of the trials to either side; where no bias was to be seen, the ratios stayed above 0.4.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from unittest.mock import patch

import numpy as np

from forecast.buildfile.choosing import with_figure
from forecast.buildfile.edit import changed
from forecast.buildfile.proposals import Quoted, choice_of, quote, starter_measure
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build, Scenario
from forecast.decide.choices import quotes
from forecast.decide.measures import MeasureResult, measures_of
from forecast.decide.mix import MixSearch, mix
from forecast.decide.paired import forecast_change, percentile_change
from forecast.decide.scenarios import Pair
from forecast.engine import draws
from forecast.engine.forecast import Forecast, simulate

ROOT = Path(__file__).resolve().parents[2]
TARGET = 0.25
MIX_SECONDS = 2.0
PACKAGES = 10
STATISTICS: dict[str, Callable[[Forecast], float]] = {
    "mean": lambda forecast: forecast.mean.value,
    "P80": lambda forecast: forecast.percentile(0.8).value,
    "P90": lambda forecast: forecast.percentile(0.9).value,
}


@dataclass(frozen=True)
class Difference:
    """Errors of one difference in one statistic."""

    what: str
    statistic: str
    difference: float
    paired: float
    unpaired: float
    first: float
    second: float
    correlation: float

    @property
    def ratio(self) -> float:
        """Paired error as a share of the unpaired one."""
        return self.paired / self.unpaired

    @property
    def bound(self) -> float:
        """The least ratio that any pairing could reach: with errors of the two sides that move as one."""
        return abs(self.first - self.second) / float(np.hypot(self.first, self.second))

    @property
    def meets(self) -> bool:
        """Whether the target is met."""
        return self.ratio <= TARGET

    def verdict(self) -> str:
        """Say whether the target is met, and if not, what is known of the miss; no cause is claimed beyond that."""
        if self.meets:
            return "meets the target"
        known = f"own errors {self.first:.0f} and {self.second:.0f}"
        if np.isfinite(self.correlation):
            known += f", totals correlate at {self.correlation:.2f}"
        if self.bound > TARGET:
            return (
                f"MISSES the target: no pairing of the two figures could go below {self.bound:.2f} ({known})"
            )
        return f"MISSES the target: the bound of {self.bound:.2f} would allow it ({known})"


def demo() -> Build:
    """The demo build that stands before ordering."""
    return parse_build(demo_text())


def demo_text() -> str:
    """Its build file."""
    return (ROOT / "scenarios" / "before-ordering-ireland" / "build.toml").read_text(encoding="utf-8")


def dearer(build: Build, name: str, factor: float) -> Build:
    """Give the build with one figure of low, middle and high raised by a factor."""

    def raised(figure: object) -> object:
        keys = {key: getattr(figure, key) * factor for key in ("low", "middle", "high")}
        return figure.model_copy(update=keys)  # type: ignore[attr-defined]

    changed = with_figure(build, name, raised)  # type: ignore[arg-type]
    assert changed is not None
    return changed


def likelier(build: Build, event: str, factor: float) -> Build:
    """Give the build with an event's chance multiplied by a factor."""
    events = tuple(
        item.model_copy(update={"chance": item.chance * factor}) if item.id == event else item
        for item in build.event
    )
    return build.model_copy(update={"event": events})


Figures = dict[str, float]
Case = Callable[[int], tuple[Figures, Figures, Figures, float]]
"""Gives, for a seed, mean, P80 and P90 of both sides, their changes as the project gives them, and the correlation of
the two totals."""


def estimated(found: MeasureResult | Pair) -> Figures:
    """Read changes of mean, P80 and P90."""
    return {"mean": found.mean.value, "P80": found.p80.value, "P90": found.p90.value}


def two_builds(one: tuple[Build, str], two: tuple[Build, str]) -> Case:
    """Compare two builds, or two scenarios."""

    def case(seed: int) -> tuple[Figures, Figures, Figures, float]:
        first, second = simulate(*one, seed=seed), simulate(*two, seed=seed)
        together = float(np.corrcoef(first.trials.totals, second.trials.totals)[0, 1])
        a, b = ({name: read(side) for name, read in STATISTICS.items()} for side in (first, second))
        changes = {"mean": b["mean"] - a["mean"]}
        changes |= {name: forecast_change(first, second, q).value for name, q in (("P80", 0.8), ("P90", 0.9))}
        return a, b, changes, together

    return case


def a_measure(build: Build, id: str) -> Case:
    """Compare a build without a measure, and with it, as `measures_of` does."""
    with_it = parse_build(changed(demo_text(), [starter_measure(build, id)]))

    def case(seed: int) -> tuple[Figures, Figures, Figures, float]:
        found = measures_of(with_it, next(iter(build.scenario)), seed=seed)
        a, b = ({"mean": side.mean, "P80": side.p80, "P90": side.p90} for side in found.combinations)
        return a, b, estimated(found.alone[0]), float("nan")

    return case


def a_quote(build: Build, path: str, quoted: Quoted) -> Case:
    """Compare what the file says with a quote beside it, as `quotes` does."""
    with_it = parse_build(changed(demo_text(), quote(build, path, quoted)))

    def case(seed: int) -> tuple[Figures, Figures, Figures, float]:
        comparison = quotes(with_it, choice_of(path), seed=seed).comparison
        a, b = (
            {"mean": side.mean.value, "P80": side.p80.value, "P90": side.p90.value}
            for side in comparison.scenarios
        )  # in the order of the file
        return a, b, estimated(comparison.pairs[0]), float("nan")

    return case


def one_package(build: Build, package: str) -> Case:
    """Compare doing one package oneself with farming it out, all else by oneself, as the mix search does."""

    def case(seed: int) -> tuple[Figures, Figures, Figures, float]:
        search = MixSearch(build, seed=seed)
        own = dict.fromkeys(search.mixes[0].routes, "self")
        found = [
            next(item for item in search.mixes if dict(item.routes) == {**own, package: route})
            for route in ("self", "shop")
        ]
        a, b = ({"mean": side.mean, "P80": side.p80, "P90": side.p90} for side in found)
        (mixer, before), (_, after) = (search.totals(side.routes, side.options) for side in found)
        changes = {"mean": b["mean"] - a["mean"]}
        for name, q in (("P80", 0.8), ("P90", 0.9)):
            replicates = mixer.forecast.trials.replicates
            changes[name] = percentile_change(before.money, after.money, q, replicates).value
        return a, b, changes, float("nan")

    return case


def differences(seeds: int) -> list[Difference]:
    """Measure the errors of differences over seeds."""
    build = demo()
    names = list(build.scenario)
    kit = next(
        f"{line.id}.amount" for line in build.line if line.group == "kit" and hasattr(line.amount, "middle")
    )
    events = [event.id for event in build.event]
    own = (build, names[0])
    cases: dict[str, Case] = {
        f"{kit} 3 % dearer": two_builds(own, (dearer(build, kit, 1.03), names[0])),
        f"{events[0]} less likely by a tenth": two_builds(own, (likelier(build, events[0], 0.9), names[0])),
        "measure: insure_transit": a_measure(build, "insure_transit"),
        f"quote for {kit}": a_quote(build, kit, Quoted("Nearby", 255_000, 270_000, 290_000)),
        "package electrics: self or shop": one_package(build, "electrics"),
    }
    for other in names[1:]:
        cases[f"{names[0]} against {other}"] = two_builds(own, (build, other))
    found = []
    for what, case in cases.items():
        sides = [case(seed) for seed in range(1, 2 * seeds + 1)]
        for name in STATISTICS:
            a, b, paired = (np.array([side[place][name] for side in sides]) for place in (0, 1, 2))  # type: ignore[index]
            error, first, second = (float(np.std(item, ddof=1)) for item in (paired, a, b))
            # Of independent runs variances add up: all seeds against all others, not a few chance pairs of them.
            unpaired = float(np.hypot(first, second))
            found.append(
                Difference(what, name, float(paired.mean()), error, unpaired, first, second, sides[0][3])
            )
    return found


def counting(build: Build, scenario: str) -> set[str]:
    """Name the draws that a scenario's money depends on: a share of work that it does not have is nothing."""
    trials = simulate(build, scenario, keep="rows").trials
    found: set[str] = set()
    for place in trials.plan.money_rows:
        row = trials.plan.rows[place]
        if trials.row(row.id).any():
            found.update(row.inputs)
            found.update([f"gate {row.gate}"] if row.gate else [])
    return found


def left_over(build: Build, one: str, two: str, seeds: int = 6, redrawn: int = 8) -> Figures:
    """Measure the error of the plain difference of two scenarios with the draws of all shared figures held.

    The figures that count in only one of them are drawn again, as from another seed; the rest stays, bit by bit.
    """
    own, word = counting(build, one) ^ counting(build, two), draws._word
    squares: dict[str, list[float]] = {name: [] for name in STATISTICS}
    for seed in range(1, seeds + 1):
        found: dict[str, list[float]] = {name: [] for name in STATISTICS}
        for other in range(1001, 1001 + redrawn):

            def mixed(asked: int, name: str, other: int = other) -> int:
                return word(other if name in own else asked, name)

            with patch.object(draws, "_word", mixed):
                a, b = (simulate(build, scenario, seed=seed, keep="totals") for scenario in (one, two))
            for name, read in STATISTICS.items():
                found[name].append(read(b) - read(a))
        for name, seen in found.items():
            squares[name].append(float(np.var(seen, ddof=1)))
    return {name: float(np.sqrt(np.mean(seen))) for name, seen in squares.items()}


def held_draws(found: list[Difference]) -> dict[str, Figures]:
    """Give what `left_over` measures for whole scenarios, as shares of the unpaired errors."""
    build = demo()
    first, *others = build.scenario
    shares = {}
    for other in others:
        what = f"{first} against {other}"
        unpaired = {item.statistic: item.unpaired for item in found if item.what == what}
        left = left_over(build, first, other)
        shares[what] = {name: left[name] / unpaired[name] for name in STATISTICS}
    return shares


def ten_packages() -> Build:
    """Give a build of ten work packages with two routes each: 1,024 mixes."""
    text = '[build]\nname = "Ten"\ncurrency = "EUR"\ncountry = "IE"\n[[cause]]\nid = "fit"\n'
    text += '[[line]]\nid = "kit"\ngroup = "kit"\namount = { low = 2000, middle = 2500, high = 3500 }\n'
    for place in range(PACKAGES):
        fit = ', causes = { fit = "moderate" }'
        text += (
            f'[[line]]\nid = "own{place}"\ngroup = "consumables"\npackage = "p{place}"\nroute = "self"\n'
            f"amount = {{ low = 40, middle = {60 + 10 * place}, high = 200{fit} }}\n"
            f"own_hours = {{ low = 5, middle = {10 + place}, high = 40{fit} }}\n"
            f'[[line]]\nid = "shop{place}"\ngroup = "labour"\npackage = "p{place}"\nroute = "shop"\n'
            f"amount = {{ low = 300, middle = {500 + 40 * place}, high = 1500{fit} }}\n"
        )
    text += (
        '[[line]]\nid = "fee"\ngroup = "other"\npercent = 2\nof = ["labour", "consumables"]\nminimum = 60\n'
    )
    text += '[[event]]\nid = "rework"\nchance = 0.3\npercent = 12\nof = ["consumables"]\n'
    text += '[scenario.diy]\nall = "self"\n'
    return parse_build(text)


def mix_seconds(times: int = 5) -> tuple[int, float, float, float]:
    """Give how many mixes there are, and the seconds of the search (elapsed and of the processor) and of brute force.

    Elapsed and processor seconds are the best of some runs; brute force is reckoned from a few mixes.
    """
    build = ten_packages()
    best = processor = float("inf")
    count = 0
    for _ in range(times):
        start, began = time.perf_counter(), time.process_time()
        count = len(mix(build).mixes)
        best = min(best, time.perf_counter() - start)
        processor = min(processor, time.process_time() - began)
    start = time.perf_counter()
    sample = 8
    for bits in range(sample):
        routes = {f"p{place}": "shop" if bits >> place & 1 else "self" for place in range(PACKAGES)}
        one = build.model_copy(update={"scenario": {"one": Scenario(routes=routes)}})
        simulate(one, "one").percentile(0.8)
    return count, best, processor, (time.perf_counter() - start) / sample * count


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--seeds", type=int, default=48)
    options = parser.parse_args()
    found = differences(options.seeds // 2)
    left = held_draws(found)
    count, seconds, processor, brute = mix_seconds()
    if options.json:
        data = {
            "differences": [
                {**asdict(item), "ratio": item.ratio, "least_ratio": item.bound, "meets_target": item.meets}
                for item in found
            ],
            "target_ratio": TARGET,
            "left_with_shared_draws_held": left,
            "mix": {"mixes": count, "trials": 16_384, "seconds": seconds, "processor_seconds": processor,
                    "brute_force_seconds": brute,
                    "target_seconds": MIX_SECONDS},
        }  # fmt: skip
        print(json.dumps(data, indent=2))
        return
    print("Simulation error of a difference, over seeds, at 16,384 trials")
    for item in found:
        print(
            f"  {item.what:42} {item.statistic:5} {item.difference:10.1f}  paired {item.paired:8.3f}  "
            f"unpaired {item.unpaired:8.3f}  ratio {item.ratio:.3f}  {item.verdict()}"
        )
    print("Of the unpaired error this share is left when all that counts in both scenarios keeps its draws")
    for what, shares in left.items():
        print(f"  {what:42} " + ", ".join(f"{name} {share:.2f}" for name, share in shares.items()))
    met = sum(item.meets for item in found)
    print(f"{met} of {len(found)} comparisons meet the target of {TARGET:g}.")
    print(
        f"Mix search: {count:,} mixes in {seconds:.2f} s (processor {processor:.2f} s, target {MIX_SECONDS:g} s); "
        f"one by one about {brute:.0f} s"
    )


if __name__ == "__main__":
    main()
