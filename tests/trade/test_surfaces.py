"""A surface is measured once: every line that works on it gets the same draw, and it is drawn by its id alone."""

from __future__ import annotations

import math

import numpy as np
import pytest

from forecast.buildfile.changes import SetKey
from forecast.buildfile.edit import changed
from forecast.buildfile.places_of_figures import place_at
from forecast.buildfile.reader import parse_build
from forecast.decide.figure_words import figure_phrase, titles_in_figures
from forecast.decide.firm_up import how_to_know
from forecast.engine.forecast import simulate
from forecast.engine.plan import compile_plan
from forecast.engine.trials import run
from forecast.errors import BuildFileError
from forecast.figures.shapes import Array
from forecast.ledger.folder import DEMOS
from forecast.missing.left_out import findings
from forecast.views.opening_words import open_line

HEAD = """
[build]
name = "Boxy wagon"
currency = "USD"
country = "US"
estimating = 0
"""
SIGMA, PRICE_SIGMA = 0.35, 0.2
AREA = f'{{ shape = "lognormal", median = 2, sigma = {SIGMA} }}'
EDGE = f'[[surface]]\nid = "hood_edge"\narea = {AREA}\n'
PRICE = f'{{ shape = "lognormal", median = 10, sigma = {PRICE_SIGMA} }}'
WORK = {
    "primer": 'kind = "paint", paint = "filler-primer", coats = 1, coverage = 8',
    "paint": 'kind = "paint", paint = "base", coats = 1, coverage = 8',
    "clear": 'kind = "paint", paint = "clear", coats = 1, coverage = 8',
    "mask": 'kind = "masking", edges = 4, rounds = 1, waste = 0',
}
N = 16_384


def lines(size: str, price: str = "10") -> str:
    return "".join(
        f'[[line]]\nid = "{id}"\ngroup = "finish"\ntakeoff = {{ {table}, {size} }}\nprice = {price}\n'
        for id, table in WORK.items()
    )


SHARED = 'surfaces = ["hood_edge"]'


def test_what_shares_a_surface_correlates_as_the_closed_form_says() -> None:
    # log(area × price): the area is in both, the prices are each its own. Eight seeds, so that none is picked.
    expected = SIGMA**2 / (SIGMA**2 + PRICE_SIGMA**2)
    found, apart = (
        together(HEAD + text) for text in (EDGE + lines(SHARED, PRICE), lines(f"area = {AREA}", PRICE))
    )
    assert found == pytest.approx(expected, abs=4 * (1 - expected**2) / math.sqrt(8 * N))
    assert apart == pytest.approx(0, abs=4 / math.sqrt(8 * N))


def together(text: str) -> Array:
    """Give how the logarithms of every two lines correlate, over eight seeds."""
    plan = compile_plan(parse_build(text))
    every = [run(plan, N, seed=seed) for seed in range(1, 9)]
    found = [np.corrcoef(np.log([trials.row(id) for id in WORK])) for trials in every]
    mean: Array = np.mean(found, axis=0)[np.triu_indices(len(WORK), 1)]
    return mean


def spread(text: str) -> float:
    """Give the standard deviation of what three paints of a like price come to, with a quarter of own estimating."""
    trials = simulate(
        parse_build(text.replace("estimating = 0", "estimating = 0.25\nestimating_size = 0")), trials=N
    ).trials
    return float(np.std(sum(trials.row(id) for id in ("primer", "paint", "clear"))))


def test_drawn_anew_in_every_line_the_spread_is_too_small_by_what_the_closed_form_says() -> None:
    # n lognormals of one σ, their logs correlating at r: the variance is n (e^σ² − 1) + n (n − 1) (e^rσ² − 1), not
    # n² (e^σ² − 1).
    count, square = 3, SIGMA**2
    whole = math.expm1(square)
    expected = math.sqrt(
        (count * whole + count * (count - 1) * math.expm1(0.25 * square)) / (count**2 * whole)
    )
    found = spread(HEAD + lines(f"area = {AREA}")) / spread(HEAD + EDGE + lines(SHARED))
    assert found == pytest.approx(expected, rel=0.03)
    assert 1 - expected == pytest.approx(0.30, abs=0.01)  # so much too small was the spread


def masked(surfaces: str, masking: str) -> float:
    """Give what masking buys at the middle of its figures, at a price of 1."""
    line = (
        f'[[line]]\nid = "part"\ngroup = "finish"\ntakeoff = {{ kind = "masking", {masking} }}\nprice = 1\n'
    )
    return simulate(parse_build(HEAD + surfaces + line), trials=1024).base_estimate


def test_tape_goes_along_the_edges_and_the_sheet_beside_them() -> None:
    # A rectangle of l × w has an edge of 2 (l + w): four lips of 1.5 m × 200 mm, 13.6 m.
    lip = '[[surface]]\nid = "lip"\nlength = 1.5\nwidth = 200\ncount = 4\n'
    arch = '[[surface]]\nid = "arch"\narea = 2\n'
    exact = "rounds = 2, waste = 10"
    assert masked(lip, f'surfaces = ["lip"], {exact}') == pytest.approx(13.6 * 2 * 1.1)
    assert masked(arch, f'surfaces = ["arch"], edges = 5, {exact}') == pytest.approx(10 * 2 * 1.1)
    both = 'surfaces = ["lip", "arch"]'
    usual_edge = 4.5  # m to a m²: the middle of the range on file
    assert masked(lip + arch, f"{both}, {exact}") == pytest.approx((13.6 + 2 * usual_edge) * 2 * 1.1)
    # what is told of the edges holds for all of them
    assert masked(lip + arch, f"{both}, edges = 5, {exact}") == pytest.approx((1.2 + 2) * 5 * 2 * 1.1)
    sheet = f'{both}, edges = 5, buy = "sheet", band = 0.5, {exact}'
    assert masked(lip + arch, sheet) == pytest.approx((1.2 + 2) * 5 * 0.5 * 2 * 1.1)
    rolls = f"{both}, edges = 5, pack = 50, {exact}"
    assert masked(lip + arch, rolls) == 1  # 35.2 m
    assert masked(lip + arch, rolls.replace("rounds = 2", "rounds = 3")) == 2  # 52.8 m


def test_masking_says_its_working_and_where_its_figures_come_from() -> None:
    lip = '[[surface]]\nid = "lip"\nlength = { value = 5, unit = "ft" }\nwidth = { low = 3, high = 5, unit = "in" }\n'
    arch = '[[surface]]\nid = "arch"\narea = 2\n'
    line = (
        '[[line]]\nid = "tape"\ngroup = "finish"\nprice = 1\n'
        'takeoff = { kind = "masking", surfaces = ["lip", "arch"], pack = 50 }\n'
    )
    told = open_line(simulate(parse_build(HEAD + lip + arch + line), trials=1024).plan, "tape")
    # 2 × (1.524 + 0.0984) + 2 × 4.5 = 12.2 m
    assert (
        "edge of Lip 5 ft (1.52 m) × 3.87 in (98.4 mm) + Arch 2 m² (2 m²) × 4.5 m to a m² = 12.2 m × 2 × 1.15"
        in (told.working)
    )
    assert "28.2 m → 1 roll of 50 m" in told.working
    assert any(note.startswith("masked 1 / 2 / 3 times over: once for primer") for note in told.notes)
    with pytest.raises(BuildFileError, match="band for tape"):
        masked(arch, 'surfaces = ["arch"], band = 0.5')


def test_a_surface_is_drawn_by_its_id_alone() -> None:
    text = HEAD + EDGE + lines(SHARED)
    before = simulate(parse_build(text), trials=1024).trials.row("paint")
    other = (
        HEAD
        + '[[surface]]\nid = "arch"\narea = { low = 1, high = 3 }\n'
        + EDGE
        + '[[line]]\nid = "first"\n'
        + ('group = "kit"\namount = { low = 5, high = 9 }\n' + lines(SHARED))
    )
    assert np.array_equal(simulate(parse_build(other), trials=1024).trials.row("paint"), before)
    renamed = simulate(parse_build(text.replace("hood_edge", "bonnet_edge")), trials=1024).trials.row("paint")
    assert not np.array_equal(renamed, before)


def cost(surfaces: str, named: str) -> float:
    takeoff = f'takeoff = {{ kind = "film", roll_width = 1, waste = 0, {named} }}'
    text = f'{HEAD}{surfaces}[[line]]\nid = "part"\ngroup = "finish"\n{takeoff}\nprice = 1\n'
    return simulate(parse_build(text), trials=1024).base_estimate


def test_a_surface_is_an_area_a_strip_or_a_template_and_several_add_up() -> None:
    strip = '[[surface]]\nid = "lip"\nlength = 1.5\nwidth = 200\ncount = 4\n'
    bumper = '[[surface]]\nid = "bumper"\ntemplate = "front"\n'
    feet = '[[surface]]\nid = "skirt"\narea = { value = 10, unit = "ft2" }\n'
    assert cost(strip, 'surfaces = ["lip"]') == pytest.approx(1.2)
    assert cost(bumper, 'surfaces = ["bumper"]') == pytest.approx(1.7)  # the middle of a usual front bumper
    assert cost(feet, 'surfaces = ["skirt"]') == pytest.approx(0.9290304)
    every = cost(strip + bumper + feet, 'surfaces = ["lip", "bumper", "skirt"]')
    assert every == pytest.approx(1.2 + 1.7 + 0.9290304)


def test_it_is_shown_and_changed_by_its_own_name() -> None:
    text = (
        HEAD
        + '[[surface]]\nid = "arch"\nname = "Front arch"\narea = { low = 9, high = 16, unit = "ft2" }\ncount = 2\n'
    )
    text += lines('surfaces = ["arch"]')
    build = parse_build(text)
    assert (
        "Front arch 2 × 12 ft2 (1.11 m²) (2.23 m²) × 4 m to a m² = 8.92 m"
        in open_line(simulate(build, trials=1024).plan, "mask").working
    )
    place = place_at(build, "arch.area")
    assert (place.title, place.unit) == ("Front arch", "ft2")
    assert figure_phrase("arch.area", titles_in_figures(build)) == "the area of “Front arch”"
    other = parse_build(changed(text, [SetKey("arch", "count", 4)]))
    assert other.surface[0].count == 4


def test_an_absurd_surface_is_asked_about() -> None:
    asked = [
        found
        for found in findings(parse_build(HEAD + '[[surface]]\nid = "roof"\narea = 1500\n'))
        if found.grade == "odd"
    ]
    assert [found.rule for found in asked] == ["odd_size-roof_area"]


@pytest.mark.parametrize(("text", "told"), [
    (EDGE + lines('surfaces = ["hod_edge"]'), "there is no surface 'hod_edge'. Did you mean 'hood_edge'?"),
    (EDGE + lines('surfaces = ["hood_edge"], area = 2'), "area as well as surfaces. Give one of them"),
    (EDGE + lines('surfaces = ["hood_edge", "hood_edge"]'), "a surface stands twice"),
    ('[[surface]]\nid = "a"\n', "surface 'a': says no size"),
    ('[[surface]]\nid = "a"\nlength = 2\n', "says length and width. Give one of them"),
    ('[[surface]]\nid = "a"\narea = 2\ntemplate = "front"\n', "says area and template. Give one of them"),
    ('[[surface]]\nid = "a"\ntemplate = "hat"\n', "there is no template 'hat'. Legal: front, rear"),
    ('[[surface]]\nid = "a"\narea = { value = 2, unit = "kg" }\n', "surface 'a', area: unit is 'kg', a weight"),
    (EDGE + EDGE, "'hood_edge' is the id of a surface already"),
    ('[[line]]\nid = "a"\ngroup = "finish"\ntakeoff = { kind = "gelcoat" }\nprice = 1\n', "no area. Give one of them"),
])  # fmt: skip
def test_mistakes_are_told(text: str, told: str) -> None:
    with pytest.raises(BuildFileError) as caught:
        parse_build(HEAD + text)
    assert told in str(caught.value)


def test_a_surface_is_firmed_up_by_measuring_it() -> None:
    assert how_to_know("arch.area", None, {"arch": "Front arch"})[1] == "Measure the area of “Front arch”"


def test_a_demo_shows_goods_under_an_incoterm_and_quantities_taken_off_from_surfaces() -> None:
    text = (DEMOS / "by-sea-poland" / "build.toml").read_text("utf-8")
    build = parse_build(text.replace("hours_per_week", "estimating = 0\nhours_per_week", 1))
    assert [one.incoterm for one in build.consignment] == ["FOB"]
    shared = [
        line.id
        for line in build.line
        if line.takeoff is not None and "surfaces" in line.takeoff.model_fields_set
    ]
    assert {"abrasives", "primers", "paint_clear"} <= set(shared)
    trials = simulate(build, "diy", trials=16_384, keep="rows").trials
    together = np.corrcoef(trials.row("primers"), trials.row("paint_clear"))[0, 1]
    assert together > 5 / math.sqrt(16_384)  # one measured area stands behind both, and nothing else does
    assert {"kit.duty", "kit.tax", "kit.terminal"} <= {row.id for row in trials.plan.rows}
