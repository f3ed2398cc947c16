"""What to hold, half-way: the sum counts what is paid, and says how much of it, and what is still to find."""

from __future__ import annotations

from functools import partial

import pytest

from forecast.buildfile.reader import parse_build
from forecast.decide.contingency import contingency
from forecast.engine.forecast import simulate
from forecast.engine.statistics import Estimate
from forecast.views.contingency_words import contingency_sentence
from forecast.views.sentences import hold_sentence, hold_words, narrow_line
from forecast.watching.known_facts import forecast_given
from forecast.watching.standing import Standing
from forecast.words.money import about

euros = partial(about, currency="EUR")
BUILD = parse_build(
    """
[build]
name = "Half-way"
currency = "EUR"
country = "IE"
[[line]]
id = "kit"
group = "kit"
amount = { low = 5000, middle = 6000, high = 7500 }
[[line]]
id = "wheels"
group = "wheels"
amount = { low = 900, middle = 1200, high = 2000 }
[[line]]
id = "paint"
group = "finish"
amount = { low = 3000, middle = 4000, high = 6000 }
"""
)


def paid(minor: int) -> Standing:
    return Standing(None, {"kit": minor}, {}, frozenset({"kit"}), {}, {}, None)


def test_what_is_paid_and_what_is_still_to_find_make_up_what_to_hold() -> None:
    held = Estimate(14_293.0, 22.0)
    assert hold_words(held, 0.8, paid(6_100_00), "EUR") == (
        "Hold €14,290, of which €6,100 is paid: €8,190 still to find. "
        "In 80 of 100 builds (P80) the whole costs no more."
    )
    assert "of which €6,100.50 is paid: **€8,190** still" in hold_words(
        held, 0.8, paid(6_100_50), "EUR", "**"
    )
    yen = hold_words(Estimate(1_429_300.0, 10.0), 0.9, paid(610_000), "JPY")  # without a minor unit
    assert yen.startswith("Hold ¥1,429,000, of which ¥610,000 is paid: ¥819,000 still to find. In 90 of 100")


@pytest.mark.parametrize("minor", [0, -200_00, 14_290_00, 15_000_00])
def test_where_nothing_is_paid_or_nothing_is_to_find_it_says_what_it_said(minor: int) -> None:
    """What was sold may be more than what was paid, and what was paid more than what is held."""
    plain = hold_words(Estimate(14_293.0, 22.0), 0.8, None, "EUR")
    assert plain == "Hold €14,290: in 80 of 100 builds (P80) it costs no more."
    assert hold_words(Estimate(14_293.0, 22.0), 0.8, paid(minor), "EUR") == plain


def test_every_sentence_on_what_to_hold_says_it() -> None:
    known = paid(6_100_00)
    forecast = forecast_given(BUILD, None, 4096, known=known)
    held = forecast.percentile(0.8)
    told = hold_words(held, 0.8, known, "EUR")
    assert "of which €6,100 is paid" in told
    assert hold_sentence(forecast, known=known).startswith(told)
    assert contingency_sentence(contingency(forecast), euros, known).startswith(told)
    narrow = narrow_line(forecast, known)
    assert narrow is not None
    assert narrow.text.endswith("still to find.")
    assert hold_sentence(simulate(BUILD, trials=4096)).startswith("Hold ")
    assert "still to find" not in hold_sentence(simulate(BUILD, trials=4096))
