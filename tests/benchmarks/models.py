"""Builds that benchmarks and tests share: M40 and its relatives of any size, and portfolio C."""

from __future__ import annotations

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build

_CAUSES = """
[[cause]]
id = "kit_fit"

[[cause]]
id = "shipping"

[[cause]]
id = "workshop_rates"
"""

_EVENTS = (
    'chance = 0.15\ncauses = { shipping = "moderate" }\ncost = 1800',
    'chance = 0.3\ncauses = { shipping = "moderate" }\ncost = { low = 80, middle = 250, high = 900 }',
    'chance = 0.25\ncauses = { kit_fit = "strong" }\ncost = { low = 300, middle = 900, high = 3000 }',
    "chance = 0.1\ncost = { low = 100, middle = 220, high = 600 }",
    'chance = 0.12\ncauses = { kit_fit = "slight" }\ncost = { low = 400, middle = 1200, high = 2600 }',
    "chance = 0.2\ncost = 260",
)


def _line(number: int, group: str, figure: str, causes: str) -> str:
    return f'[[line]]\nid = "item_{number}"\ngroup = "{group}"\namount = {{ {figure}, causes = {{ {causes} }} }}\n'


def sized_build(inputs: int) -> Build:
    """Give a build with that many figures in the proportions of M40, with three causes, duty and tax.

    M40 has 10 triangular, 15 beta-PERT, 8 lognormal and 5 uniform figures, 2 that are fixed, and 6 events.
    """
    kinds = ["triangular"] * 10 + ["beta-pert"] * 15 + ["lognormal"] * 8 + ["uniform"] * 5 + ["fixed"] * 2
    lines = []
    for number in range(inputs):
        kind = kinds[(number * 27) % 40]  # 27 and 40 have no common factor: every kind in every short stretch
        size = 100.0 + 37.0 * (number * 7 % 23)
        group = ("kit", "freight", "consumables", "hardware", "finish")[number % 5]
        causes = (
            "kit_fit = 0.5",
            "shipping = 0.5",
            "workshop_rates = 0.4",
            "kit_fit = 0.3, workshop_rates = 0.3",
        )[number % 4]
        least, mode, most = 0.8 * size, size, (1.6 + 0.1 * (number % 7)) * size
        match kind:
            case "triangular" | "beta-pert":
                figure = f'shape = "{kind}", min = {least}, mode = {mode}, max = {most}'
            case "lognormal":
                figure = f'shape = "lognormal", p10 = {least}, p90 = {most}'
            case "uniform":
                figure = f'shape = "uniform", min = {least}, max = {most}'
            case _:
                lines.append(f'[[line]]\nid = "item_{number}"\ngroup = "{group}"\namount = {size}\n')
                continue
        lines.append(_line(number, group, figure, causes))
    lines.append('[[line]]\nid = "duty"\ngroup = "import"\npercent = 6.5\nof = ["kit", "freight"]\n')
    lines.append('[[line]]\nid = "tax"\ngroup = "import"\npercent = 20\nof = ["kit", "freight", "duty"]\n')
    head = f'[build]\nname = "M{inputs}"\ncurrency = "EUR"\ncountry = "IE"\nestimating = 0\n'
    events = [
        f'[[event]]\nid = "event_{number}"\n{_EVENTS[number % 6]}\n'
        for number in range(max(1, inputs * 6 // 40))
    ]
    return parse_build("\n".join([head, _CAUSES, *lines, *events]))


PORTFOLIO_C = """
[build]
name = "C"
currency = "NZD"
country = "NZ"
estimating = 0

[[line]]
id = "front_clip"
group = "kit"
amount = { shape = "triangular", min = 1400, mode = 1700, max = 2300 }

[[line]]
id = "rear_quarters"
group = "kit"
amount = { shape = "triangular", min = 1800, mode = 2100, max = 3100 }

[[line]]
id = "side_skirts"
group = "kit"
amount = { shape = "triangular", min = 450, mode = 520, max = 800 }

[[line]]
id = "doors_rework"
group = "labour"
amount = { shape = "beta-pert", min = 300, mode = 700, max = 2100 }

[[line]]
id = "paint"
group = "finish"
amount = { shape = "beta-pert", min = 3000, mode = 4200, max = 8800 }

[[line]]
id = "glass_and_seals"
group = "hardware"
amount = { shape = "beta-pert", min = 250, mode = 480, max = 1300 }

[[line]]
id = "lighting"
group = "hardware"
amount = { shape = "uniform", min = 380, max = 760 }

[[line]]
id = "freight"
group = "freight"
amount = { shape = "lognormal", p10 = 820, p90 = 1580 }

[[event]]
id = "exchange_rate"
chance = 0.3
cost = 900

[[event]]
id = "rework"
chance = 0.25
cost = { shape = "triangular", min = 400, mode = 1200, max = 4000 }
"""


def portfolio_c() -> Build:
    """Give the ten-item portfolio with two events of tests/references/portfolios.json."""
    return parse_build(PORTFOLIO_C)
