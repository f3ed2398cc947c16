"""How wide the guided start's first budgets are: ``python -m tests.benchmarks.starters [--json]``.

Ten guided builds of several countries, kits and hands, each by the way that was told: the sum of the middle figures,
P50, P80, P80 over that sum, and the own hours in the middle of all builds. The sum leaves out events and lines that may
not be needed, so P80 over it says how much they are, too; how wide a budget is, the spread says: the standard deviation
of the log of the total, 0.3 to 0.4 in what is published of overruns of building projects.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from forecast.buildfile.places import load_places
from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import simulate
from forecast.start import read_answers, write_build

WHOLE = ["front", "rear", "skirts", "arches", "spoiler"]
SHOP_PAINTS: dict[str, Any] = {"panels": WHOLE, "filling": "self", "paint": "shop", "car_state": "worn"}
KNOWN = SHOP_PAINTS | {
    "arches_cut": True, "wheels_new": False, "at_hand": ["stands", "space"], "first_build": False,
    "shipping": "sea", "incoterm": "FOB",
}  # fmt: skip

TEN: dict[str, dict[str, Any]] = {
    "nothing told": {"country": "PL", "origin": "TH"},
    "whole kit, first build": SHOP_PAINTS | {"country": "PL", "origin": "TH", "first_build": True},
    "whole kit, all told": KNOWN
    | {"country": "PL", "origin": "TH", "kit_price": "7280", "kit_currency": "PLN"},
    "whole kit, by road": SHOP_PAINTS | {"country": "NL", "origin": "GB", "first_build": True},
    "within one territory": KNOWN | {"country": "NL", "origin": "DE", "kit_price": "1800-3200"},
    "arches alone": KNOWN | {"country": "GB", "origin": "US", "panels": ["arches"]},
    "two bumpers, arches whole": KNOWN
    | {"country": "IE", "origin": "JP", "panels": ["front", "rear"], "arches_cut": False},
    "bonnet alone": KNOWN | {"country": "US", "origin": "JP", "panels": ["bonnet"], "arches_cut": False},
    "all parts, all by oneself": KNOWN
    | {"country": "AU", "origin": "JP", "panels": [*load_places().panels], "paint": "self"},
    "filled and painted by a shop": KNOWN | {"country": "NZ", "origin": "JP", "filling": "shop"},
}
"""What is told in each."""


@dataclass(frozen=True)
class Budget:
    """The first budget of one guided build."""

    build: str
    currency: str
    base: float
    p50: float
    p80: float
    hours: float
    spread: float

    @property
    def over_base(self) -> float:
        """P80 over the sum of the middle figures."""
        return self.p80 / self.base


def budget(name: str, trials: int = 8192) -> Budget:
    """Simulate one of the ten."""
    build = parse_build(write_build(read_answers(TEN[name])))
    found = simulate(build, trials=trials)
    p50, p80 = (found.percentile(share).value for share in (0.5, 0.8))
    hours = found.hours((0.5,))[0].value
    spread = float(np.log(found.trials.totals).std())
    return Budget(name, build.build.currency, found.base_estimate, p50, p80, hours, spread)


def main() -> int:
    """Print the ten."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--json", action="store_true", help="print figures as JSON")
    options = parser.parse_args()
    found = [budget(name) for name in TEN]
    if options.json:
        print(json.dumps([asdict(one) | {"over_base": one.over_base} for one in found], indent=2))
        return 0
    print(f"{'':<32}{'middle sum':>12}{'P50':>9}{'P80':>9}{'P80/sum':>9}{'own hours':>11}{'spread':>8}")
    for one in found:
        print(
            f"{one.build:<32}{one.currency} {one.base:>8,.0f}{one.p50:>9,.0f}{one.p80:>9,.0f}{one.over_base:>9.2f}"
            f"{one.hours:>11.0f}{one.spread:>8.2f}"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
