"""Which measures pay: closed forms, and every combination against simulations of its own."""

from __future__ import annotations

import re
from itertools import product

import pytest

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.decide.measures import measures_of
from forecast.engine.forecast import simulate
from forecast.engine.known import Agreed, KnownFacts, PartPaid
from forecast.errors import BuildFileError, SimulationError
from forecast.views.cost_words import measure_sentence, measures_sentence
from tests.decide.sample import euros, small

ONE_EVENT = """
[build]
name = "One event"
currency = "EUR"
country = "IE"
[[line]]
id = "kit"
group = "kit"
amount = 2000
[[event]]
id = "damage"
chance = 0.2
cost = 1000
own_hours = 10
"""


def one_event(more: str) -> Build:
    return parse_build(ONE_EVENT + more)


def test_half_the_chance_of_a_known_damage() -> None:
    build = one_event('[[measure]]\nid = "crate"\ncost = 50\nown_hours = 2\nchances = { damage = 0.5 }\n')
    found = measures_of(build).alone[0]
    assert found.cost == 50
    assert found.mean.value == pytest.approx(50 - 100, abs=max(4 * found.mean.error, 0.5))
    assert found.hours == pytest.approx(2 - 1, abs=0.05)
    assert found.p90.value == pytest.approx(50)  # the event still comes in 10 of 100
    assert found.pays
    said = measure_sentence(found, euros)
    assert re.search(r"costs €50 and saves €50 more than that on average: it pays\.", said), (
        said
    )  # as the table has it


def test_impact_factors_and_what_insurance_is_for() -> None:
    build = one_event('[[measure]]\nid = "insurance"\ncost = 250\nimpacts = { damage = 0.1 }\n')
    found = measures_of(build).alone[0]
    assert found.mean.value == pytest.approx(250 - 0.2 * 900, abs=1)
    assert found.p90.value == pytest.approx(250 - 900)
    assert not found.pays
    text = measure_sentence(found, euros)
    assert "€70 more than it saves on average: it does not pay, but it lowers P90 by €650" in text


def test_a_measure_that_does_not_pay_is_said_so() -> None:
    build = one_event('[[measure]]\nid = "charm"\ncost = 80\nchances = { damage = 1 }\n')
    result = measures_of(build)
    found = result.alone[0]
    assert found.mean.value == pytest.approx(80)
    assert (
        measure_sentence(found, euros)
        == "\u201cCharm\u201d costs €80 and saves nothing on average: it does not pay."
    )
    assert result.best_mean.measures == ()
    assert measures_sentence(result, euros) == "None of the measures pays on average."


def test_a_range_drawn_in_around_its_middle() -> None:
    build = parse_build("""
[build]
name = "Range"
currency = "EUR"
country = "IE"
[[line]]
id = "kit"
group = "kit"
amount = { shape = "normal", mean = 1000, sd = 100 }
[[measure]]
id = "quote"
cost = 5
ranges = { "kit.amount" = 0.25 }
figures = { "kit.amount" = 0.9 }
""")
    found = measures_of(build, trials=65_536)
    assert found.alone[0].mean.value == pytest.approx(5 - 100, abs=1)
    none, taken = found.combinations
    assert none.p90 == pytest.approx(1000 + 1.281552 * 100, abs=1)
    assert taken.p90 == pytest.approx(5 + 0.9 * (1000 + 1.281552 * 25), abs=1)


MANY = """
[[measure]]
id = "trial_fit"
cost = { low = 60, middle = 90, high = 200 }
own_hours = 8
chances = { poor_fit = 0.5 }
figures = { "filler.quantity" = 0.8 }
[[measure]]
id = "photos"
cost = 30
chances = { poor_fit = 0.8, transit = 0.7 }
[[measure]]
id = "insurance"
cost = 45
impacts = { transit = 0.1 }
[[measure]]
id = "haggle"
cost = 0
figures = { "kit.amount" = 0.97, "mask.amount" = 0.9 }
[[event]]
id = "transit"
chance = 0.2
cost = { low = 100, middle = 400, high = 1500 }
"""


def by_hand(build: Build, taken: tuple[bool, ...]) -> Build:
    """Write a combination into the build itself; factors on chances, impacts and known figures only."""
    fit, photos, insurance = taken
    chance = {"poor_fit": 0.35 * (0.5 if fit else 1) * (0.8 if photos else 1)}
    chance["transit"] = 0.2 * (0.7 if photos else 1)
    scale = 0.1 if insurance else 1.0
    events = []
    for event in build.event:
        changes: dict[str, object] = {"chance": chance.get(event.id, event.chance)}
        if event.id == "transit":
            assert event.cost is not None
            figure = event.cost
            changes["cost"] = figure.model_copy(
                update={key: getattr(figure, key) * scale for key in ("low", "middle", "high")}
            )
        events.append(event.model_copy(update=changes))
    return build.model_copy(update={"event": tuple(events), "measure": ()})


def test_every_combination_against_simulations_of_its_own() -> None:
    text = MANY.replace('figures = { "filler.quantity" = 0.8 }\n', "").replace(
        "cost = { low = 60, middle = 90, high = 200 }", "cost = 90"
    )
    build = small(text)
    # Own estimating of every size alike: what insurance leaves of an event is a smaller event, which by hand has less.
    build = build.model_copy(update={"build": build.build.model_copy(update={"estimating_size": 0.0})})
    found = {
        item.measures: item
        for item in measures_of(build, "diy", only=["trial_fit", "photos", "insurance"]).combinations
    }
    assert len(found) == 8
    for taken in product((False, True), repeat=3):
        cost = sum(price for price, on in zip((90, 30, 45), taken, strict=True) if on)
        hours = 8 if taken[0] else 0
        alone = simulate(by_hand(build, taken), "diy")
        ids = tuple(id for id, on in zip(("trial_fit", "photos", "insurance"), taken, strict=True) if on)
        assert found[ids].mean == pytest.approx(alone.mean.value + cost)
        assert found[ids].p80 == pytest.approx(alone.percentile(0.8).value + cost)
        assert found[ids].p90 == pytest.approx(alone.percentile(0.9).value + cost)
        assert found[ids].hours == pytest.approx(alone.trials.hours.mean() + hours)


def test_alone_is_the_combination_of_one() -> None:
    result = measures_of(small(MANY), "diy")
    own = simulate(small(MANY), "diy").percentile(0.8).error
    none = result.combinations[0]
    single = {item.measures[0]: item for item in result.combinations if len(item.measures) == 1}
    assert len(result.combinations) == 16
    for item in result.alone:
        assert item.mean.value == pytest.approx(single[item.id].mean - none.mean)
        # The change may be smoothed over neighbouring percentiles; the plain difference is not, and carries more error:
        # a quarter of that of two runs (see test_scenarios.py).
        plain = 0.25 * 2**0.5 * own
        assert abs(item.p80.value - (single[item.id].p80 - none.p80)) <= 4 * max(plain, item.p80.error)
    best = min(result.combinations, key=lambda item: item.mean)
    assert result.best_mean.mean == best.mean
    said = measures_sentence(result, euros)
    assert said.startswith(f"{len(result.best_mean.measures)} of 4 measures ")
    # each one's saving is before its cost; that of all is after, and says so
    taken = [item for item in result.alone if item.id in result.best_mean.measures]
    assert len(taken) > 1
    assert f"together, after what they cost, they save {euros(none.mean - best.mean)} on average" in said
    assert measures_sentence(result, euros).endswith(f"P80 moves by {euros(result.moved_p80.value)}.")
    if len(result.best_mean.measures) == 1:
        assert result.moved_p80 in [item.p80 for item in result.alone]
    plain = small(MANY).model_copy(update={"measure": ()})
    assert none.mean == pytest.approx(simulate(plain, "diy").mean.value)


def test_twelve_measures_make_4096_combinations_and_thirteen_are_refused() -> None:
    twelve = "".join(
        f'[[measure]]\nid = "m{k}"\ncost = {10 + k}\nimpacts = {{ damage = 0.{80 + k} }}\n' for k in range(12)
    )
    found = measures_of(one_event(twelve), trials=256)
    assert len(found.combinations) == 4096
    assert len({item.measures for item in found.combinations}) == 4096
    thirteenth = twelve + '[[measure]]\nid = "m12"\ncost = 1\nimpacts = { damage = 0.5 }\n'
    with pytest.raises(SimulationError, match="8,192 combinations; at most 12"):
        measures_of(one_event(thirteenth), trials=256)


def test_what_a_scenario_lacks_is_told() -> None:
    build = small('[[measure]]\nid = "board"\ncost = 15\nfigures = { "filler.quantity" = 0.8 }\n')
    assert measures_of(build, "diy", 1024).alone[0].without_effect == ()
    assert measures_of(build, "shop", 1024).alone[0].without_effect == ("filler.quantity",)


def test_no_measures() -> None:
    found = measures_of(small(), "diy", 1024)
    assert found.alone == ()
    assert len(found.combinations) == 1
    assert "Add a [[measure]]" in measures_sentence(found, euros)
    with pytest.raises(SimulationError, match="not in the build"):
        measures_of(small(), only=["x"])


LATE = """
[[measure]]
id = "quote"
name = "Ask a third shop for a fixed price in writing"
cost = 10
chances = { poor_fit = 0.9 }
ranges = { "paint_self.amount" = 0.7 }
[[measure]]
id = "inspector"
name = "Ask the inspector before ordering"
cost = 80
chances = { poor_fit = 0.6 }
[[measure]]
id = "panel"
cost = 20
chances = { poor_fit = 0.5 }
figures = { "filler.quantity" = 0.9 }
"""


BEFORE = """
[[measure]]
id = "photos"
name = "Ask for photographs before paying the balance"
cost = 10
chances = { poor_fit = 0.8 }
[[measure]]
id = "panel"
cost = 20
chances = { poor_fit = 0.5 }
before = ["paint_self"]
"""


@pytest.mark.parametrize(
    ("known", "left"),
    [
        (KnownFacts(), {"photos", "panel"}),
        (KnownFacts(part_paid={"kit": PartPaid(900.0, 0.0)}), {"photos", "panel"}),  # the balance is still to pay
        (KnownFacts(amounts={"kit": 2800.0}), {"panel"}),
        (KnownFacts(amounts={"paint_self": 500.0}), {"photos"}),
        (KnownFacts(fixed={"paint_self": 0.0}), {"photos"}),  # closed, and nothing was paid
        (KnownFacts(gates={"poor_fit": True}), set()),  # no chance is left to change
    ],
)  # fmt: skip
def test_what_is_taken_before_something_is_no_measure_once_that_is_done(
    known: KnownFacts, left: set[str]
) -> None:
    """The kit was paid and closed, and photographs before paying its balance still paid."""
    assert {item.id for item in measures_of(small(BEFORE), "diy", 1024, known=known).alone} == left


def test_a_measure_before_what_is_not_there_is_refused() -> None:
    with pytest.raises(BuildFileError, match="no line or consignment 'paint_slef'"):
        small(BEFORE.replace('["paint_self"]', '["paint_slef"]'))


@pytest.mark.parametrize(
    ("known", "left"),
    [
        (KnownFacts(), {"quote", "inspector", "panel"}),
        (KnownFacts(amounts={"paint_self": 500.0}), {"inspector", "panel"}),
        (KnownFacts(agreed={"paint_self": Agreed(500.0, 0.1)}), {"inspector", "panel"}),
        (KnownFacts(part_paid={"kit": PartPaid(900.0, 0.0)}), {"quote", "panel"}),
        (KnownFacts(part_paid={"filler": PartPaid(20.0, 0.0)}), {"quote", "inspector", "panel"}),
        (KnownFacts(amounts={"kit": 2800.0, "filler": 60.0, "paint_self": 500.0}), set()),
    ],
)  # fmt: skip
def test_what_comes_too_late_is_no_measure_any_more(known: KnownFacts, left: set[str]) -> None:
    found = measures_of(small(LATE), "diy", 1024, known=known)
    assert {item.id for item in found.alone} == left
    assert measures_sentence(found, euros).startswith("No measure can be taken") is (not left)
    named = measures_of(small(LATE), "diy", 1024, known=known, only=["quote"])
    assert [item.id for item in named.alone] == ["quote"]
