"""What is taken from trials of a plan that differs little is what would be worked out anew, to the last bit."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from forecast.buildfile.reader import parse_build, read_build
from forecast.engine.forecast import Forecast, simulate
from forecast.engine.known import KnownFacts
from forecast.engine.plan import compile_plan
from forecast.engine.trials import in_common
from forecast.start import create_build, read_answers

N = 4096
SCENARIOS = Path(__file__).parents[2] / "scenarios"
DEMOS = sorted(path.parent.name for path in SCENARIOS.glob("*/build.toml"))


def same(one: Forecast, other: Forecast) -> None:
    for name in ("totals", "hours", "waits", "rows", "gates"):
        assert np.array_equal(getattr(one.trials, name), getattr(other.trials, name)), name
    for name in ("weight", "first", "with_total", "total", "total_squared"):
        assert np.array_equal(getattr(one.trials.moments, name), getattr(other.trials.moments, name)), name
    assert one.percentile(0.8) == other.percentile(0.8)


def every_number_once(text: str) -> list[str]:
    """Give the file with each of its highs raised in turn."""
    found = []
    for match in re.finditer(r"high = ([0-9.]+)", text):
        found.append(f"{text[: match.start(1)]}{1.3 * float(match[1]):g}{text[match.end(1) :]}")
    return found


@pytest.mark.parametrize("demo", DEMOS)
def test_after_any_edit_of_a_range_the_trials_are_the_same_to_the_bit(demo: str) -> None:
    text = (SCENARIOS / demo / "build.toml").read_text("utf-8")
    was = simulate(parse_build(text), trials=N, keep="rows")
    edited = every_number_once(text)
    assert len(edited) > 20
    taken = []
    for new in edited[:: max(1, len(edited) // 12)]:
        build = parse_build(new)
        same(simulate(build, trials=N, keep="rows", like=was), simulate(build, trials=N, keep="rows"))
        plan, trials = compile_plan(build), was.trials
        found = in_common(plan, trials, trials.seed, trials.numbers, trials.count)
        assert found is not None
        taken.append(len(found.rows) / len(plan.rows))
    assert np.median(taken) > 0.75  # dues, fees and what is a share of others follow


def first_cause(text: str) -> str:
    return re.findall(r'id = "([a-z_]+)"', text.split("[[cause]]", 1)[1])[0]


OTHERWISE = {
    "a line less": lambda text: re.sub(r"\[\[line\]\]\nid = \"[a-z_]+\"\n(?:(?!\[).*\n)*", "", text, count=1),
    "an event more": lambda text: (
        text + '\n[[event]]\nid = "more"\nchance = 0.3\ncost = { low = 90, high = 400 }\n'
    ),
    "an event before the others": lambda text: text.replace(
        "[[event]]", '[[event]]\nid = "first"\nchance = 0.3\ncost = { low = 90, high = 400 }\n\n[[event]]', 1
    ),
    "another chance": lambda text: re.sub(r"chance = 0\.[0-9]+", "chance = 0.41", text, count=1),
    "needed in any case": lambda text: re.sub(
        r"(\[\[line\]\]\n(?:(?!\[).*\n)*?)chance = [0-9.]+\n", r"\1", text, count=1
    ),
    "a cause by another name": lambda text: re.sub(rf"\b{first_cause(text)}\b", "another_cause", text),
    "own estimating off": lambda text: text.replace("[build]\n", "[build]\nestimating = 0\n", 1),
    "nothing": lambda text: text,
}


@pytest.mark.parametrize("how", OTHERWISE)
@pytest.mark.parametrize("demo", DEMOS)
def test_after_any_other_edit_too(demo: str, how: str) -> None:
    text = (SCENARIOS / demo / "build.toml").read_text("utf-8")
    if how == "own estimating off" and re.search(r"^estimating", text, re.MULTILINE):
        text = re.sub(r"^estimating.*\n", "", text, flags=re.MULTILINE)
    try:
        build = parse_build(OTHERWISE[how](text))
    except Exception:  # the line that went is named by another: take the build with another name instead
        build = parse_build(text.replace('name = "', 'name = "Another ', 1))
    was = simulate(parse_build(text), trials=N, keep="rows")
    same(simulate(build, trials=N, keep="rows", like=was), simulate(build, trials=N, keep="rows"))


def test_one_way_is_like_another_as_far_as_they_share_lines(tmp_path: Path) -> None:
    create_build(tmp_path / "nl", read_answers({"country": "NL", "origin": "GB"}))
    build = read_build(tmp_path / "nl")
    one, other = list(build.scenario)[:2]
    was = simulate(build, one, trials=N, keep="rows")
    same(
        simulate(build, other, trials=N, keep="rows", like=was), simulate(build, other, trials=N, keep="rows")
    )


def test_other_draws_are_not_taken() -> None:
    build = read_build(SCENARIOS / DEMOS[0])
    was = simulate(build, trials=N, keep="rows")
    plan = compile_plan(build)
    numbers, count = was.trials.numbers, was.trials.count
    assert in_common(plan, was.trials, was.trials.seed, numbers, count) is not None
    assert in_common(plan, was.trials, was.trials.seed + 1, numbers, count) is None
    assert in_common(plan, was.trials, was.trials.seed, numbers, 2 * count) is None
    totals = simulate(build, trials=N, keep="totals").trials
    assert in_common(plan, totals, totals.seed, totals.numbers, totals.count) is None
    line = plan.payable[0].id
    known = simulate(build, trials=N, keep="rows", known=KnownFacts(fixed={line: 7.0}))
    assert in_common(plan, known.trials, was.trials.seed, numbers, count) is None
    # and what is known now is worked out anew
    facts = KnownFacts(fixed={line: 7.0})
    same(
        simulate(build, trials=N, keep="rows", known=facts, like=was),
        simulate(build, trials=N, keep="rows", known=facts),
    )
