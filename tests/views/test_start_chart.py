"""The picture of the guided start."""

from __future__ import annotations

import json

import pytest

from forecast import simulate
from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import Forecast
from forecast.start import answers_of, question, read_answer, write_build
from forecast.views.charts.cost_charts import narrowing
from forecast.views.theme import DARK, LIGHT
from forecast.words.money import about


@pytest.fixture(scope="module")
def stages() -> list[tuple[str, Forecast]]:
    told = {"kit_price": read_answer(question("kit_price"), "1800-3200", {}), "wheels_new": False}
    return [
        (name, simulate(parse_build(write_build(answers_of(values))), trials=1024))
        for name, values in (("Nothing known", {}), ("With your answers", told))
    ]


def test_the_title_says_what_answers_did(stages: list[tuple[str, Forecast]]) -> None:
    chart = narrowing(stages)
    (low, high), (less, more) = (
        [about(item.value, "EUR", item.error) for item in forecast.percentile_set((0.1, 0.9))]
        for _, forecast in stages
    )
    title = " ".join(chart.title.text)
    assert title == f"In 80 of 100 builds it costs {less} to {more}; without your answers {low} to {high}"
    assert title in chart.description
    assert (
        f"hold {about(stages[1][1].percentile(0.8).value, 'EUR', stages[1][1].percentile(0.8).error)}"
        in chart.description
    )


@pytest.mark.parametrize("palette", [LIGHT, DARK])
@pytest.mark.parametrize("count", [1, 2])
def test_it_is_a_legal_chart_on_an_axis_from_zero(
    stages: list[tuple[str, Forecast]], palette: object, count: int
) -> None:
    chart = narrowing(stages[-count:], palette)  # type: ignore[arg-type]
    written = json.dumps(chart.to_dict())  # held against the schema
    assert '"domain": [0, ' in written
    assert ("without your answers" in written) == (count == 2)


def test_no_gridline_runs_through_the_figures(stages: list[tuple[str, Forecast]]) -> None:
    layers = narrowing(stages, LIGHT).to_dict()["layer"]
    texts = [one["mark"] for one in layers if one["encoding"].get("text", {}).get("field") == "figures"]
    assert [mark.get("stroke") for mark in texts] == [LIGHT.paper, None]
