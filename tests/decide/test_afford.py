"""Walk-away prices: closed form, exactness on the same trials, and what cannot be afforded."""

from __future__ import annotations

import pytest
from scipy.special import ndtri

from forecast.buildfile.choosing import with_figure
from forecast.buildfile.reader import parse_build
from forecast.decide.afford import WalkAway, afford, budget_chance, prices_to_ask_for
from forecast.engine.forecast import simulate
from forecast.engine.known import KnownFacts, PartPaid
from forecast.engine.plan import compile_plan
from forecast.engine.statistics import Estimate
from forecast.errors import SimulationError
from forecast.figures.kinds import Known
from forecast.views.cost_words import budget_chance_sentence, walk_away_sentence
from forecast.watching.known_facts import forecast_given, with_outside
from forecast.watching.standing import Standing
from tests.decide.sample import euros, small
from tests.references.portfolios import normals


def test_closed_form_with_a_price_that_drags_duty_along() -> None:
    build = parse_build("""
[build]
name = "One price"
currency = "EUR"
country = "IE"
[[line]]
id = "kit"
group = "kit"
amount = 500
[[line]]
id = "duty"
group = "import"
percent = 10
of = ["kit"]
[[line]]
id = "rest"
group = "other"
amount = { shape = "normal", mean = 1000, sd = 100 }
""")
    found = afford(build, 3000, "kit.amount", level=0.9)
    assert found.highest is not None
    expected = (3000 - 1000 - 100 * ndtri(0.9)) / 1.1
    assert found.highest.value == pytest.approx(expected, abs=max(4 * found.highest.error, 0.02))
    assert found.expected == 500
    assert "That is above what you expect" in walk_away_sentence(found, euros)


def test_highest_is_exact_on_the_same_trials() -> None:
    build = small()
    found = afford(build, 7000, "kit.amount", "diy")
    assert found.highest is not None

    def p80(price: float) -> float:
        changed = with_figure(build, "kit.amount", lambda _: Known(value=price))
        assert changed is not None
        return simulate(changed, "diy").percentile(0.8).value

    assert p80(found.highest.value) <= 7000 + 1e-6
    assert p80(found.highest.value + 0.01) > 7000 - 1e-6
    assert 0 < found.highest.error < 100


def test_any_figure_known_or_not_and_in_its_own_currency() -> None:
    build = small('[currency.JPY]\nrate = 0.006\n[[line]]\nid = "lamp"\ngroup = "other"\n'
                  'amount = { low = 20000, middle = 30000, high = 50000, currency = "JPY" }\n')  # fmt: skip
    lamp = afford(build, 8000, "lamp.amount", "diy", trials=4096)
    mask = afford(build, 8000, "mask.amount", "diy", trials=4096)
    assert lamp.highest is not None
    assert mask.highest is not None
    assert lamp.unit == "JPY"
    assert "goes beyond \u00a5" in walk_away_sentence(lamp, euros)
    assert mask.expected == 350
    assert afford(build, 8000, "poor_fit.cost", "diy", trials=4096).unit == "EUR"


ABROAD = """
[build]
name = "Bought abroad"
currency = "EUR"
country = "IE"
[currency.GBP]
rate = 1.2
volatility = 0
[[consignment]]
id = "kit"
{price}
currency = "GBP"
incoterm = "DDP"
mode = "courier"
boxes = [{ length = 100, width = 50, height = 40, weight = 20 }]
[[line]]
id = "resin"
group = "consumables"
quantity = { low = 4, middle = 5, high = 6, unit = "kg" }
price = { low = 9, middle = 12, high = 18, unit = "kg" }
"""


@pytest.mark.parametrize(
    ("price", "names"),
    [
        ("price = 3600", ("kit.price", "kit.goods.price")),
        ("price = { low = 3000, middle = 3600, high = 4400 }", ("kit.price", "kit.goods.price")),
        (
            'goods = [{ id = "panels", price = { low = 3000, middle = 3600, high = 4400 } }]',
            ("kit.panels.price",),
        ),
    ],
)
def test_a_price_abroad_is_told_in_the_money_it_is_asked_in(price: str, names: tuple[str, ...]) -> None:
    """Closed form: duty and tax are the seller's under DDP, so what the resin leaves is 1.2 euro a pound."""
    build = parse_build(ABROAD.replace("{price}", price))
    rest = afford(build, 9000, "resin.price", trials=4096)
    assert rest.unit == "EUR"  # of one kg, but no price is in kg
    for name in names:
        found = afford(build, 9000, name, trials=4096)
        assert found.highest is not None
        assert found.highest.value == pytest.approx((9000 - found.at_nothing) / 1.2, rel=1e-4)
        assert (found.unit, found.expected) == ("GBP", pytest.approx(3600))
        said = walk_away_sentence(found, euros)
        assert said.count("£") == 2
        assert said.count("€") == 1  # the money at hand
        assert "goods" not in said
    assert prices_to_ask_for(build, simulate(build, trials=4096))[0] == names[-1]
    goods = next(row.id for row in compile_plan(build).payable if row.of == "kit")
    paid = simulate(build, trials=4096, known=KnownFacts(part_paid={goods: PartPaid(3900.0, 0.9)}))
    assert not set(names) & set(prices_to_ask_for(build, paid))


def test_every_figure_that_can_be_asked_for_says_what_it_is_counted_in() -> None:
    text = ABROAD.replace("DDP", "EXW").replace(
        "{price}",
        """price = { low = 3000, middle = 3600, high = 4400 }
export_inland = { low = 50, middle = 60, high = 90 }
freight_rate = { low = 2, middle = 3, high = 4, currency = "GBP" }
arrival = { entry = { low = 50, middle = 60, high = 90 } }""",
    )
    build = parse_build(text)
    units = {
        name: afford(build, 20_000, name, trials=64).unit
        for name in ("kit.export", "kit.freight_rate", "kit.arrival.entry", "resin.quantity")
    }
    assert units == {
        "kit.export": "EUR", "kit.freight_rate": "GBP", "kit.arrival.entry": "EUR", "resin.quantity": "kg",
    }  # fmt: skip


def test_money_that_is_not_enough_even_for_nothing() -> None:
    found = afford(small(), 300, "kit.amount", "diy", trials=4096)
    assert found.highest is None
    assert "at nothing, €300 is too little" in walk_away_sentence(found, euros)


def test_a_figure_that_nothing_depends_on() -> None:
    found = afford(small(), 9000, "filler.own_hours", "diy", trials=1024)
    assert found.unlimited
    assert "nothing depends on it" in walk_away_sentence(found, euros)


@pytest.mark.parametrize(
    ("money", "figure", "level", "words"),
    [
        (0, "kit.amount", 0.8, "must be above zero"),
        (float("nan"), "kit.amount", 0.8, "must be above zero"),
        (5000, "kit.amount", 1.2, "between 0 and 1"),
        (5000, "kit.amuont", 0.8, "Did you mean 'kit.amount'"),
        (5000, "paint_friend.amount", 0.8, "not in this scenario"),
    ],
)
def test_what_makes_no_sense(money: float, figure: str, level: float, words: str) -> None:
    with pytest.raises(SimulationError, match=words):
        afford(small(), money, figure, "diy", level=level, trials=1024)


def test_budget_chance_of_a_normal() -> None:
    forecast = simulate(normals([(1000.0, 100.0)]), trials=65_536)
    found = budget_chance(forecast, 1050)
    assert found.chance.value == pytest.approx(0.6915, abs=max(4 * found.chance.error, 1e-3))
    assert found.short_by == pytest.approx(
        100 * (0.352065 / 0.308538 - 0.5), rel=0.01
    )  # sd (density / tail - z)
    assert "€1,050 is enough in 69 of 100 builds; in the others €64 is missing" in budget_chance_sentence(
        found, euros
    )
    assert budget_chance(forecast, 5000).short_by == 0
    assert (
        budget_chance_sentence(budget_chance(forecast, 5000), euros)
        == "€5,000 is enough in more than 99 of 100 builds."
    )
    spent = budget_chance(with_outside(forecast, 200), 1250)
    assert (spent.chance, spent.short_by) == (found.chance, pytest.approx(found.short_by))


def test_known_facts_count() -> None:
    build = small()
    free = afford(build, 7000, "kit.amount", "diy", trials=4096)
    paid = afford(
        build, 7000, "kit.amount", "diy", trials=4096, known=KnownFacts(amounts={"paint_self": 2000.0})
    )
    assert free.highest is not None
    assert paid.highest is not None
    assert paid.highest.value < free.highest.value - 1000
    gone = Standing(None, {"given_up_long_ago": 300_00}, {}, frozenset(), {}, {}, None)
    spent = afford(build, 7300, "kit.amount", "diy", trials=4096, known=gone)
    assert (spent.highest, spent.money) == (free.highest, 7300)
    assert spent.at_nothing == pytest.approx(free.at_nothing + 300)


@pytest.mark.parametrize(
    ("highest", "error", "words"),
    [(63_534.27, 1204.0, "63,000"), (2891.99, 14.0, "2,890"), (289.7, 0.02, "289"), (12.349, 0.01, "12.34")],
)
def test_a_limit_is_rounded_down_to_what_can_be_told_apart(highest: float, error: float, words: str) -> None:
    found = WalkAway(
        "kit.amount", "EUR", 7000, 0.8, Estimate(highest, error), 0, 9.5, title="\u201cKit\u201d"
    )
    assert f"\u201cKit\u201d goes beyond €{words}. Up to there" in walk_away_sentence(found, euros)
    assert "what you expect (€9.50)" in walk_away_sentence(found, euros)


STRIP = 'takeoff = { kind = "filler", shape = "strip", length = 12, width = 60, depth = 2'


@pytest.mark.parametrize(
    ("sums", "per"),
    [
        ('quantity = { low = 10, middle = 13, high = 16, unit = "h" }\nprice = 200', " per hour"),
        ('quantity = { value = 2, unit = "months" }\nprice = 200', " per month"),
        ('quantity = { value = 2, unit = "boxes" }\nprice = 200', " per box"),
        ('quantity = { value = 2, unit = "kg" }\nprice = { value = 200, unit = "lb" }', " per lb"),
        ("quantity = 13\nprice = 200", " for one"),
        (
            'takeoff = { kind = "filler", shape = "strip", length = 12, width = 60, depth = 2, pack = 2 }\nprice = 200',
            " per pack",
        ),
        ("quantity = 1\nprice = 200", ""),
        ("amount = 200", ""),
    ],
)
def test_the_price_of_one_of_several_says_what_it_is_for(sums: str, per: str) -> None:
    """A price per hour stood beside the price of the whole line, in the same words."""
    build = parse_build(
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
        f'[[line]]\nid = "refit"\ngroup = "other"\nname = "Reassembly"\n{sums}\n'
    )
    key = "amount" if "amount" in sums else "price"
    said = walk_away_sentence(afford(build, 2600, f"refit.{key}", trials=4096), euros)
    assert f"{per}. Up to there" in said
    assert f"what you expect (€200{per})" in said


SHOP = """
[[line]]
id = "blending"
group = "finish"
package = "paint"
route = "shop"
amount = { low = 120, middle = 370, high = 1000 }
"""


def test_nobody_walks_away_from_what_is_agreed_or_past() -> None:
    """Once the shop was paid for the paint, a price was still told at which to walk away from its blending."""
    build = small(SHOP)
    forecast = simulate(build, "shop", trials=1024)
    assert {"paint_shop.amount", "blending.amount"} <= set(prices_to_ask_for(build, forecast))
    known = Standing(None, {"paint_shop": 2_400_00}, {}, frozenset({"paint_shop"}), {}, {}, None)
    paid = forecast_given(build, "shop", 1024, 1, known)
    left = prices_to_ask_for(build, paid, known)
    assert "kit.amount" in left
    assert not {"paint_shop.amount", "blending.amount"} & set(left)
    said = walk_away_sentence(
        afford(build, 9000, "paint_shop.amount", "shop", trials=1024, known=known), euros
    )
    assert said.endswith("is agreed or paid: there is nothing to walk away from.")
    open_yet = walk_away_sentence(afford(build, 9000, "kit.amount", "shop", trials=1024, known=known), euros)
    assert "agreed or paid" not in open_yet
