"""Why half of builds cost more than the sum of middle figures: said where it matters, by what really makes it."""

from __future__ import annotations

import re

import pytest

from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import simulate
from forecast.views.sentences import above_middles, hold_sentence
from forecast.words.money import as_written

HEAD = '[build]\nname = "Middles"\ncurrency = "EUR"\ncountry = "IE"\nestimating = 0\n'
LINE = '[[line]]\nid = "line{}"\ngroup = "hardware"\namount = {}\n'
EVENT = '[[event]]\nid = "event{}"\nchance = 0.6\ncost = {{ low = 100, middle = 150, high = 200 }}\n'

EVEN, SKEWED = "{ low = 80, middle = 100, high = 125 }", "{ low = 80, middle = 100, high = 500 }"
RANGES = "as ranges reach further up than down"
COME = "as some of what is left out comes"


def build(amount: str, lines: int, events: int) -> str:
    return (
        HEAD
        + "".join(LINE.format(number, amount) for number in range(lines))
        + "".join(EVENT.format(number) for number in range(events))
    )


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (build(EVEN, 10, 0), None),
        (build(EVEN, 20, 1), None),  # 2,000 and 0.6 times 150: half of builds cost less than a tenth more
        (build(EVEN, 10, 6), COME),
        (build(SKEWED, 10, 0), RANGES),
        (build(SKEWED, 10, 1), RANGES),
        (build(SKEWED, 10, 9), f"{RANGES} and some of what is left out comes"),
        (build(SKEWED, 5, 9), f"{COME} and ranges reach further up than down"),
    ],
)
def test_it_is_said_why_p50_is_above_the_sum_of_middles(text: str, why: str | None) -> None:
    found = simulate(parse_build(text), trials=4096)
    first, said = hold_sentence(found), above_middles(found)
    assert len(first.split()) <= 35
    assert first.endswith("builds.")
    assert ("leaves out what may or may not happen" in said) == bool(found.trials.gates.size)
    assert (
        ("Half of builds" in said)
        == (why is not None)
        == (found.percentile(0.5).value > 1.1 * found.base_estimate)
    )
    if why is not None:
        named, _, reason = said.partition("Half of builds")
        reason, _, amount = reason.partition(" All that may or may not happen makes ")
        assert reason.endswith(f"(P50), {why}.")
        assert len(reason.split()) <= 22
        assert bool(amount) == ("left out" in why)
        if amount:  # two names alone had to answer for all of it
            part, between = (float(one.replace(",", "")) for one in re.findall(r"€([\d,]+)", amount))
            assert between == as_written(found.percentile(0.5).value, "EUR") - as_written(
                found.base_estimate, "EUR"
            )
            events = sum(line.id.startswith("event") for line in found.lines)
            # of the builds about the middle one about six in ten of the events came, at 150 each
            assert part == pytest.approx(0.6 * 150 * events, rel=0.2)
            assert amount.endswith(" between.")
        # of what may not come those two are named that add most to the mean
        maybe = sorted((line for line in found.lines if line.kind == "event"), key=lambda line: -line.mean)
        titles = [f"“{line.title}”" for line in maybe[:2]]
        leaves = "Adding up the middle figures leaves out what may or may not happen. " if maybe else ""
        assert named == (
            f"{leaves}The dearest of that: {' and '.join(titles)}. " if "left out" in why else leaves
        )
