"""Every published and constructed example of tests/references/takeoff_examples.json, each by name.

Where print is wrong (pnt-06's other form, fil-01's unit, cst-03's way of removing tax) the right way is asserted.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from forecast.build.buildfile import parse_build
from forecast.decide.comparisons import PUBLISHED, Published, mixed_uplift
from forecast.engine.plan import compile_plan
from forecast.engine.shapes import TwoPieceLognormal, lognormal_from_percentiles
from forecast.engine.trials import reference_values
from forecast.trade.takeoff import abrasives, beads, fasteners, filler, film, laminate, paint

FILE = Path(__file__).parents[1] / "references" / "takeoff_examples.json"
EXAMPLES = {item["id"]: item for item in json.loads(FILE.read_text(encoding="utf-8"))["examples"]}

Numbers = dict[str, Any]
ANSWERS: dict[str, Callable[[Numbers], Numbers]] = {}


def answers(*names: str) -> Callable[[Callable[[Numbers], Numbers]], Callable[[Numbers], Numbers]]:
    def keep(function: Callable[[Numbers], Numbers]) -> Callable[[Numbers], Numbers]:
        for name in names:
            ANSWERS[name] = function
        return function

    return keep


@answers("lam-01-csm-resin")
def _mat_resin(given: Numbers) -> Numbers:
    glass = laminate.glass_mass(given["area_m2"], given["areal_weight_kg_m2"], given["layers"])
    resin = laminate.resin_mass(glass, given["resin_to_glass_by_weight"])
    resin_buy = laminate.with_waste(resin, given["waste_fraction"])
    return {
        "glass_kg": glass,
        "resin_kg": resin,
        "glass_buy_kg": laminate.with_waste(glass, given["waste_fraction"]),
        "resin_buy_kg": resin_buy,
        "catalyst_kg": laminate.catalyst_volume(resin_buy, given["catalyst_fraction"]) / 1000,
    }


@answers("lam-02-csm-ratio-2")
def _ratio_two(given: Numbers) -> Numbers:
    return {"resin": laminate.resin_mass(given["glass_mass"], given["ratio"])}


@answers(
    "lam-03-thickness-csm-300",
    "lam-03-thickness-csm-450",
    "lam-03-thickness-csm-600",
    "lam-04-thickness-woven",
)
def _thickness(given: Numbers) -> Numbers:
    return {
        "thickness_mm": laminate.layer_thickness(
            given["areal_weight_kg_m2"],
            given["resin_to_glass_by_weight"],
            given["rho_glass"],
            given["rho_resin"],
        )
    }


@answers("lam-06-epoxy-cloth-gallons")
def _chart(given: Numbers) -> Numbers:
    gallons = laminate.coverage_volume(given["area_ft2"], given["coverage_ft2_per_gal"])
    return {"gallons": gallons, "litres": gallons * paint.US_GALLON}


@answers("lam-07-implied-ratio")
def _implied(given: Numbers) -> Numbers:
    area, litres = given["area_ft2"] * paint.SQUARE_FOOT, given["gallons"] * paint.US_GALLON
    return {
        "resin_to_glass": laminate.implied_ratio(
            area, litres, given["rho_resin"], given["areal_weight_kg_m2"]
        )
    }


@answers("lam-08-implied-ratio-mat")
def _implied_mat(given: Numbers) -> Numbers:
    area = np.array(given["coverage_ft2_per_gal"]) * paint.SQUARE_FOOT
    return {
        "resin_to_glass": laminate.implied_ratio(
            area, paint.US_GALLON, given["rho_resin"], given["areal_weight_kg_m2"]
        )
    }


@answers("lam-10-gelcoat")
def _gelcoat(given: Numbers) -> Numbers:
    return {"mass_kg": laminate.gelcoat_mass(given["area_m2"], given["thickness_mm"], given["density_kg_L"])}


@answers("lam-11-catalyst-ml")
def _catalyst(given: Numbers) -> Numbers:
    return {"catalyst_ml": laminate.catalyst_volume(given["resin_kg"], given["catalyst_fraction"])}


def _hollow(shape: str, given: Numbers) -> Any:
    return filler.filler_volume(shape, given["length_mm"] / 1000, given["width_mm"], given["depth_mm"])


@answers("fil-01-wedge")
def _wedge(given: Numbers) -> Numbers:
    volume = _hollow("wedge", given)
    buy = filler.filler_to_buy(
        volume, given["density_g_cm3"], given["overfill_sanded_off"], given["mix_waste"]
    )
    return {
        "volume_ml": volume * 1000,
        "in_place_g": volume * 1000 * given["density_g_cm3"],
        "buy_g": buy * 1000,
        "hardener_g": buy * 1000 * given["hardener_fraction"],
    }


@answers("fil-02-dish")
def _dish(given: Numbers) -> Numbers:
    return {"volume_ml": _hollow("dish", given) * 1000}


@answers("fil-03-seam-blend")
def _strip(given: Numbers) -> Numbers:
    volume = _hollow("strip", given)
    return {
        "volume_ml": volume * 1000,
        "in_place_g_at_1_8": filler.filler_to_buy(volume, 1.8, 0, 0) * 1000,
    }


@answers("fil-05-skim")
def _skim(given: Numbers) -> Numbers:
    volume = filler.skim_volume(given["area_m2"], given["thickness_mm"])
    return {"mass_kg": filler.filler_to_buy(volume, given["density_g_cm3"], 0, 0)}


@answers("sea-01-rect-6x6-310", "sea-02-rect-6x6-290")
def _rectangle(given: Numbers) -> Numbers:
    section = beads.bead_section("rectangle", given["width_mm"], given["depth_mm"])
    return {"ml_per_m": section, "metres": beads.metres_per_cartridge(given["cartridge_ml"], section)}


@answers("sea-03-fillet-10x5")
def _fillet(given: Numbers) -> Numbers:
    return {"ml_per_m": beads.bead_section("fillet", given["leg_a_mm"], given["leg_b_mm"])}


@answers("sea-04-halfround-10")
def _half_round(given: Numbers) -> Numbers:
    return {"ml_per_m": beads.bead_section("half-round", given["width_mm"])}


@answers("pnt-01-tsr-65-125", "pnt-03-primer-sheet", "pnt-04-table-50-50")
def _spread(given: Numbers) -> Numbers:
    return {"m2_per_L": paint.theoretical_spread(given["volume_solids_pct"], given["dft_um"])}


@answers("pnt-02-tsr-wft-71-125")
def _spread_and_wet(given: Numbers) -> Numbers:
    return _spread(given) | {"wft_um": paint.wet_film(given["dft_um"], given["volume_solids_pct"])}


@answers("pnt-06-loss-factor-two-forms")
def _loss(given: Numbers) -> Numbers:
    right = paint.practical_volume(given["theory_L"], given["loss"])
    wrong = given["theory_L"] * (1 + given["loss"])  # the form in print, which falls short
    assert right > wrong
    return {"correct_L": right, "wrong_L": wrong}


@answers("pnt-08-us-cross-check")
def _us(given: Numbers) -> Numbers:
    return {"m2_per_L": paint.spread_from_us_customary(given["ft2_per_qt"])}


@answers("adh-01-round-10")
def _round(given: Numbers) -> Numbers:
    section = beads.bead_section("round", given["diameter_mm"])
    return {"ml_per_m": section, "metres": beads.metres_per_cartridge(given["cartridge_ml"], section)}


@answers("adh-03-bead-for-bondline")
def _bond_line(given: Numbers) -> Numbers:
    return {"bead_diameter_mm": beads.bead_for_bond_line(given["flange_width_mm"], given["bondline_mm"])}


@answers("adh-04-vee-8x12")
def _vee(given: Numbers) -> Numbers:
    section = beads.bead_section("vee", given["base_mm"], given["height_mm"])
    return {"ml_per_m": section, "metres": beads.metres_per_cartridge(given["cartridge_ml"], section)}


@answers("abr-01-discs")
def _discs(given: Numbers) -> Numbers:
    counts = abrasives.discs(given["area_m2"], given["discs_per_m2"], given["rounds"])
    return {"discs": counts, "total": counts.sum()}


@answers("flm-01-area-waste")
def _film(given: Numbers) -> Numbers:
    return {
        "film_m2": film.film_area(given["area_m2"], given["waste"]),
        "length_m": film.film_length(given["area_m2"], given["waste"], given["roll_width_m"]),
    }


@answers("fst-02-pitch-limits")
def _pitch(given: Numbers) -> Numbers:
    limits = fasteners.pitch_limits(given["D_mm"])
    return {
        "pitch_min_mm": limits["pitch_min"],
        "pitch_usual_mm": [limits["pitch_usual_low"], limits["pitch_usual_high"]],
        "edge_min_mm": limits["edge_min"],
    }


@answers("fst-03-solid-rivet-length")
def _rivet(given: Numbers) -> Numbers:
    return {"length_mm": fasteners.solid_rivet_length(given["grip_mm"], given["D_mm"])}


@answers("fst-04-wheel-bolt")
def _wheel_bolt(given: Numbers) -> Numbers:
    pitch = float(given["thread"].split("x")[1])
    return {
        "new_shank_mm": fasteners.wheel_bolt_shank(given["old_shank_mm"], given["spacer_mm"]),
        "turns": fasteners.turns_of_engagement(given["engagement_mm"], pitch),
    }


def _total(*lines: str) -> float:
    """Give the base estimate of a build of these lines, as the product adds it up."""
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "DE"\n'
    text += "".join(
        f'[[line]]\nid = "l{number}"\ngroup = "other"\n{line}\n' for number, line in enumerate(lines)
    )
    return float(reference_values(compile_plan(parse_build(text)), events=False).sum())


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


@answers("sta-05-optimism-mix")
def _uplift(given: Numbers) -> Numbers:
    kinds = ("non-standard", "standard")
    shares = dict(zip(kinds, given["shares"], strict=True))
    return {"uplift_pct": mixed_uplift(shares, dict(zip(kinds, given["uplift_pct"], strict=True)))}


def _published(name: str) -> Published:
    return next(item for item in PUBLISHED if item.id == name)


def test_every_example_is_answered() -> None:
    assert len(EXAMPLES) == 41
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
    ratio = np.linspace(0.8, 4, 50)
    psi = 1 / (1 + ratio)
    np.testing.assert_allclose(
        laminate.layer_thickness(0.45, ratio), 0.45 / 3.072 * (2.56 / psi - 1.36), rtol=1e-12
    )


def test_spreading_formula_in_print_is_ten_times_too_high() -> None:
    # A web page gives solids/100 × 10 / film in mm; right in mm is solids/100 / film.
    printed, film_mm = 65 / 100 * 10 / 0.125, 0.125
    right = float(paint.theoretical_spread(65, film_mm * 1000))
    assert right == pytest.approx(0.65 / film_mm)
    assert printed == pytest.approx(10 * right)
