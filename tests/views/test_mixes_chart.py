"""The picture of all mixes, and where the labels of rules stand."""

from __future__ import annotations

from typing import Any

import pytest

from forecast.decide.mix import Mixes, MixSearch
from forecast.views.charts.frame import MOST_POINTS, Rule, rules
from forecast.views.charts.ways_charts import frontier
from forecast.views.theme import LIGHT
from tests.decide.sample import small


@pytest.fixture(scope="module")
def search() -> MixSearch:
    return MixSearch(small(), trials=2048)


def points(found: Mixes) -> list[list[dict[str, Any]]]:
    data = frontier(found, "EUR").to_dict()["datasets"].values()
    return [rows for rows in data if rows and "P80" in rows[0]]


def test_every_mix_is_a_dot_and_the_cheapest_is_ringed(search: MixSearch) -> None:
    found = search.within()
    drawn = points(found)
    assert max(len(rows) for rows in drawn) <= MOST_POINTS
    dots = {(row["hours"], row["cost"]) for rows in drawn for row in rows}
    assert dots == {(item.hours_p80, item.p80) for item in found.mixes}
    assert [found.cheapest.p80] in [[row["cost"] for row in rows] for rows in drawn]
    chart = frontier(found, "EUR").to_dict()
    assert f"{len(found.frontier)} of them are not beaten in P80, own hours and weeks" in chart["description"]
    assert "need not begin at zero" in " ".join(chart["title"]["subtitle"])


def test_limits_are_drawn_and_the_best_within_them_is_named(search: MixSearch) -> None:
    free = search.within()
    found = search.within(20_000, free.least_work.hours_p80 + 1)
    text = str(frontier(found, "EUR").to_dict()["datasets"])
    assert "your limit €20,000" in text
    assert "'label': 'best'" in text
    assert "'label': 'cheapest'" in str(frontier(search.within(1.0), "EUR").to_dict()["datasets"])


def placed(items: list[Rule]) -> dict[str, tuple[float, str]]:
    """Give level and alignment of each label."""
    found = {}
    for layer in rules(items, (0, 100), LIGHT):
        specification = layer.to_dict()
        if specification["mark"]["type"] == "text":
            (data,) = specification["datasets"].values()
            found[data[0]["label"]] = (
                specification["encoding"]["y"]["value"], specification["mark"]["align"],
            )  # fmt: skip
    return found


@pytest.mark.parametrize("places", [(10, 20, 25, 30), (40, 45, 50, 55), (70, 80, 85, 90), (20, 35, 50, 95)])
def test_no_label_leaves_a_narrow_chart_or_covers_another(places: tuple[int, ...]) -> None:
    names = ["Middle figures €9,240", "P50 €11,180", "Your budget €13,500", "P90 €17,120"]
    found = placed([Rule(value, name) for value, name in zip(places, names, strict=True)])
    assert len({level for level, _ in found.values()}) == 4
    for value, name in zip(places, names, strict=True):
        level, align = found[name]
        width = 100 * 6 * len(name) / 330  # six pixels a letter on a chart of 330
        left, right = (value, value + width) if align == "left" else (value - width, value)
        assert left > -5
        assert right < 105
        for other, rule in zip(places, names, strict=True):  # a rule begins at its own label's level
            crossed = left < other < right and found[rule][0] < level
            assert not crossed, f"{rule} runs through {name}"
