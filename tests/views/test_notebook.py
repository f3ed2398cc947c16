"""The face that Python shows: examples in its docstrings run, and what a notebook shows is what the screens say."""

from __future__ import annotations

import copy
import doctest
import pickle
import shutil
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

import forecast
from forecast import Estimate, SimulationError, open_ledger, read_build, reforecast, simulate
from forecast.buildfile.reader import parse_build
from forecast.views.notebook import Forecast
from forecast.views.sentences import hold_sentence

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "scenarios" / "before-ordering-ireland"
HALF_WAY = ROOT / "scenarios" / "half-way-new-zealand"
FUNCTIONS = ("compare", "contingency", "moved", "open_ledger", "reforecast", "simulate")


@pytest.fixture(scope="module")
def found() -> Forecast:
    return simulate(DEMO, "diy", trials=1024)


@pytest.mark.parametrize(
    "name", ["forecast", "forecast.engine.statistics", "forecast.views.notebook", "forecast.buildfile.reader"]
)
def test_examples_say_what_they_give(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    done = doctest.testmod(import_module(name))
    assert done.attempted > 0
    assert done.failed == 0


@pytest.mark.parametrize("name", FUNCTIONS)
def test_each_function_is_reachable_and_has_an_example(name: str) -> None:
    assert name in dir(forecast)
    assert ">>>" in (getattr(forecast, name).__doc__ or "")


def test_a_build_is_named_by_its_folder_its_file_or_itself(found: Forecast) -> None:
    for named in (str(DEMO), DEMO / "build.toml", read_build(DEMO)):
        assert simulate(named, "diy", trials=1024).percentile(0.8) == found.percentile(0.8)


def test_it_is_one_line(found: Forecast) -> None:
    assert repr(found).count("\n") == 0
    assert "P80" in repr(found)


def test_a_notebook_shows_the_sentence_of_the_screens_and_a_curve(found: Forecast) -> None:
    page = ElementTree.fromstring(found._repr_html_())
    assert "".join(page.find("p").itertext()) == hold_sentence(found.engine)  # type: ignore[union-attr]
    line = page.find("svg/polyline")
    assert line is not None
    points = [tuple(map(float, point.split(","))) for point in line.attrib["points"].split()]
    assert all(one[0] <= other[0] and one[1] > other[1] for one, other in pairwise(points))


def test_a_name_with_markup_stays_as_it_was_written() -> None:
    head = '[build]\nname = "<b>x</b>"\ncurrency = "EUR"\ncountry = "IE"\n'
    text = f'{head}[[line]]\nid = "kit"\ngroup = "kit"\namount = 9\n'
    shown = simulate(parse_build(text), trials=16)
    assert "<b>" not in shown._repr_html_()  # one sum alone draws all the same
    ElementTree.fromstring(shown._repr_html_())


def test_lines_add_up_and_name_their_units(found: Forecast) -> None:
    frame = found.lines
    assert frame["Base [EUR]"].sum() == pytest.approx(found.base_estimate)
    assert frame["Mean [EUR]"].sum() == pytest.approx(float(found.mean))
    assert all("[" in name for name in frame.columns if frame[name].dtype == float)
    assert list(frame.index) == [line.id for line in found.engine.lines]


def test_all_that_the_engine_has_is_reachable(found: Forecast) -> None:
    assert found.trials.count == 1024
    assert {"trials", "interval", "weeks", "plot", "percentile"} <= set(dir(found))
    with pytest.raises(AttributeError, match="nothing"):
        _ = found.nothing


def test_it_can_be_copied_and_sent_elsewhere(found: Forecast) -> None:
    assert copy.copy(found).percentile(0.5) == found.percentile(0.5)
    assert pickle.loads(pickle.dumps(found)).percentile(0.5) == found.percentile(0.5)


@pytest.mark.parametrize(
    ("value", "error", "written"),
    [
        (14_291.7, 41.3, "14,292 ± 41"), (0.7512, 0.0034, "0.7512 ± 0.0034"), (1.0, 0.0, "1 ± 0"),
        (0.5, float("nan"), "0.5 ± nan"), (14_291.7, 413.0, "14,292 ± 413"),
    ],
)  # fmt: skip
def test_a_figure_says_its_error(value: float, error: float, written: str) -> None:
    assert repr(Estimate(value, error)) == written == f"{Estimate(value, error)}"


def test_a_figure_compares_as_the_number_it_is() -> None:
    figure = Estimate(3.0, 0.5)
    assert 2 < figure < 4
    assert figure >= 3
    assert figure <= Estimate(3.0, 9)
    assert figure > Estimate(2.9, 9)
    assert np.float64(2) < figure
    assert figure == 3
    assert figure != Estimate(3.0, 0.4)
    assert len({figure, 3.0}) == 1
    assert figure != "3"
    assert float(np.sqrt(float(figure))) == pytest.approx(3**0.5)


def test_receipts_are_found_beside_the_build_that_was_read(tmp_path: Path) -> None:
    shutil.copy(HALF_WAY / "build.toml", tmp_path)
    build = read_build(tmp_path)
    before = sorted(tmp_path.iterdir())
    assert open_ledger(build).list_receipts() == ()
    assert sorted(tmp_path.iterdir()) == before  # looking makes no file
    shutil.copy(HALF_WAY / "receipts.csv", tmp_path)
    assert len(open_ledger(build).list_receipts()) == 25
    assert reforecast(build, trials=256).known.facts is not None
    with pytest.raises(SimulationError, match="made of a text"):
        open_ledger(parse_build((HALF_WAY / "build.toml").read_text(encoding="utf-8")))
