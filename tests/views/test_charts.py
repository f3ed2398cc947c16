"""Charts: their marks agree with the forecast, their descriptions say the finding, and no series is too long."""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import altair as alt
import numpy as np
import pandas as pd
import pytest

from forecast import read_build
from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import Forecast, simulate
from forecast.engine.statistics import Estimate
from forecast.ledger.folder import DEMOS, BuildFolder
from forecast.views.charts import (
    AgainstCheapest,
    contingency_over_time,
    difference_bands,
    difference_strip,
    dots_of_hundred,
    estimate_paid_forecast,
    forecast_band,
    line_bars,
    moved_bars,
    paid_against_budget,
    paid_against_fan,
    s_curve,
)
from forecast.views.charts.frame import MOST_POINTS, Rule, _rows_of, rules, without_title
from forecast.views.charts.line_charts import LineStanding, grouped, row_axis
from forecast.views.charts.watch_charts import LEAST_APART
from forecast.views.theme import DARK, LIGHT
from forecast.watching.history import HistoryPoint
from forecast.watching.reforecast import reforecast
from forecast.words.money import about, as_written, builds, hourly


@pytest.fixture(scope="module")
def forecast() -> Forecast:
    return simulate(read_build(DEMOS / "before-ordering-ireland"), trials=4096)


def rows(chart: Any) -> list[list[dict[str, Any]]]:
    return list(chart.to_dict()["datasets"].values())


def with_key(chart: Any, key: str) -> Iterator[dict[str, Any]]:
    for data in rows(chart):
        yield from (row for row in data if key in row)


def point_on(day: dt.date, paid: float = 0.0, budget: float | None = 4_000) -> HistoryPoint:
    """A day on which the middle figures come to 3,000."""
    left = None if budget is None else budget - 3_000
    return HistoryPoint(
        day,
        2_500,
        3_000,
        3_500,
        4_100,
        3_050,
        paid,
        0.0,
        budget,
        None,
        left,
        500,
        1_100,
        effective=16_384,
        errors=(6, 5, 8, 12),
        half=(2_750, 3_400),
        nearly_all=(2_300, 4_600),
    )


def every_chart(forecast: Forecast) -> list[Any]:
    day = dt.date(2026, 5, 1)
    points = [point_on(day + dt.timedelta(days=k), paid=3.0 * k) for k in range(400)]
    standings = [LineStanding("a", "Filler", "consumables", 60, 55, 55, 55, 55, True)]
    payments = [(day + dt.timedelta(days=k), 10.0) for k in range(400)]
    difference = np.random.default_rng(1).normal(300, 500, 4096)
    return [
        dots_of_hundred(forecast, 13_500), s_curve(forecast, 13_500), line_bars(forecast.lines, "EUR"),
        difference_bands([AgainstCheapest("A shop", difference, Estimate(300, 8), 0.3)], "By oneself", "EUR"),
        paid_against_fan(forecast, 13_500),
        difference_strip(difference, Estimate(300, 8), "one", "other", "EUR"),
        forecast_band(points, 200, "EUR"), contingency_over_time(points, "EUR"),
        paid_against_budget(payments, 5000, "EUR"),
        estimate_paid_forecast(standings, "EUR"), moved_bars(("May", 100), [("kit", 30), ("duty", -10)], "EUR"),
    ]  # fmt: skip


def test_no_line_runs_through_the_words_beside_the_bands() -> None:
    difference = np.random.default_rng(1).normal(9000, 800, 4096)  # far from zero, where the names stand
    way = AgainstCheapest("A shop", difference, Estimate(9000, 12), 0.01)
    spec = difference_bands([way], "By oneself", "EUR").to_dict()
    found = [layer for layer in spec["layer"] if layer["encoding"].get("x", {}).get("datum") == 0.0]
    assert [layer["mark"]["type"] for layer in found] == ["tick"]
    words = [layer["mark"] for layer in spec["layer"] if layer["mark"]["type"] == "text"]
    assert found[0]["mark"]["height"] / 2 <= min(abs(mark["dy"]) - mark["fontSize"] / 2 for mark in words)
    assert "rule" not in {layer["mark"]["type"] for layer in spec["layer"]}


def test_of_many_lines_the_widest_ranges_are_drawn() -> None:
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n' + "".join(
        f'[[line]]\nid = "n{place}"\ngroup = "other"\namount = {{ low = {low}, high = {low + 10 * place} }}\n'
        for place, low in enumerate(range(900, 100, -20), start=1)
    )
    chart = line_bars(simulate(parse_build(text), trials=1024).lines, "EUR")
    assert {row["key"] for row in with_key(chart, "p90")} == {f"n{place}" for place in range(21, 41)}
    assert "The 20 widest of 40; the sheet has all." in " ".join(chart.to_dict()["title"]["subtitle"])


def test_what_is_settled_is_no_range_to_look_at(forecast: Forecast) -> None:
    dearest = max(forecast.lines, key=lambda line: (line.p90 or 0) - (line.p10 or 0))
    event = next(line for line in forecast.lines if line.kind == "event" and line.p90)

    def told(*settled: str) -> tuple[str, str]:
        chart = line_bars(forecast.lines, "EUR", most=99, settled=settled)
        assert chart is not None
        assert not {row["key"] for row in with_key(chart, "p90")} & set(settled)
        return chart.to_dict()["description"], " ".join(chart.to_dict()["title"]["subtitle"])

    assert dearest.title in told()[0]
    assert "left out" not in told()[1]
    assert dearest.kind == "line"
    assert dearest.title not in told(dearest.id)[0]
    assert told(dearest.id)[1].endswith("Closed lines left out.")
    assert told(event.id)[1].endswith("(P50). What cannot happen or counts no more left out.")
    assert line_bars(forecast.lines, "EUR", settled=[line.id for line in forecast.lines]) is None


def test_every_chart_says_a_figure_and_keeps_its_series_short(forecast: Forecast) -> None:
    for chart in every_chart(forecast):
        specification = chart.to_dict()
        assert any(sign.isdigit() for sign in specification["description"])
        assert specification["width"] == "container"
        assert all(len(data) <= MOST_POINTS for data in rows(chart))


def test_no_channel_is_looked_up_by_its_shorthand(
    forecast: Forecast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each look-up hashes all of altair's schemas: 20 ms, on every drawing of a page."""

    def slow(cls: type, found: object, *_: object, **__: object) -> None:
        pytest.fail(f"{found} is not given by its class")

    monkeypatch.setattr(alt.SchemaBase, "from_dict", classmethod(slow))
    assert every_chart(forecast)


def test_each_is_written_as_altair_writes_it(
    forecast: Forecast, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Layers are put together once and tables read by a way of our own; altair's takes three times as long."""
    folder = BuildFolder.at(shutil.copytree(DEMOS / "half-way-new-zealand", tmp_path / "demo"))
    folder.load()
    watch = reforecast(folder.read(), folder.ledger(), trials=4096)

    def written() -> list[str]:
        charts = [*every_chart(forecast), paid_against_fan(watch, 37_000.0)]
        return [json.dumps(chart.to_dict()) for chart in charts]

    ours = written()
    for module in ("cost_charts", "line_charts", "move_charts", "watch_charts", "ways_charts"):
        monkeypatch.setattr(f"forecast.views.charts.{module}.layered", alt.layer)
    with alt.data_transformers.enable("default"):
        assert written() == ours


def test_a_table_with_gaps_days_or_numbers_without_end_is_read_as_altair_reads_it() -> None:
    frame = pd.DataFrame(
        {
            "sum": [1.5, None, float("inf")],
            "count": [1, 2, 3],
            "said": ["a", None, "c"],
            "yes": [True, False, True],
        }
    )
    frame["day"] = pd.to_datetime(["2026-05-01", "2026-05-02", "2026-05-03"])
    for part in (frame, frame[["sum", "count", "yes"]], frame[["said"]], frame[["day", "count"]]):
        assert _rows_of(part) == alt.default_data_transformer(part)


def test_a_title_can_be_taken_off_and_the_chart_keeps_it(forecast: Forecast) -> None:
    chart = dots_of_hundred(forecast)
    assert "title" not in without_title(chart)
    assert chart.to_dict()["title"]["text"]


@pytest.mark.parametrize("budget", [None, 9_000.0, 13_500.0, 40_000.0])
def test_the_open_rings_are_the_builds_beyond_the_limit(forecast: Forecast, budget: float | None) -> None:
    dots = list(with_key(dots_of_hundred(forecast, budget), "beyond"))
    assert len(dots) == 100
    limit = budget if budget is not None else forecast.percentile(0.8).value
    short = 100 * (1 - forecast.chance_within(limit).value)
    assert sum(dot["beyond"] for dot in dots) == round(short)
    places: dict[float, list[float]] = {}
    for dot in dots:
        places.setdefault(dot["total"], []).append(dot["place"])
    for stack in places.values():
        assert sorted(stack) == [place + 0.5 for place in range(len(stack))]


@pytest.mark.parametrize("every", [False, True])
@pytest.mark.parametrize("budget", [None, 9_000.0, 13_500.0, 14_310.0, 40_000.0])
@pytest.mark.parametrize("scenario", ["diy", "outsourced"])
def test_left_of_every_printed_rule_are_as_many_dots_as_the_sentence_says(
    every: bool, budget: float | None, scenario: str
) -> None:
    forecast = simulate(read_build(DEMOS / "before-ordering-ireland"), scenario, trials=4096)
    chart = dots_of_hundred(forecast, budget, every=every)
    dots = list(with_key(chart, "beyond"))
    printed = {rule["label"]: rule["value"] for rule in with_key(chart, "label")}
    assert len(printed) == ((4 if budget is None else 5) if every else 2)
    for label, value in printed.items():
        said = re.match(r"(\d+) of 100", builds(forecast.chance_within(value).value))
        left = sum(dot["total"] < value for dot in dots)
        assert said is None or left == int(said[1]), label
        assert said is not None or left in (0, 100), label


def test_the_curve_goes_through_the_percentiles(forecast: Forecast) -> None:
    curve = {row["share"]: row for row in with_key(s_curve(forecast), "share")}
    for q in (0.1, 0.5, 0.8, 0.9):
        found = forecast.percentile(q)
        assert curve[q]["sum"] == found.value
        assert curve[q]["high"] - curve[q]["low"] == pytest.approx(4 * found.error)


def test_the_steps_begin_at_one_zero_and_add_up() -> None:
    bars = list(
        with_key(moved_bars(("May", 9000), [("kit", 300), ("duty", -120), ("paint", 40)], "EUR"), "kind")
    )
    steps = [bar for bar in bars if bar["kind"] != "whole"]
    assert [bar["to"] for bar in steps] == [300, -120, 40]  # each from the same zero
    assert bars[-1]["to"] == sum(bar["to"] for bar in steps) == 220
    assert [bar["text"] for bar in steps] == ["+€300", "−€120", "+€40"]


def test_the_running_total_takes_refunds_off() -> None:
    day = dt.date(2026, 5, 1)
    chart = paid_against_budget([(day, 100.0), (day + dt.timedelta(days=2), -30.0)], 60.0, "EUR")
    total = [row["money"] for row in with_key(chart, "Paid")]
    assert total[-1] == 70
    assert "€70 paid so far, €10 over the budget" in chart.to_dict()["description"]


def test_the_running_total_tells_no_second_figure_of_what_is_left() -> None:
    chart = paid_against_budget([(dt.date(2026, 5, 1), 100.0)], 3_500.0, "EUR")
    assert "€100 paid so far of the budget of €3,500." in chart.to_dict()["description"]


@pytest.mark.parametrize("days", [1, 2, 14, 15, 400])
def test_each_day_is_one_tick(days: int) -> None:
    """Of a span of few days the charting library makes a tick for every few hours, each written as its day."""
    first = dt.date(2026, 2, 9)
    payments = [(first, 100.0), (first + dt.timedelta(days=days - 1), 50.0)]
    axes = list(axes_of(paid_against_budget(payments, 3_500.0, "EUR").to_dict(), "day"))
    assert axes
    for axis in axes:
        if "values" in axis:  # the day before the first, and each day from then on
            ticks = [dt.date(one["year"], one["month"], one["date"]) for one in axis["values"]]
            assert ticks == [first + dt.timedelta(days=place) for place in range(-1, days)]
        else:
            assert days > 14
            assert axis["tickCount"] == {"expr": f"min(max(2, floor(width / 90)), {days})"}


def axes_of(specification: Any, field: str) -> Iterator[dict[str, Any]]:
    """Give the axes of a chart along which a column runs."""
    if isinstance(specification, dict):
        if specification.get("field") == field and specification.get("axis"):
            yield specification["axis"]
        for inner in specification.values():
            yield from axes_of(inner, field)
    elif isinstance(specification, list):
        for inner in specification:
            yield from axes_of(inner, field)


def test_the_running_total_names_where_the_build_ends() -> None:
    day, ends = dt.date(2026, 5, 1), {"P50": Estimate(3_000.0, 1.0), "P90": Estimate(3_900.0, 1.0)}
    chart = paid_against_budget([(day, 100.0)], 3_500.0, "EUR", ends=ends)
    places = end_label_places(chart)
    assert sorted(places, key=lambda name: places[name]) == ["Paid", "P50", "Budget", "P90"]
    assert "Where it ends: P50 €3,000, P90 €3,900." in chart.to_dict()["description"]
    assert set(end_label_places(paid_against_budget([(day, 100.0)], None, "EUR"))) == {"Paid"}
    done = {"P50": Estimate(3_000.0, 0.0), "P90": Estimate(3_000.0, 0.0)}
    note = " ".join(
        paid_against_budget([(day, 3_000.0)], None, "EUR", ends=done).to_dict()["title"]["subtitle"]
    )
    assert note == "Dotted: where it ended, €3,000."


def test_the_strip_says_how_often_the_second_is_cheaper() -> None:
    difference = np.concatenate([np.full(300, -50.0), np.full(700, 80.0)])
    chart = difference_strip(difference, Estimate(41, 0), "Own work", "The shop", "EUR")
    assert "On average it costs €40 more" in chart.to_dict()["description"]
    assert "The shop is cheaper than Own work in 30 of 100 builds" in chart.to_dict()["description"]
    shares = [row["share"] for row in with_key(chart, "share")]
    assert sum(shares) == pytest.approx(1)
    assert sum(row["share"] for row in with_key(chart, "share") if not row["dearer"]) == pytest.approx(0.3)


def test_no_rule_runs_through_a_label_of_its_side() -> None:
    items = [Rule(value, str(value)) for value in (10, 20, 30, 70, 80, 90)]
    levels = {}
    for layer in rules(items, (0, 100), LIGHT):
        specification = layer.to_dict()
        if specification["mark"]["type"] == "text":
            (data,) = specification["datasets"].values()
            levels[data[0]["value"]] = specification["encoding"]["y"]["value"]
    assert len(set(levels.values())) == 6
    assert levels[10] < levels[20] < levels[30]
    assert levels[90] < levels[80] < levels[70]


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_text_has_the_contrast_that_wcag_asks_for(palette: Any) -> None:
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1; marks 1.4.11: 3 to 1. Luminance as defined there."""

    def luminance(colour: str) -> float:
        parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    def contrast(one: str, other: str) -> float:
        light, dark = sorted((luminance(one), luminance(other)), reverse=True)
        return (light + 0.05) / (dark + 0.05)

    for ink in (palette.ink, palette.muted, palette.over):
        assert contrast(ink, palette.paper) >= 4.5
    assert contrast(palette.accent, palette.paper) >= 3


def test_an_hour_is_rounded_to_the_unit() -> None:
    assert hourly(33.7, "EUR") == "€34"
    assert hourly(3372.0, "JPY") == "¥3,400"
    assert about(33.7, "EUR") == "€30"


def end_label_places(chart: Any) -> dict[str, float]:
    """Give where each name at the end of a line stands, in money."""
    return {row["label"]: row["money"] for row in with_key(chart, "label")}


@pytest.mark.parametrize("budget", [None, 3_000.0, 3_490.0, 3_510.0, 9_000.0])
def test_names_in_the_band_keep_their_order_and_stand_apart(budget: float | None) -> None:
    day = dt.date(2026, 5, 1)
    points = [point_on(day), point_on(day + dt.timedelta(days=20), paid=2_990)]
    chart = forecast_band(points, budget, "EUR")
    places = end_label_places(chart)
    values = {"P90": 4_100, "P80": 3_500, "P50": 3_000, "Paid": 2_990} | (
        {} if budget is None else {"Budget": budget}
    )
    assert places.keys() == values.keys()
    assert sorted(places, key=lambda name: places[name]) == sorted(values, key=lambda name: values[name])
    encoding = chart.to_dict()["layer"][0]["encoding"]
    low, high = encoding["y"]["scale"]["domain"]
    apart = [after - before for before, after in pairwise(sorted(places.values()))]
    assert min(apart) * 300 / (high - low) >= LEAST_APART - 1e-6
    assert low < min(places.values()) < max(places.values()) < high


def test_the_band_over_time_has_three_steps_from_pale_to_dark() -> None:
    day = dt.date(2026, 5, 1)
    specification = forecast_band(
        [point_on(day), point_on(day + dt.timedelta(days=9))], 4_000, "EUR"
    ).to_dict()
    areas = [layer for layer in specification["layer"] if layer["mark"]["type"] == "area"]
    edges = [(area["encoding"]["y"]["field"], area["encoding"]["y2"]["field"]) for area in areas]
    (row, _) = next(data for data in specification["datasets"].values() if "p2" in data[0])
    assert [(row[low], row[high]) for low, high in edges] == [(2_300, 4_600), (2_500, 4_100), (2_750, 3_400)]
    shades = [area["mark"]["opacity"] for area in areas]
    assert shades == sorted(set(shades))  # the widest is drawn first, and is the palest
    low, high = areas[0]["encoding"]["y"]["scale"]["domain"]
    assert low <= 0 < 4_600 < high


def fan_and_bar(chart: Any) -> tuple[dict[str, list[float]], tuple[float, float], list[float]]:
    """Give the spans of bands and bars, by what they say, the ends of the one axis, and the labelled rules."""
    layers = chart.to_dict()["layer"]
    spans = {row["Shown"]: [row["from"], row["to"]] for row in with_key(chart, "Shown")}
    (ends,) = {
        tuple(layer["encoding"]["x"]["scale"]["domain"])
        for layer in layers
        if "scale" in layer["encoding"]["x"]
    }
    return spans, ends, [row["value"] for row in with_key(chart, "value")]


def test_before_anything_is_paid_the_fan_has_the_width_to_itself(forecast: Forecast) -> None:
    spans, ends, _ = fan_and_bar(paid_against_fan(forecast, 13_500))
    widest = next(span for said, span in spans.items() if said.startswith("95 of 100"))
    assert widest[1] - widest[0] > 0.8 * (ends[1] - ends[0])


@pytest.mark.parametrize("budget", [37_000.0, 20_000.0, None])
def test_what_is_paid_and_where_it_ends_stand_on_one_axis_from_nothing(
    tmp_path: Path, budget: float | None
) -> None:
    """Two bars one under the other had an axis each, so that the budget stood in two places."""
    folder = BuildFolder.at(shutil.copytree(DEMOS / "half-way-new-zealand", tmp_path / "demo"))
    folder.load()
    watch = reforecast(folder.read(), folder.ledger(), trials=4096)
    chart = paid_against_fan(watch, budget)
    assert "resolve" not in chart.to_dict()
    spans, ends, ruled = fan_and_bar(chart)
    assert ends[0] == 0
    assert all(0 < value < ends[1] for value in ruled)
    # what is paid is drawn from nothing, what is agreed begins where that ends, each named
    paid = next(span for said, span in spans.items() if said.startswith("Paid"))
    agreed = next(span for said, span in spans.items() if said.startswith("Agreed"))
    assert [*paid, *agreed] == pytest.approx([0, watch.paid, watch.paid, watch.paid + watch.committed])
    named = {row["named"] for row in with_key(chart, "named")}
    assert "Paid" in named
    widest = next(span for said, span in spans.items() if said.startswith("95 of 100"))
    assert widest[0] > agreed[1]
    eight = watch.percentile(0.8)
    rest = as_written(eight.value, "NZD", eight.error) - watch.paid - watch.committed
    assert f"at P80 about {about(rest, 'NZD', eight.error)} more is to come" in " ".join(
        chart.to_dict()["title"]["text"]
    )


def test_of_many_lines_those_that_may_move_most_or_missed_are_drawn() -> None:
    items = [LineStanding(f"a{n}", f"Line {n}", "other", 60, 60, 60, 60, 60, True) for n in range(20)]
    items[3] = LineStanding("far", "Dear", "other", 60, 900, 900, 900, 900, True)
    items[7] = LineStanding("open", "Open", "kit", 60, 0, 10, 60, 700, False)
    chart = estimate_paid_forecast(items, "EUR", most=2)
    assert {row["key"] for row in with_key(chart, "estimate")} == {"far", "open"}
    told = chart.to_dict()["title"]
    subtitle = " ".join(told["subtitle"])
    assert "Drawn: the 1 open that may still move most and the 1 closed that ended farthest" in subtitle
    assert told["text"] == [
        "19 of 20 lines are closed; 1 of them cost more than estimated"
    ]  # of all, not of those drawn
    ended = estimate_paid_forecast(items[:5], "EUR", most=2).to_dict()["title"]["subtitle"]
    assert "Drawn: the 2 closed that ended farthest from their estimate" in " ".join(ended)
    every = estimate_paid_forecast(items[:5], "EUR")
    assert len(list(with_key(every, "estimate"))) == 5
    assert "table" not in " ".join(every.to_dict()["title"]["subtitle"])


def test_what_is_closed_has_half_of_the_picture_however_wide_what_is_open() -> None:
    """One of twenty closed lines was drawn beneath a title that counts them: the open ranges took all the rows."""
    closed = [LineStanding(f"c{n}", f"Done {n}", "kit", 60, 61 + n, *(61 + n,) * 3, True) for n in range(9)]
    wide = [LineStanding(f"o{n}", f"Open {n}", "other", 60, 0, 10, 60, 500 + n, False) for n in range(9)]
    drawn = {
        row["key"] for row in with_key(estimate_paid_forecast([*closed, *wide], "EUR", most=7), "estimate")
    }
    assert drawn == {"c6", "c7", "c8", "o5", "o6", "o7", "o8"}
    few = {
        row["key"]
        for row in with_key(estimate_paid_forecast([*closed[:2], *wide], "EUR", most=7), "estimate")
    }
    assert few == {"c0", "c1", "o4", "o5", "o6", "o7", "o8"}


def test_what_was_never_bought_is_told_apart_from_what_ended_far_from_its_estimate() -> None:
    """At the end the picture was of lines at nothing: they lie farthest from what they were to cost."""
    items = [LineStanding(f"a{n}", f"Line {n}", "other", 60, 70 + n, *(70 + n,) * 3, True) for n in range(4)]
    items += [
        LineStanding(f"b{n}", f"Spare {n}", "other", 900, 0, 0, 0, 0, True, not_bought=True) for n in range(3)
    ]
    chart = estimate_paid_forecast(items, "EUR", most=3)
    assert {row["key"] for row in with_key(chart, "estimate")} == {"a1", "a2", "a3"}
    told = " ".join(chart.to_dict()["title"]["subtitle"])
    assert "Drawn: the 3 closed that ended farthest from their estimate" in told
    assert told.endswith("Left out: 3 lines not needed.")
    assert len(list(with_key(estimate_paid_forecast(items[4:], "EUR"), "estimate"))) == 3


def test_the_band_says_where_p80_stands_against_the_budget() -> None:
    point = point_on(dt.date(2026, 5, 1))
    over = forecast_band([point], 3_300, "EUR").to_dict()["description"]
    assert "P80 is €3,500, €200 over your budget of €3,300" in over
    assert (
        "P80 is €3,500, €500 under your budget of €4,000"
        in forecast_band([point], 4_000, "EUR").to_dict()["description"]
    )
    assert "P80 is €3,500, P50 €3,000" in forecast_band([point], None, "EUR").to_dict()["description"]


def test_the_contingency_is_drawn_from_the_day_of_the_budget() -> None:
    day = dt.date(2026, 5, 1)
    points = [
        point_on(day, budget=None),
        point_on(day + dt.timedelta(days=3)),
        point_on(day + dt.timedelta(days=9)),
    ]
    chart = contingency_over_time(points, "EUR")
    assert (
        "Contingency left went from €1,000 to €1,000; what P80 needs, from €500 to €500"
        in chart.to_dict()["description"]
    )
    assert len(list(with_key(chart, "Needed for P90"))) == 2


def test_events_are_no_lines() -> None:
    items = [
        LineStanding("a", "Filler", "consumables", 60, 70, 70, 70, 70, True),
        LineStanding("b", "Primer", "consumables", 60, 0, 50, 60, 70, False),
        LineStanding("c", "Damage", "events", 0, 70, 70, 70, 70, True),
    ]
    title = estimate_paid_forecast(items, "EUR").to_dict()["title"]["text"]
    assert title == ["1 of 2 lines is closed; 1 of them cost more than estimated"]


def test_a_bill_that_nobody_told_of_is_over_no_estimate() -> None:
    bill = LineStanding("d", "A bill", "other", 0, 70, 70, 70, 70, True, foreseen=False)
    items = [bill, LineStanding("a", "Filler", "consumables", 60, 70, 70, 70, 70, True)]
    title = estimate_paid_forecast(items, "EUR").to_dict()["title"]["text"]
    assert title == ["2 of 2 lines are closed; 1 of them cost more than estimated"]


def test_a_narrow_waterfall_has_more_than_zero_on_its_axis() -> None:
    """At 390 pixels two thirds of the axis are room for figures: two ticks left zero alone."""
    spec = moved_bars(("May", 27_740), [("given up", -9_250)], "EUR").to_dict()
    asked = [axis["tickCount"]["expr"] for axis in axes_of(spec, "to")]
    assert asked
    assert all(expression.startswith("max(3,") for expression in asked)


def test_a_waterfall_without_steps_says_that_nothing_moved() -> None:
    assert "P80 has not moved: €9,000" in moved_bars(("May", 9000), [], "EUR").to_dict()["description"]


def test_a_waterfall_that_ends_where_it_began_says_no_move_of_nothing() -> None:
    told = moved_bars(("May", 9000), [("kit", 30), ("duty", -30)], "EUR").to_dict()["description"]
    assert "P80 is back at €9,000" in told
    assert "moved by" not in told


def test_long_names_go_on_below_and_are_never_cut() -> None:
    """At either width all of a name's words stand there, on lines that have room beside the bars."""
    name = "Four wheels with tyres, fixings, mounting and balancing"
    order, labels = grouped([("wheel_set", name, "wheels")])
    axis = row_axis(order, labels, LIGHT).to_dict()["axis"]
    narrow, wide = (
        json.loads(part) for part in re.findall(r"\((\{.*?\})\)\[datum\.value\]", axis["labelExpr"])
    )
    for told, letters, pixels in ((narrow, 32, 180), (wide, 40, 230)):
        assert " ".join(told["wheel_set"]) == name
        assert all(len(line) <= letters for line in told["wheel_set"])
        assert letters * 5.7 <= pixels + 3
    assert axis["labelExpr"].startswith("width < 420 ? ")


def test_a_name_of_several_lines_has_its_middle_at_its_bar() -> None:
    """Its first line stood at the bar, and the others in the row below, under the next name."""
    named = {"tyre": "Tyres", "wheel_set": "Four wheels with tyres, fixings, mounting and balancing"}
    order, labels = grouped((key, name, "wheels") for key, name in named.items())
    axis = row_axis(order, labels, LIGHT).to_dict()["axis"]
    moved = axis["labelOffset"]["condition"]["expr"]
    for part in re.findall(r"\{.*?\}", moved):
        assert json.loads(part) == {"wheel_set": -axis["labelLineHeight"] / 2}  # two lines at either width
    assert moved.endswith("[datum.value] || 0")
