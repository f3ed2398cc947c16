"""A small build in which everything depends on everything: routes, percentages, an event that hands work over."""

from __future__ import annotations

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build

SMALL = """
[build]
name = "Small"
currency = "EUR"
country = "IE"
hours_per_week = 10
[[cause]]
id = "kit_fit"
[[line]]
id = "kit"
group = "kit"
amount = { low = 2400, middle = 2800, high = 4200 }
[[line]]
id = "duty"
group = "import"
percent = 4.5
of = ["kit"]
[[line]]
id = "filler"
group = "consumables"
package = "filling"
route = "self"
quantity = { low = 3.5, middle = 5.5, high = 11, unit = "kg", causes = { kit_fit = "strong" } }
price = { low = 9, middle = 12, high = 16 }
own_hours = { low = 15, middle = 45, high = 110, causes = { kit_fit = "strong" } }
[[line]]
id = "filling_shop"
group = "labour"
package = "filling"
route = "shop"
amount = { low = 900, middle = 1800, high = 4000, causes = { kit_fit = "strong" } }
[[line]]
id = "paint_self"
group = "finish"
package = "paint"
route = "self"
chance = 0.9
amount = { low = 300, middle = 500, high = 900 }
own_hours = { low = 20, middle = 40, high = 80 }
[[line]]
id = "paint_shop"
group = "finish"
package = "paint"
route = "shop"
amount = { low = 1500, middle = 2500, high = 5000 }
[[line]]
id = "paint_friend"
group = "finish"
package = "paint"
route = "friend"
amount = { low = 500, middle = 900, high = 1500 }
own_hours = 12
[[line]]
id = "colour_match"
group = "other"
percent = 4
of = ["paint_shop", "filling_shop"]
[[line]]
id = "card_fee"
group = "import"
percent = 2.5
of = ["kit", "finish"]
minimum = 90
[[line]]
id = "spoiler"
group = "kit"
optional = true
amount = { low = 200, middle = 300, high = 500 }
[[line]]
id = "mask"
name = "Air-fed mask"
group = "consumables"
optional = true
amount = 350
[[line]]
id = "harness"
group = "other"
optional = true
safety = true
amount = 120
[[line]]
id = "compressor"
group = "hardware"
package = "paint"
route = "self"
amount = 400
resale = { low = 100, middle = 200, high = 280 }
[[event]]
id = "poor_fit"
chance = 0.35
causes = { kit_fit = "strong" }
cost = { low = 100, middle = 350, high = 1200 }
own_hours = { low = 15, middle = 40, high = 110 }
[[event]]
id = "give_up"
chance = 0.15
hands_over = ["filling", "paint"]
share = { low = 0.2, middle = 0.5, high = 0.8 }
penalty = 1.3
[scenario.diy]
all = "self"
[scenario.shop]
all = "shop"
[scenario.mixed]
all = "self"
paint = "shop"
"""


def small(more: str = "") -> Build:
    """Read the small build, with more of a build file added to its end."""
    return parse_build(SMALL + more)


def euros(value: float, error: float = 0.0) -> str:
    """Write money plainly, whatever its error."""
    del error
    return f"€{value:,.0f}"
