"""Every published and constructed example of tests/references/takeoff_examples.json, each by name.

What a take-off can say is asked of the take-off: its table is read, expanded and evaluated. Arithmetic of an example
that no take-off has is done here, and its function says so.

Where print is wrong (pnt-06's other form, fil-01's unit, cst-03's way of removing tax) the right way is asserted.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydantic import TypeAdapter

from forecast.buildfile.reader import parse_build
from forecast.buildfile.takeoff import Takeoff
from forecast.decide.comparisons import PUBLISHED, Published
from forecast.engine.plan import compile_plan
from forecast.figures.evaluate import at_middle
from forecast.figures.kinds import Known
from forecast.figures.shapes import TwoPieceLognormal, lognormal_from_percentiles
from forecast.trade.takeoff import TakeoffExpansion, expand_takeoff
from forecast.trade.takeoff.coatings import PLAUSIBLE_SPREAD
from forecast.trade.takeoff.worksheet import ASSUMPTIONS

FILE = Path(__file__).parents[1] / "references" / "takeoff_examples.json"
EXAMPLES = {item["id"]: item for item in json.loads(FILE.read_text(encoding="utf-8"))["examples"]}

SQUARE_FOOT = 0.09290304  # m²
US_GALLON, US_QUART = 3.785411784, 0.946352946  # litres
OUNCE = 0.028349523125  # kg
FAR = 1e6  # so many metres or millimetres that rounding up to whole pieces does not show

Numbers = dict[str, Any]
ANSWERS: dict[str, Callable[[Numbers], Numbers]] = {}
READ: TypeAdapter[Any] = TypeAdapter(Takeoff)


def answers(*names: str) -> Callable[[Callable[[Numbers], Numbers]], Callable[[Numbers], Numbers]]:
    def keep(function: Callable[[Numbers], Numbers]) -> Callable[[Numbers], Numbers]:
        for name in names:
            ANSWERS[name] = function
        return function

    return keep


def _expand(kind: str, **table: Any) -> TakeoffExpansion:
    return expand_takeoff("part", READ.validate_python({"kind": kind, **table}), at_middle)


def _bought(kind: str, **table: Any) -> float:
    """Give a take-off's quantity at its middle figures."""
    found = _expand(kind, **table)
    return at_middle(found.formula, found.inputs)


def _said(texts: tuple[str, ...], pattern: str) -> float:
    """Give the number that a note or caution states."""
    (number,) = re.findall(pattern, " ".join(texts))
    return float(number)


@answers("lam-01-csm-resin")
def _mat_resin(given: Numbers) -> Numbers:
    table = {
        "area": given["area_m2"],
        "areal_weight": 1000 * given["areal_weight_kg_m2"],
        "layers": given["layers"],
        "ratio": given["resin_to_glass_by_weight"],
    }
    waste = 100 * given["waste_fraction"]
    catalyst = 100 * given["catalyst_fraction"]
    return {
        "glass_kg": _bought("laminate", buy="glass", waste=0, **table),
        "resin_kg": _bought("laminate", buy="resin", waste=0, **table),
        "glass_buy_kg": _bought("laminate", buy="glass", waste=waste, **table),
        "resin_buy_kg": _bought("laminate", buy="resin", waste=waste, **table),
        "catalyst_kg": _bought("laminate", buy="catalyst", waste=waste, catalyst=catalyst, **table) / 1000,
    }


@answers("lam-02-csm-ratio-2")
def _ratio_two(given: Numbers) -> Numbers:
    grams = 1000 * given["glass_mass"] * OUNCE / SQUARE_FOOT
    table = {"areal_weight": grams, "layers": 1, "ratio": given["ratio"], "waste": 0}
    return {"resin": _bought("laminate", buy="resin", area=SQUARE_FOOT, **table) / OUNCE}


def _layer(kilograms: float, ratio: float) -> float:
    """Give the thickness of one layer, mm, by how many of them a very thick laminate takes."""
    table = {"area": 1, "areal_weight": 1000 * kilograms, "ratio": ratio, "waste": 0}
    layers = _bought("laminate", buy="glass", thickness=FAR, **table) / kilograms
    return FAR / layers


@answers(
    "lam-03-thickness-csm-300",
    "lam-03-thickness-csm-450",
    "lam-03-thickness-csm-600",
    "lam-04-thickness-woven",
)
def _thickness(given: Numbers) -> Numbers:
    for material, density in (("glass", given["rho_glass"]), ("polyester", given["rho_resin"])):
        assert ASSUMPTIONS[f"laminate.density.{material}"].figure == Known(value=density)
    return {"thickness_mm": _layer(given["areal_weight_kg_m2"], given["resin_to_glass_by_weight"])}


def _chart_litres(square_feet: float, square_feet_per_gallon: float) -> float:
    return _bought(
        "laminate", buy="resin", area=square_feet * SQUARE_FOOT, areal_weight=339, layers=1, resin="epoxy",
        glass="woven", coverage=square_feet_per_gallon * SQUARE_FOOT / US_GALLON,
    )  # fmt: skip


@answers("lam-06-epoxy-cloth-gallons")
def _chart(given: Numbers) -> Numbers:
    litres = _chart_litres(given["area_ft2"], given["coverage_ft2_per_gal"])
    return {"gallons": litres / US_GALLON, "litres": litres}


def _implied_ratio(square_feet: float, litres: float, given: Numbers) -> float:
    """Give the resin-to-glass ratio behind a chart, with the test's own arithmetic: no take-off tells it."""
    glass = _bought(
        "laminate", buy="glass", area=square_feet * SQUARE_FOOT, layers=1, waste=0,
        areal_weight=1000 * given["areal_weight_kg_m2"],
    )  # fmt: skip
    return litres * float(given["rho_resin"]) / glass


@answers("lam-07-implied-ratio")
def _implied(given: Numbers) -> Numbers:
    litres = _chart_litres(given["area_ft2"], given["area_ft2"] / given["gallons"])
    return {"resin_to_glass": _implied_ratio(given["area_ft2"], litres, given)}


@answers("lam-08-implied-ratio-mat")
def _implied_mat(given: Numbers) -> Numbers:
    charts = given["coverage_ft2_per_gal"]
    return {"resin_to_glass": [_implied_ratio(100, _chart_litres(100, chart), given) for chart in charts]}


@answers("lam-10-gelcoat")
def _gelcoat(given: Numbers) -> Numbers:
    table = {"area": given["area_m2"], "thickness": given["thickness_mm"], "density": given["density_kg_L"]}
    return {"mass_kg": _bought("gelcoat", waste=0, **table)}


@answers("lam-11-catalyst-ml")
def _catalyst(given: Numbers) -> Numbers:
    table = {"area": 4, "areal_weight": 500, "layers": 1, "ratio": 2.5, "waste": 0}
    assert _bought("laminate", buy="resin", **table) == pytest.approx(given["resin_kg"])
    written = _bought("laminate", buy="catalyst", catalyst=100 * given["catalyst_fraction"], **table)
    assert _bought("laminate", buy="catalyst", temperature=18, **table) == pytest.approx(written)
    return {"catalyst_ml": written}


def _hollow(shape: str, given: Numbers, **table: Any) -> float:
    """Give what a hollow takes; litres where density, overfill and waste are not said otherwise."""
    sizes = {"length": given["length_mm"] / 1000, "width": given["width_mm"], "depth": given["depth_mm"]}
    return _bought("filler", shape=shape, **sizes, **({"density": 1, "overfill": 0, "waste": 0} | table))


@answers("fil-01-wedge")
def _wedge(given: Numbers) -> Numbers:
    density = given["density_g_cm3"]
    losses = {"overfill": 100 * given["overfill_sanded_off"], "waste": 100 * given["mix_waste"]}
    hardener = {"buy": "hardener", "hardener": 100 * given["hardener_fraction"]}
    return {
        "volume_ml": 1000 * _hollow("wedge", given),
        "in_place_g": 1000 * _hollow("wedge", given, density=density),
        "buy_g": 1000 * _hollow("wedge", given, density=density, **losses),
        "hardener_g": _hollow("wedge", given, density=density, **losses, **hardener),
    }


@answers("fil-02-dish")
def _dish(given: Numbers) -> Numbers:
    return {"volume_ml": 1000 * _hollow("dish", given)}


@answers("fil-03-seam-blend")
def _strip(given: Numbers) -> Numbers:
    return {
        "volume_ml": 1000 * _hollow("strip", given),
        "in_place_g_at_1_8": 1000 * _hollow("strip", given, density=1.8),
    }


@answers("fil-05-skim")
def _skim(given: Numbers) -> Numbers:
    table = {"area": given["area_m2"], "thickness": given["thickness_mm"], "density": given["density_g_cm3"]}
    return {"mass_kg": _bought("filler", shape="skim", overfill=0, waste=0, **table)}


def _bead(kind: str, section: str, cartridge: float, width: float, depth: float | None = None) -> Numbers:
    """Give the run of one cartridge and the section, by the cartridges of a very long run."""
    sizes = {"width": width} | ({} if depth is None else {"depth": depth})
    table = {"section": section, "cartridge": cartridge, "residue": 0, "waste": 0}
    metres = FAR / _bought(kind, length=FAR, **table, **sizes)
    assert _bought(kind, length=0.999 * metres, **table, **sizes) == 1
    assert _bought(kind, length=1.001 * metres, **table, **sizes) == 2
    return {"ml_per_m": cartridge / metres, "metres": metres}


@answers("sea-01-rect-6x6-310", "sea-02-rect-6x6-290")
def _rectangle(given: Numbers) -> Numbers:
    return _bead("sealant", "rectangle", given["cartridge_ml"], given["width_mm"], given["depth_mm"])


@answers("sea-03-fillet-10x5")
def _fillet(given: Numbers) -> Numbers:
    return {"ml_per_m": _bead("sealant", "fillet", 310, given["leg_a_mm"], given["leg_b_mm"])["ml_per_m"]}


@answers("sea-04-halfround-10")
def _half_round(given: Numbers) -> Numbers:
    return {"ml_per_m": _bead("sealant", "half-round", 310, given["width_mm"])["ml_per_m"]}


def _litres(area: float, solids: float, film: float, arriving: float = 100) -> float:
    """Give the paint for an area; a mix cannot lose nothing, but next to nothing."""
    table = {"coats": 1, "transfer": arriving, "waste": 0, "per_mix": 1e-6}
    return _bought("paint", area=area, solids=solids, film=film, **table)


def _metres_per_litre(solids: float, film: float) -> float:
    return 100 / _litres(100, solids, film)


@answers("pnt-01-tsr-65-125")
def _spread(given: Numbers) -> Numbers:
    return {"m2_per_L": _metres_per_litre(given["volume_solids_pct"], given["dft_um"])}


@answers("pnt-02-tsr-wft-71-125")
def _spread_and_wet(given: Numbers) -> Numbers:
    spread = _metres_per_litre(given["volume_solids_pct"], given["dft_um"])
    return {"m2_per_L": spread, "wft_um": 1000 / spread}  # a litre on one square metre stands 1000 µm high


@answers("pnt-03-primer-sheet")
def _primer(given: Numbers) -> Numbers:
    return {"m2_per_L": [_metres_per_litre(given["volume_solids_pct"], film) for film in given["dft_um"]]}


@answers("pnt-04-table-50-50")
def _spread_table(given: Numbers) -> Numbers:
    rows = zip(given["volume_solids_pct"], given["dft_um"], strict=True)
    return {"m2_per_L": [_metres_per_litre(solids, film) for solids, film in rows]}


@answers("pnt-06-loss-factor-two-forms")
def _loss(given: Numbers) -> Numbers:
    area = 10 * given["theory_L"]  # 50 µm at 50 % cover 10 m² per litre
    assert _litres(area, 50, 50) == pytest.approx(given["theory_L"])
    right = _litres(area, 50, 50, arriving=100 * (1 - given["loss"]))
    wrong = given["theory_L"] * (1 + given["loss"])  # the test's own: the form in print, which falls short
    assert right > wrong
    return {"correct_L": right, "wrong_L": wrong}


@answers("pnt-08-us-cross-check")
def _us(given: Numbers) -> Numbers:
    """Convert units, with the test's own arithmetic: no take-off has feet and quarts."""
    found = [feet * SQUARE_FOOT / US_QUART for feet in given["ft2_per_qt"]]
    low, high = PLAUSIBLE_SPREAD
    assert all(low < spread < high for spread in found)
    return {"m2_per_L": found}


@answers("adh-01-round-10")
def _round(given: Numbers) -> Numbers:
    return _bead("adhesive", "round", given["cartridge_ml"], given["diameter_mm"])


@answers("adh-03-bead-for-bondline")
def _bond_line(given: Numbers) -> Numbers:
    wide, thick = given["flange_width_mm"], given["bondline_mm"]
    found = _expand("adhesive", length=10, section="bond-line", width=wide, depth=thick)
    diameter = _said(found.notes, r"round bead of ([\d.]+) mm")
    line, bead = _bead("adhesive", "bond-line", 310, wide, thick), _bead("adhesive", "round", 310, diameter)
    assert bead["ml_per_m"] == pytest.approx(line["ml_per_m"], rel=0.01)  # the note has two digits
    return {"bead_diameter_mm": diameter}


@answers("adh-04-vee-8x12")
def _vee(given: Numbers) -> Numbers:
    return _bead("adhesive", "vee", given["cartridge_ml"], given["base_mm"], given["height_mm"])


@answers("abr-01-discs")
def _discs(given: Numbers) -> Numbers:
    steps = [
        {"grit": int(grit.removeprefix("P")), "rate": rate, "rounds": rounds}
        for grit, rate, rounds in zip(given["grits"], given["discs_per_m2"], given["rounds"], strict=True)
    ]
    return {
        "discs": [_bought("abrasives", area=given["area_m2"], steps=[step]) for step in steps],
        "total": _bought("abrasives", area=given["area_m2"], steps=steps),
    }


@answers("flm-01-area-waste")
def _film(given: Numbers) -> Numbers:
    table = {"area": given["area_m2"], "waste": 100 * given["waste"]}
    return {
        "film_m2": _bought("film", roll_width=1, **table),  # a metre off a roll one metre wide is 1 m²
        "length_m": _bought("film", roll_width=given["roll_width_m"], **table),
    }


@answers("fst-02-pitch-limits")
def _pitch(given: Numbers) -> Numbers:
    shank = given["D_mm"]
    close = _expand("fasteners", length=1, pitch=1, diameter=shank, edge=1).cautions
    return {
        "pitch_min_mm": _said(close, r"under 3 diameters \(([\d.]+) mm\)"),
        "pitch_usual_mm": [
            4 * shank,
            8 * shank,
        ],  # the test's own: no take-off states the usual pitch of print
        "edge_min_mm": _said(close, r"under 2 diameters \(([\d.]+) mm\)"),
    }


@answers("fst-03-solid-rivet-length")
def _rivet(given: Numbers) -> Numbers:
    """Apply the rule in print with the test's own arithmetic: no take-off tells a rivet's length."""
    return {"length_mm": given["grip_mm"] + 1.5 * given["D_mm"]}


@answers("fst-04-wheel-bolt")
def _wheel_bolt(given: Numbers) -> Numbers:
    diameter, pitch = (float(part) for part in given["thread"].removeprefix("M").split("x"))
    assert diameter == given["engagement_mm"]  # one diameter, as the take-off takes it
    table = {"shank": given["old_shank_mm"], "spacer": given["spacer_mm"]}
    found = _expand("wheel-bolts", diameter=diameter, thread_pitch=pitch, **table)
    assert at_middle(found.formula, found.inputs) == 20
    return {
        "new_shank_mm": _said(found.notes, r"spacer = ([\d.]+) mm of shank"),
        "turns": _said(found.notes, r"is ([\d.]+) turns"),
    }


def _total(*lines: str) -> float:
    """Give the base estimate of a build of these lines, as the product adds it up."""
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "DE"\n'
    text += "".join(
        f'[[line]]\nid = "l{number}"\ngroup = "other"\n{line}\n' for number, line in enumerate(lines)
    )
    return sum(compile_plan(parse_build(text)).base_estimate().values())


@answers("cst-02-electricity")
def _electricity(given: Numbers) -> Numbers:
    return {"eur": _total(f"quantity = {given['kW'] * given['hours']}\nprice = {given['price_eur_kwh']}")}


@answers("cst-03-vat-removal")
def _tax_out(given: Numbers) -> Numbers:
    net = np.array(given["gross"]) / (1 + given["vat"])
    for gross, without in zip(given["gross"], net, strict=True):  # the tax put back on gives the price again
        tax = f'percent = {{ value = {100 * given["vat"]}, estimated = false }}\nof = ["l0"]'
        assert _total(f"amount = {without}", tax) == pytest.approx(gross)
    printed = np.array([163.62, 178.20])  # gross × 0.81, as a trade-press piece has it
    assert np.all(np.abs(net / printed - 1) > 0.03)
    return {"net": net}


@answers("cst-04-shop-job")
def _shop(given: Numbers) -> Numbers:
    hours = f"quantity = {given['hours']}\nprice = {given['rate_gross']}"
    return {"eur": _total(hours, f"amount = {given['material']}")}


@answers("sta-01-planning-fallacy")
def _planning(given: Numbers) -> Numbers:
    factor = given["actual_days"] / given["predicted_days"]
    assert _published("own_dates").low == pytest.approx(factor - 1, abs=0.005)
    return {"factor": factor, "over_worst_case": given["actual_days"] / given["worst_case_days"]}


@answers("sta-02-kitchen")
def _kitchen(given: Numbers) -> Numbers:
    factor = given["paid"] / given["expected"]
    assert _published("kitchens").low == pytest.approx(factor - 1, abs=0.005)
    return {"factor": factor}


@answers("sta-03-renovation-share")
def _share(given: Numbers) -> Numbers:
    with_budget = given["over"] + given["on"] + given["under"]
    return {"share_over_of_budgeted": given["over"] / with_budget}


@answers("sta-04-lognormal-from-p10-p90")
def _lognormal(given: Numbers) -> Numbers:
    shape = lognormal_from_percentiles(given["P10"], given["P90"])
    assert isinstance(shape, TwoPieceLognormal)
    return {"sigma": shape.sigma_low, "median": shape.median, "mean": shape.moments[0]}


def _published(name: str) -> Published:
    return next(item for item in PUBLISHED if item.id == name)


def test_every_example_is_answered() -> None:
    assert len(EXAMPLES) == 40
    assert set(ANSWERS) == set(EXAMPLES)


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_example(name: str) -> None:
    example = EXAMPLES[name]

    found = ANSWERS[name](example["inputs"])

    expected = {key: value for key, value in example["expected"].items() if key != "unit"}
    assert set(found) == set(expected)
    for key, value in expected.items():
        np.testing.assert_allclose(
            found[key], value, rtol=example["tolerance_rel"], err_msg=f"{key}: {example['source']}"
        )


def test_thickness_is_the_scantling_formula_in_other_letters() -> None:
    # ISO 12215-5 from memory: w/3.072 × (2.56/ψ − 1.36), ψ = 1/(1 + R).
    for ratio in np.linspace(0.8, 4, 9):
        psi = 1 / (1 + ratio)
        assert _layer(0.45, float(ratio)) == pytest.approx(0.45 / 3.072 * (2.56 / psi - 1.36), rel=1e-5)


def test_spreading_formula_in_print_is_ten_times_too_high() -> None:
    # A web page gives solids/100 × 10 / film in mm; right in mm is solids/100 / film.
    printed, film_mm = 65 / 100 * 10 / 0.125, 0.125
    right = _metres_per_litre(65, film_mm * 1000)
    assert right == pytest.approx(0.65 / film_mm)
    assert printed == pytest.approx(10 * right)
