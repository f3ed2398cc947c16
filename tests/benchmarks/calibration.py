"""Simulation-based calibration of what receipts teach, for each kind of line apart.

Builds are drawn from the model itself, some of their lines are then made known as a builder would, and the rank of the
true total among the trials of the re-forecast must be uniform (Talts, Betancourt, Simpson, Vehtari & Gelman 2018,
Validating Bayesian inference algorithms with simulation-based calibration). ``python -m tests.benchmarks.calibration``
runs 2,000 builds of each kind; ``--json`` for programs, ``--builds N`` for another number.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from scipy import stats

from forecast.buildfile.reader import parse_build
from forecast.decide.again import Draws, draws_behind
from forecast.engine.condition import Posterior, Width
from forecast.engine.draws import replicate_sizes
from forecast.engine.forecast import Forecast
from forecast.engine.known import Agreed, Conditions, Foreign, KnownFacts, PartPaid
from forecast.engine.plan import Plan, compile_plan
from forecast.engine.replay import Replay
from forecast.engine.replicate import extras
from forecast.figures.shapes import Array
from forecast.watching.known_facts import EXTRAS, SETTLED

HEAD = """
[build]
name = "calibration"
currency = "EUR"
country = "IE"

[currency.JPY]
rate = 0.0062
volatility = 0.12
days = 90

[currency.USD]
rate = { low = 0.88, middle = 0.92, high = 0.97 }

[[cause]]
id = "fit"
[[cause]]
id = "market"
"""

WHOLE = "".join(
    f"""
[[line]]
id = "whole{place}"
group = "{group}"
amount = {{ low = {low}, middle = {middle}, high = {high}, causes = {{ {cause} }} }}
"""
    for place, (low, middle, high, cause, group) in enumerate(
        (
            (2400, 2900, 3800, 'market = "moderate"', "kit"),
            (900, 1400, 2600, "", "wheels"),
            (700, 1000, 1200, 'fit = "slight"', "finish"),
            (1500, 2200, 4000, "", "labour"),
            (500, 800, 1100, "", "other"),
            (900, 1300, 2400, 'fit = "moderate"', "labour"),
        )
    )
)

COUNTED = "".join(
    f"""
[[line]]
id = "counted{place}"
group = "consumables"
quantity = {{ low = {low}, middle = {middle}, high = {high}, causes = {{ fit = "moderate" }} }}
price = {{ low = {cheap}, middle = {usual}, high = {dear} }}
"""
    for place, (low, middle, high, cheap, usual, dear) in enumerate(
        (
            (30, 50, 95, 9, 12, 16),
            (8, 12, 20, 70, 100, 160),
            (20, 30, 42, 30, 45, 80),
            (4, 6, 10, 150, 240, 330),
        )
    )
)

EVENTS = "".join(
    f"""
[[event]]
id = "event{place}"
chance = {chance}
causes = {{ fit = "{strength}" }}
cost = {{ low = {low}, middle = {middle}, high = {high} }}
"""
    for place, (chance, strength, low, middle, high) in enumerate(
        ((0.3, "strong", 300, 700, 1600), (0.5, "moderate", 200, 400, 900), (0.2, "strong", 500, 900, 2000))
    )
)

OVERRUN = """
[[event]]
id = "overrun"
chance = 0.4
percent = { low = 10, middle = 25, high = 60, causes = { market = "moderate" } }
of = ["labour", "finish"]
"""
OVERRUN_OF = ("whole2", "whole3", "whole5")
"""The lines of those groups."""

CONSIGNMENT = """
[[consignment]]
id = "parcel"
incoterm = "FOB"
deposit_days = 9
balance_days = 60
currency = "{currency}"
mode = "sea"
deposit = 0.3
price = {{ low = {low}, middle = {middle}, high = {high} }}
freight = {{ low = 500, middle = 800, high = 1300, causes = {{ market = "moderate" }} }}

[[line]]
id = "spares"
group = "kit"
amount = {{ low = {spare_low}, middle = {spare}, high = {spare_high}, currency = "{currency}" }}
"""
ABROAD = CONSIGNMENT.format(
    currency="JPY", low=380_000, middle=450_000, high=600_000,
    spare_low=90_000, spare=130_000, spare_high=240_000,
)  # fmt: skip
RATED = CONSIGNMENT.format(
    currency="USD", low=2500, middle=3000, high=4000, spare_low=600, spare=900, spare_high=1500
)  # fmt: skip


@dataclass
class Truth:
    """Builds that really happened: what each row cost, what each input was, and what happened."""

    plan: Plan
    rows: dict[str, Array]
    totals: Array
    draws: Draws
    forecast: Forecast
    places: dict[str, int] = field(default_factory=dict)

    def happened(self, gate: str) -> Array:
        """Give in which builds something happened."""
        place = [one.id for one in self.plan.gates].index(gate)
        found: Array = self.forecast.trials.gates[place]
        return found


def truths(plan: Plan, count: int, seed: int) -> Truth:
    """Draw builds from the model, own ranges as wide as is thought before anything is closed."""
    from forecast.engine import trials as engine

    nothing = np.zeros(len(plan.causes))
    width = Width.unknown() if any(item.own for item in plan.inputs) else None
    before = Posterior(nothing, nothing, np.eye(len(plan.causes)), width, nothing[:, None])
    conditions = Conditions(before, (), {}, {}, {}, {}, {}, ())
    replicates, n = replicate_sizes(count)
    reference = np.array(list(plan.at_middle(gated="by chance").values()))
    part = engine.simulate_replicates(plan, seed, n, "rows", conditions, reference, tuple(range(replicates)))
    found = engine._gather(plan, seed, tuple(range(replicates)), [part], part.rows, reference, conditions)
    forecast = Forecast(found, reference)
    rows = {row.id: found.row(row.id) for row in plan.rows}
    return Truth(plan, rows, found.totals, draws_behind(forecast), forecast)


Reveal = Callable[[Truth, int, np.random.Generator], tuple[KnownFacts, float]]
"""What is told of a build, and what it cost in the end."""


def _lines(truth: Truth, prefix: str) -> list[str]:
    return [row.id for row in truth.plan.rows if row.id.startswith(prefix) and row.kind == "line"]


def _some(names: list[str], rng: np.random.Generator, least: int = 1) -> list[str]:
    count = int(rng.integers(least, max(least + 1, len(names))))
    return [str(name) for name in rng.choice(names, count, replace=False)]


def closed(prefix: str) -> Reveal:
    """Close some of the lines."""

    def reveal(truth: Truth, build: int, rng: np.random.Generator) -> tuple[KnownFacts, float]:
        amounts = {name: float(truth.rows[name][build]) for name in _some(_lines(truth, prefix), rng)}
        return KnownFacts(amounts=amounts), float(truth.totals[build])

    return reveal


def told_abroad(truth: Truth, build: int, rng: np.random.Generator) -> tuple[KnownFacts, float]:
    """Close goods or spares, known in foreign money and in the build's own."""
    code = next(
        iter(code for code in truth.plan.rates if any(f"fx.{code}" in one.id for one in truth.plan.inputs))
    )
    amounts, foreign = {}, {}
    for name in _some(["parcel.goods", "spares"], rng):
        amounts[name] = float(truth.rows[name][build])
        price = "parcel.goods.price" if name == "parcel.goods" else "spares.amount"
        item = truth.plan.inputs[truth.plan.input_places[price]]
        foreign[name] = Foreign(code, float(truth.draws.figure(item)[build]))
    return KnownFacts(amounts=amounts, foreign=foreign), float(truth.totals[build])


def happened(truth: Truth, build: int, rng: np.random.Generator) -> tuple[KnownFacts, float]:
    """Say of some events whether they happened and what they cost."""
    gates, amounts = {}, {}
    for name in _some(_lines_of_events(truth), rng):
        gates[name] = bool(truth.happened(name)[build])
        if gates[name]:
            amounts[name] = float(truth.rows[name][build])
    return KnownFacts(amounts=amounts, gates=gates), float(truth.totals[build])


def overruns_what_is_open(truth: Truth, build: int, rng: np.random.Generator) -> tuple[KnownFacts, float]:
    """Close some bills; what comes on top of bills comes on top of those that are still open."""
    amounts = {name: float(truth.rows[name][build]) for name in _some(_lines(truth, "whole"), rng)}
    bills = {name: float(truth.rows[name][build]) for name in OVERRUN_OF}
    settled = sum(cost for name, cost in bills.items() if name in amounts) / sum(bills.values())
    total = truth.totals[build] - settled * truth.rows["overrun"][build]
    return KnownFacts(amounts=amounts, paid=amounts), float(total)


def _lines_of_events(truth: Truth) -> list[str]:
    return [row.id for row in truth.plan.rows if row.kind == "event"]


def part_paid(way: str, share: float | None) -> Reveal:
    """Pay towards some lines: settled as often as the model thinks, else a share of the whole."""

    def reveal(truth: Truth, build: int, rng: np.random.Generator) -> tuple[KnownFacts, float]:
        parts = {}
        for name in _some(_lines(truth, "whole"), rng):
            whole = float(truth.rows[name][build])
            settled = share is None and rng.random() < SETTLED[way]  # type: ignore[index]
            paid = whole if settled else whole * (rng.random() if share is None else share)
            parts[name] = PartPaid(paid, SETTLED[way] if share is None else 0.0)  # type: ignore[index]
        return KnownFacts(part_paid=parts), float(truth.totals[build])

    return reveal


def forgotten(truth: Truth, build: int, rng: np.random.Generator) -> tuple[KnownFacts, float]:
    """Pay some lines in full and say nothing; some others are closed."""
    names = _some(_lines(truth, "whole"), rng, 2)
    half = len(names) // 2
    amounts = {name: float(truth.rows[name][build]) for name in names[:half]}
    parts = {name: PartPaid(float(truth.rows[name][build]), SETTLED["once"]) for name in names[half:]}
    return KnownFacts(amounts=amounts, part_paid=parts), float(truth.totals[build])


def agreed(kind: str) -> Reveal:
    """Agree prices, which extras break as often as the model thinks."""

    def reveal(truth: Truth, build: int, rng: np.random.Generator) -> tuple[KnownFacts, float]:
        total, prices = float(truth.totals[build]), {}
        for name in _some(_lines(truth, "whole"), rng):
            price = float(truth.rows[name][build])
            prices[name] = Agreed(price, EXTRAS[kind])  # type: ignore[index]
            total += price * float(extras(rng.standard_normal(1), EXTRAS[kind])[0])  # type: ignore[index]
        return KnownFacts(agreed=prices), total

    return reveal


KINDS: dict[str, tuple[str, Reveal]] = {
    "whole lines": (WHOLE, closed("whole")),
    "quantity x price": (WHOLE + COUNTED, closed("counted")),
    "consignment, own money": (WHOLE + ABROAD, closed("parcel.goods")),
    "consignment, foreign money": (WHOLE + ABROAD, told_abroad),
    "consignment, rate a range": (WHOLE + RATED, told_abroad),
    "events": (WHOLE + EVENTS, happened),
    "events, a share of what is unpaid": (WHOLE + OVERRUN, overruns_what_is_open),
    "part-paid 0.3, more to come": (WHOLE, part_paid("once", 0.3)),
    "part-paid 0.6, more to come": (WHOLE, part_paid("once", 0.6)),
    "part-paid 0.9, more to come": (WHOLE, part_paid("once", 0.9)),
    "part-paid, once": (WHOLE, part_paid("once", None)),
    "part-paid, several": (WHOLE, part_paid("several", None)),
    "part-paid, running": (WHOLE, part_paid("running", None)),
    "forgotten closes": (WHOLE, forgotten),
    "agreed, fixed": (WHOLE, agreed("fixed")),
    "agreed, estimate": (WHOLE, agreed("estimate")),
}


@dataclass(frozen=True)
class Calibrated:
    """Ranks of one kind.

    Attributes
    ----------
    kind : str
    ranks : ndarray, shape (builds,)
        Of the true total among the trials, from 0 to 1.
    by : mapping of str to ndarray, shape (builds,)
        What the builds are told apart by: the size of the truth, and what was paid.
    """

    kind: str
    ranks: Array
    by: dict[str, Array]

    @property
    def inside(self) -> float:
        """Share of truths from P10 to P90."""
        return float(np.mean((self.ranks >= 0.1) & (self.ranks <= 0.9)))

    @property
    def p_value(self) -> float:
        """Of the Kolmogorov-Smirnov test against the uniform distribution."""
        return float(stats.kstest(self.ranks, "uniform").pvalue)

    def quarters(self, name: str) -> list[tuple[float, float]]:
        """Give mean rank and share inside for each quarter of a condition known beforehand."""
        edges = np.quantile(self.by[name], (0.25, 0.5, 0.75))
        place = np.searchsorted(edges, self.by[name])
        return [
            (float(self.ranks[place == one].mean()), Calibrated("", self.ranks[place == one], {}).inside)
            for one in range(4)
            if np.any(place == one)  # many builds may be alike
        ]


def calibrate(kind: str, builds: int, seed: int = 1, trials: int = 4096, text: str = "") -> Calibrated:
    """Run the calibration of one kind."""
    lines, reveal = KINDS[kind]
    plan = compile_plan(parse_build(HEAD + lines + text))
    truth = truths(plan, max(4096, builds), 1000 + seed)
    rng = np.random.default_rng(seed)
    ranks, paid, rates = [], [], []
    replay = Replay(plan, trials, seed)
    for build in rng.permutation(truth.totals.size)[:builds]:
        facts, total = reveal(truth, int(build), rng)
        outcome = replay.run(replay.conditions(facts))
        weights = np.ones(outcome.totals.size) if outcome.weights is None else outcome.weights
        close = 1e-6 * abs(total)
        below, upto = (
            float(np.average(outcome.totals < total + one, weights=weights)) for one in (-close, close)
        )
        ranks.append(below + rng.random() * (upto - below))
        known = {**facts.amounts, **{name: one.paid for name, one in facts.part_paid.items()}}
        known |= {name: one.price for name, one in facts.agreed.items()}
        sizes = {name: max(1e-9, replay.prior.size(name)) for name in known}
        paid.append(float(np.mean([known[name] / sizes[name] for name in known])) if known else 1.0)
        rates.append(
            float(np.mean([facts.amounts[name] / one.amount for name, one in facts.foreign.items()]))
            if facts.foreign
            else 0.0
        )
    by = {"price": np.array(paid)}
    if any(rates):
        by["rate"] = np.array(rates)
    return Calibrated(kind, np.array(ranks), by)


THIRTY = "".join(
    f"""
[[line]]
id = "line{place}"
group = "other"
amount = {{ low = {500 + 40 * place}, middle = {700 + 55 * place}, high = {1050 + 80 * place} }}
"""
    for place in range(30)
)
BUILDERS = {
    "right": (1.0, 0.0, 0.0),
    "twice as wide": (2.0, 0.0, 0.0),
    "a fifth dearer": (1.0, 0.2, 0.0),
    "both": (2.0, 0.2, 0.0),
    "one in ten twice its price": (1.0, 0.0, 0.1),
}
"""Builders who are wrong: the true spread of scores over the stated one, how much dearer everything is, and the share
of lines that cost twice as much, each for a reason of its own."""


def misspecified(builder: str, share: float, builds: int, seed: int = 1, trials: int = 1024) -> float:
    """Give how often P10 to P90 holds the truth, for a builder who is wrong, with a share of thirty lines closed."""
    spread, dearer, doubled = BUILDERS[builder]
    plan = compile_plan(parse_build(HEAD + THIRTY))
    replay = Replay(plan, trials, seed)
    rng = np.random.default_rng(seed)
    inside = 0
    for _ in range(builds):
        cause = rng.standard_normal()
        costs = {}
        for item in plan.inputs:
            score = item.loadings[0] * cause + np.sqrt(1 - item.loadings[0] ** 2) * rng.standard_normal()
            value = float(item.shape.ppf(np.array([spread * score]))[0]) * (1 + dearer)
            costs[item.id.removesuffix(".amount")] = value * (1 + (doubled > 0 and rng.random() < doubled))
        known = rng.permutation(list(costs))[: round(share * len(costs))]
        facts = KnownFacts(amounts={str(name): costs[str(name)] for name in known})
        totals = replay.run(replay.conditions(facts)).totals
        low, high = np.quantile(totals, (0.1, 0.9))
        inside += low <= sum(costs.values()) <= high
    return inside / builds


def report(builds: int, kinds: list[str]) -> Iterator[dict[str, object]]:
    """Give the figures of each kind."""
    for kind in kinds:
        found = calibrate(kind, builds)
        yield {
            "kind": kind, "builds": builds, "inside 80 %": round(found.inside, 3), "p": round(found.p_value, 4),
            "mean rank": round(float(found.ranks.mean()), 3),
            "by": {name: [(round(a, 2), round(b, 2)) for a, b in found.quarters(name)] for name in found.by},
        }  # fmt: skip


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--builds", type=int, default=2000)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--only", default="", help="kinds whose name holds this")
    options = parser.parse_args()
    kinds = [kind for kind in KINDS if options.only in kind]
    for builder in BUILDERS if not options.only else [name for name in BUILDERS if options.only in name]:
        held = {
            share: misspecified(builder, share, max(100, options.builds)) for share in (0.0, 0.25, 0.5, 0.75)
        }
        words = "  ".join(f"{share:.0%} closed: {value:.2f}" for share, value in held.items())
        print(
            json.dumps({"builder": builder, "held": held}) if options.json else f"{builder}: {words}",
            flush=True,
        )
    for row in report(options.builds, kinds):
        print(
            json.dumps(row) if options.json else "  ".join(f"{key}: {value}" for key, value in row.items()),
            flush=True,
        )


if __name__ == "__main__":
    main()
