"""The same trials as a plain run, under any facts and in any order of asking."""

from __future__ import annotations

import numpy as np
import pytest

from forecast.buildfile.reader import parse_build
from forecast.decide.again import draws_behind
from forecast.engine.facts import Prior, prepare
from forecast.engine.forecast import forecast_plan
from forecast.engine.known import Agreed, KnownFacts, PartPaid
from forecast.engine.plan import compile_plan
from forecast.engine.replay import Replay
from forecast.engine.trials import run
from forecast.figures.evaluate import evaluate
from forecast.watching.reasons import learned_causes
from tests.references.portfolios import PORTFOLIOS, RECEIPT_UPDATE, build_of

PLAN = compile_plan(
    parse_build("""\
[build]
name = "x"
currency = "EUR"
country = "IE"
[[cause]]
id = "fit"
[[cause]]
id = "ships"
[[line]]
id = "kit"
group = "kit"
amount = { low = 80, middle = 100, high = 150, causes = { fit = "strong" } }
[[line]]
id = "fee"
group = "import"
percent = 10
of = ["kit", "freight"]
[[line]]
id = "freight"
group = "freight"
amount = { low = 30, middle = 40, high = 80, causes = { ships = "strong" } }
[[line]]
id = "filler"
group = "consumables"
quantity = { low = 3, middle = 5, high = 9, causes = { fit = "strong" } }
price = { low = 9, middle = 12, high = 16 }
own_hours = { low = 3, middle = 5, high = 9 }
[[line]]
id = "maybe"
group = "other"
chance = 0.5
amount = { low = 10, middle = 20, high = 40 }
[[event]]
id = "damage"
chance = 0.2
causes = { ships = "moderate" }
cost = { low = 20, middle = 50, high = 100 }
""")
)
FACTS = {
    "nothing": KnownFacts(),
    "one amount": KnownFacts(amounts={"kit": 140.0}),
    "a computed amount": KnownFacts(amounts={"kit": 140.0, "filler": 90.0, "fee": 21.0}),
    "paid in part": KnownFacts(part_paid={"freight": PartPaid(60.0, 0.9), "maybe": PartPaid(5.0, 0.0)}),
    "paid in part, of several figures": KnownFacts(
        amounts={"kit": 90.0}, part_paid={"filler": PartPaid(60.0, 0.6)}
    ),
    "agreed": KnownFacts(agreed={"kit": Agreed(120.0, 0.1), "filler": Agreed(70.0, 0.4)}),
    "gates": KnownFacts(gates={"damage": True, "maybe": False}),
    "given up": KnownFacts(fixed={"filler": 0.0, "filler.own_hours": 0.0}),
    "an event that cost": KnownFacts(amounts={"damage": 80.0}, part_paid={"freight": PartPaid(45.0, 0.0)}),
    "all at once": KnownFacts(
        amounts={"kit": 140.0},
        part_paid={"freight": PartPaid(45.0, 0.9)},
        agreed={"filler": Agreed(70.0, 0.4)},
        gates={"damage": True},
    ),
}


@pytest.mark.parametrize("order", [list(FACTS), list(reversed(FACTS))])
def test_a_replay_gives_the_trials_of_a_run(order: list[str]) -> None:
    replay = Replay(PLAN, 2048, 7)
    for name in order:
        outcome = replay.run(replay.conditions(FACTS[name]))
        plain = run(PLAN, 2048, 7, known=FACTS[name], keep="totals")
        np.testing.assert_array_equal(outcome.totals, plain.totals[: replay.count])
        if plain.weights is None:
            assert outcome.weights is None
        else:
            assert outcome.weights is not None
            np.testing.assert_allclose(outcome.weights, plain.weights[: replay.count], rtol=1e-9)
            assert plain.count > replay.count or outcome.effective == pytest.approx(plain.effective)


@pytest.mark.parametrize("kept", [0, 3 * 2 * 16_384])
def test_what_a_large_build_does_not_keep_is_drawn_again_alike(
    monkeypatch: pytest.MonkeyPatch, kept: int
) -> None:
    monkeypatch.setattr("forecast.engine.replay._KEPT", kept)
    replay = Replay(PLAN, 16_384, 7)
    for name in ("all at once", "paid in part, of several figures"):
        outcome = replay.run(replay.conditions(FACTS[name]))
        plain = run(PLAN, 16_384, 7, known=FACTS[name], keep="totals")
        np.testing.assert_array_equal(outcome.totals, plain.totals)
    assert len(replay._strata) == kept // (2 * 16_384)


def test_a_row_paid_in_part_comes_to_what_it_would_with_all_of_it_drawn() -> None:
    """What it reads is drawn where more of it is to come alone."""
    known = KnownFacts(
        amounts={"kit": 90.0},
        part_paid={"filler": PartPaid(60.0, 0.6), "fee": PartPaid(9.0, 0.5), "maybe": PartPaid(15.0, 0.7)},
    )
    trials = run(PLAN, 2048, 7, known=known)
    world = draws_behind(forecast_plan(PLAN, 2048, 7, known=known)).world
    inputs = {item.id: world.figure(item) for item in PLAN.inputs}
    lines = {row.id: trials.row(row.id) for row in PLAN.rows}
    for row in PLAN.rows:
        if row.id in known.part_paid:
            drawn = np.broadcast_to(evaluate(row.formula, inputs, lines), trials.totals.shape)
            settled = world.settle(row, drawn, changed=False)
            np.testing.assert_array_equal(settled, trials.row(row.id))
            by_its_amounts = world.settle(row, drawn)  # to the score and back along a table
            np.testing.assert_allclose(by_its_amounts, trials.row(row.id), rtol=2e-3)
    unfinished = [float(np.mean(trials.row(name) != paid.paid)) for name, paid in known.part_paid.items()]
    assert sum(0.05 < share < 0.95 for share in unfinished) >= 2


def test_facts_asked_for_again_are_not_run_again_and_only_a_few_are_kept(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    replay, runs = Replay(PLAN, 2048, 7), []
    real = Replay.run
    monkeypatch.setattr(Replay, "run", lambda self, given: runs.append(given) or real(self, given))
    for name in FACTS:
        conditions, outcome = replay.under(FACTS[name])
        again = replay.under(KnownFacts(**vars(FACTS[name])))  # the same facts, not the same object
        assert again == (conditions, outcome)
        assert np.array_equal(outcome.totals, real(replay, conditions).totals)
    assert len(runs) == len(FACTS) > 5
    replay.under(next(iter(FACTS.values())))
    assert len(runs) == len(FACTS) + 1  # it had to give way


def test_weights_of_other_facts_can_be_kept() -> None:
    replay = Replay(PLAN, 2048, 7)
    before = replay.run(replay.conditions(FACTS["gates"]))
    held = replay.run(replay.conditions(FACTS["paid in part"]), before.weights, reweigh=False)
    assert held.weights is before.weights


def test_what_is_given_up_says_nothing_about_causes() -> None:
    assert prepare(PLAN, FACTS["given up"], 1).posterior is None
    assert prepare(PLAN, KnownFacts(amounts={"kit": 40.0}, fixed={"freight": 0.0}), 1).posterior is not None
    assert learned_causes(PLAN, FACTS["given up"], 1) == ()


def test_one_prior_serves_many_sets_of_facts() -> None:
    prior = Prior(PLAN, 3)
    for known in (
        FACTS["a computed amount"],
        KnownFacts(amounts={"filler": 55.0}),
        FACTS["a computed amount"],
    ):
        again, fresh = prepare(PLAN, known, 3, prior), prepare(PLAN, known, 3)
        assert again.posterior is not None
        assert fresh.posterior is not None
        np.testing.assert_array_equal(again.posterior.mean, fresh.posterior.mean)


def test_posterior_of_the_one_cause_against_its_closed_form() -> None:
    """Portfolio A, two receipts: mean √ρ Σy / (1 + (k − 1) ρ), variance (1 − ρ) / (1 + (k − 1) ρ)."""
    plan = compile_plan(build_of(PORTFOLIOS["A"]["items"], 0.3))
    [cause] = learned_causes(plan, KnownFacts(amounts={"i0": 4200.0, "i1": 1100.0}), 1)
    assert cause.mean == pytest.approx(RECEIPT_UPDATE["factor_posterior_mean"], abs=2e-6)
    assert cause.sd**2 == pytest.approx(RECEIPT_UPDATE["factor_posterior_variance"], abs=1e-6)
    assert cause.taught_by[0][0] == "i0"


def test_what_taught_a_cause_adds_up_to_what_was_learned() -> None:
    known = KnownFacts(amounts={"kit": 140.0, "freight": 35.0, "filler": 90.0})
    for cause in learned_causes(PLAN, known, 1):
        assert sum(move for _, move in cause.taught_by) == pytest.approx(cause.mean, abs=1e-12)
        assert 0 < cause.sd < 1
