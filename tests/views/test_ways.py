"""Why a way of doing the build moves by a price that it does not have."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.decide.scenarios import compare
from forecast.ledger import Ledger
from forecast.views.ways import taught_sentences
from forecast.watching.standing import Record, Standing

BUILD = parse_build(
    """
[build]
name = "Ways"
currency = "EUR"
country = "IE"
[[line]]
id = "kit"
group = "kit"
amount = { low = 2000, middle = 2600, high = 4000 }
[[line]]
id = "spray_shop"
group = "finish"
package = "paint"
route = "shop"
amount = { low = 1500, middle = 2200, high = 3400 }
[[line]]
id = "spray_self"
group = "finish"
package = "paint"
route = "self"
amount = { low = 500, middle = 800, high = 1500 }
[scenario.diy]
name = "Do it"
all = "self"
[scenario.farmed]
name = "Farm it out"
all = "shop"
"""
)
WAYS = ["diy", "farmed"]


def agreed(tmp_path: Path, **prices: int) -> Standing:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    for line, minor in prices.items():
        ledger.add_commitment("2026-05-02", "A shop", line, minor, "EUR")
    return Record.read(ledger).standing()


@pytest.mark.parametrize(("minor", "off"), [(3_200_00, "over"), (1_600_00, "under")])
def test_a_way_that_moves_by_a_price_it_has_not_says_why(tmp_path: Path, minor: int, off: str) -> None:
    known = agreed(tmp_path, spray_shop=minor)
    low = "low" if off == "over" else "high"
    assert taught_sentences(BUILD, known, WAYS) == [
        "“Do it” changes too, though “Spray shop” is not in it.",
        f"Its price came {off} your estimate, so the other estimates may be {low} too.",
    ]
    was, now = compare(BUILD, WAYS, trials=4096), compare(BUILD, WAYS, trials=4096, known=known)
    moved = now.scenarios[0].mean.value - was.scenarios[0].mean.value
    assert (moved > 20) if off == "over" else (moved < -20)  # there is something to say a reason of


def test_where_no_way_moves_by_another_nothing_is_said(tmp_path: Path) -> None:
    assert taught_sentences(BUILD, None, WAYS) == []
    assert taught_sentences(BUILD, agreed(tmp_path, kit=3_000_00), WAYS) == []
