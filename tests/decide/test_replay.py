"""Draws had again are the ones that the trials came from, and a replay is the simulation of the changed build."""

from __future__ import annotations

import numpy as np
import pytest

from forecast.buildfile.choosing import with_figure
from forecast.decide.again import Change, draws_behind, replay_build, replay_of, with_open_figures
from forecast.decide.figure_words import figure_phrase, figure_words
from forecast.engine.forecast import simulate
from forecast.engine.known import Agreed, KnownFacts, PartPaid
from forecast.errors import SimulationError
from forecast.figures.kinds import Known
from tests.decide.sample import small

FACTS = [
    None,
    KnownFacts(amounts={"kit": 3000.0}, gates={"give_up": False}),
    KnownFacts(part_paid={"paint_self": PartPaid(600.0, 0.6)}, amounts={"filler": 90.0}),
    KnownFacts(
        part_paid={"kit": PartPaid(1500.0, 0.0)},
        agreed={"filler": Agreed(90.0, 0.4)},
        gates={"poor_fit": True},
    ),
]


@pytest.mark.parametrize("known", FACTS)
def test_rows_from_draws_had_again_are_the_trials_own(known: KnownFacts | None) -> None:
    forecast = simulate(small(), "diy", 4096, known=known)
    replay = replay_of(forecast)
    rows = forecast.trials.rows
    assert rows is not None
    figures = {item.id: replay.figure(item.id) for item in forecast.plan.inputs}
    gates = {gate.id: replay.draws.opens(gate) for gate in forecast.plan.gates}
    for place, gate in enumerate(forecast.plan.gates):
        np.testing.assert_array_equal(gates[gate.id], forecast.trials.gates[place])
    again = replay.rows(Change(figures=figures, gates=gates))
    assert len(again) >= 11  # all rows that anything uncertain enters, but lines of a known amount
    for place, values in again.items():
        np.testing.assert_allclose(values, rows[place], rtol=1e-10, atol=1e-9)


def test_draws_of_a_run_until_stable() -> None:
    forecast = simulate(small(), "diy", "until stable", tolerance=60, keep="rows")
    draws = draws_behind(forecast)
    item = next(item for item in forecast.plan.inputs if item.id == "kit.amount")
    np.testing.assert_allclose(draws.figure(item), forecast.trials.row("kit"), rtol=1e-12)


def test_a_smaller_chance_happens_in_a_subset() -> None:
    forecast = simulate(small(), "diy")
    draws = draws_behind(forecast)
    gate = next(gate for gate in forecast.plan.gates if gate.id == "poor_fit")
    whole, half = draws.opens(gate), draws.opens(gate, 0.175)
    assert not (half & ~whole).any()
    assert half.mean() == pytest.approx(0.175, abs=0.01)
    assert not draws.opens(gate, 0.0).any()
    assert draws.opens(gate, 1.0).all()


def test_a_replay_is_the_simulation_of_the_changed_build() -> None:
    build = small()
    replay = replay_build(build, ["mask.amount", "kit.amount"], "diy", 4096)
    outcome = replay.run(Change(figures={"mask.amount": 100.0, "kit.amount": 5000.0}))
    changed = build
    for name, value in (("mask.amount", 100.0), ("kit.amount", 5000.0)):
        new = with_figure(changed, name, lambda _, value=value: Known(value=value))
        assert new is not None
        changed = new
    np.testing.assert_allclose(outcome.totals, simulate(changed, "diy", 4096).trials.totals, rtol=1e-12)


def test_opening_a_known_figure_changes_nothing() -> None:
    build = small()
    opened = with_open_figures(build, ["mask.amount", "kit.amount", "nothing.amount"])
    np.testing.assert_array_equal(
        simulate(opened, "diy", 4096).trials.totals, simulate(build, "diy", 4096).trials.totals
    )


def test_rows_must_be_kept() -> None:
    replay = replay_of(simulate(small(), "diy", 1024, keep="totals"))
    with pytest.raises(SimulationError, match="rows were not kept"):
        replay.run(Change(factors={"kit": 0.0}))


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("kit.amount", "kit"),
        ("poor_fit.cost", "poor fit, cost if it happens"),
        ("fx.JPY.rate", "JPY rate"),
        ("fx.JPY.60d", "JPY rate until payment"),
        ("kit.panels.price", "kit, panels, price"),
        ("kit.overrides.duty.8708.29", "kit, rate of duty on other body parts (8708.29)"),
        ("kit.overrides.sales_tax", "kit, sales tax"),
        ("kit.overrides.section232.total.JP", "kit, duty in all on goods made in Japan, section232"),
        ("kit.returned.dues_back", "kit, sent back, share of duty and tax that comes back"),
    ],
)
def test_figures_in_words(name: str, words: str) -> None:
    assert figure_words(name) == words


@pytest.mark.parametrize(
    ("name", "phrase"),
    [
        ("kit.amount", "\u201cThe kit\u201d"),
        ("kit.price", "the price of \u201cThe kit\u201d"),
        ("poor_fit.cost", "what \u201cpoor fit\u201d costs if it happens"),
        ("poor_fit", "\u201cpoor fit\u201d"),
        ("fx.JPY.rate", "the JPY rate"),
        ("kit.panels.price", "the price of \u201cThe kit, panels\u201d"),
        (
            "kit.overrides.duty.8708.29",
            "the rate of duty on other body parts (8708.29) of \u201cThe kit\u201d",
        ),
        ("kit.overrides.duty.9999", "the rate of duty on 9999 of \u201cThe kit\u201d"),
        ("kit.overrides.vat", "the VAT of \u201cThe kit\u201d"),
    ],
)
def test_figures_in_a_sentence(name: str, phrase: str) -> None:
    assert figure_phrase(name, {"kit": "The kit"}) == phrase
