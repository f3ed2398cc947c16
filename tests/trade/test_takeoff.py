"""A take-off's formula, its working in words, packs by session, and what it refuses."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from forecast.buildfile.schema import Build
from forecast.buildfile.takeoff import TAKEOFF_KINDS, Takeoff
from forecast.engine.forecast import simulate
from forecast.engine.plan import compile_plan
from forecast.errors import RuleError
from forecast.figures.evaluate import at_middle
from forecast.figures.formula import Input, RoundedUp, walk
from forecast.figures.kinds import Known, UncertainFigure
from forecast.trade.takeoff import TakeoffExpansion, expand_takeoff
from forecast.trade.takeoff.worksheet import ASSUMPTIONS, counted, digits
from forecast.views.opening_words import open_line

READ: TypeAdapter[Any] = TypeAdapter(Takeoff)


def expand(**table: Any) -> TakeoffExpansion:
    return expand_takeoff("part", READ.validate_python(table), at_middle)


def middle(expansion: TakeoffExpansion) -> float:
    """Give the quantity at the middle figures."""
    return at_middle(expansion.formula, expansion.inputs)


def quantity(expansion: TakeoffExpansion, **values: float) -> float:
    """Evaluate at the middle figures, some of them replaced."""
    inputs = dict(expansion.inputs)
    for name, value in values.items():
        assert f"part.takeoff.{name}" in inputs
        inputs[f"part.takeoff.{name}"] = Known(value=value)
    return at_middle(expansion.formula, inputs)


FLARES = {"kind": "filler", "shape": "strip", "length": 12, "width": 60, "depth": 4}
ONE_OF_EACH: dict[str, dict[str, Any]] = {
    "laminate": {"kind": "laminate", "buy": "resin", "area": 2, "areal_weight": 450, "layers": 2},
    "gelcoat": {"kind": "gelcoat", "area": 1.6},
    "filler": FLARES,
    "sealant": {"kind": "sealant", "length": 14, "section": "rectangle", "width": 6, "depth": 6},
    "adhesive": {"kind": "adhesive", "length": 10, "section": "bond-line", "width": 25, "depth": 1.5},
    "paint": {"kind": "paint", "area": 6, "paint": "clear"},
    "film": {"kind": "film", "area": 6.2},
    "abrasives": {"kind": "abrasives", "area": 5, "steps": [{"grit": 80, "rounds": 2}]},
    "masking": {"kind": "masking", "area": 6},
    "fasteners": {"kind": "fasteners", "length": 1.8, "count": 4},
    "wheel-bolts": {"kind": "wheel-bolts", "shank": 28, "spacer": 15},
}


@pytest.mark.parametrize(
    ("number", "said"),
    [(0, "0 boxes"), (0.5, "0.5 boxes"), (1, "1 box"), (2, "2 boxes"), (1.5, "1.5 boxes")],
)
def test_one_thing_alone_is_told_as_one(number: float, said: str) -> None:
    assert counted(number, "box", "boxes") == said
    assert counted(number, "tin") == said.replace("boxes", "tins").replace("box", "tin")


def test_there_is_an_example_of_each_kind() -> None:
    assert set(ONE_OF_EACH) == set(TAKEOFF_KINDS)


@pytest.mark.parametrize("kind", TAKEOFF_KINDS)
def test_every_input_of_a_formula_is_given_and_used(kind: str) -> None:
    found = expand(**ONE_OF_EACH[kind])

    used = {node.id for node in walk(found.formula) if isinstance(node, Input)}
    assert used == set(found.inputs)
    assert all(name.startswith("part.takeoff.") for name in used)


@pytest.mark.parametrize("kind", TAKEOFF_KINDS)
def test_working_ends_with_the_quantity_and_its_unit(kind: str) -> None:
    found = expand(**ONE_OF_EACH[kind])

    assert "→" in found.working
    assert middle(found) > 0
    if " of " in found.unit:
        assert digits(middle(found)) in found.working.split("→")[-1]


@pytest.mark.parametrize("kind", TAKEOFF_KINDS)
def test_unknown_keys_are_refused(kind: str) -> None:
    with pytest.raises(ValidationError, match="lenght"):
        expand(**ONE_OF_EACH[kind], lenght=3)


def test_a_dozen_metres_of_flare_blend() -> None:
    # The constructed example fil-04: 1.92 L × 1.8 kg/L × 1.5 × 1.1 = 5.70 kg, three tins of 2 kg.
    found = expand(**FLARES, density=1.8, overfill=50, waste=10, pack=2.0)

    assert found.working == "12 m × 60 mm × 4 mm × 2/3 = 1.92 L → 5.7 kg → 3 tins of 2 kg"
    assert found.unit == "tins of 2 kg"
    assert middle(found) == 3
    assert found.inputs == {}


def test_filler_follows_depth_overfill_and_waste() -> None:
    found = expand(**(FLARES | {"depth": {"low": 3, "middle": 4, "high": 6}}))
    # 12 m × 60 mm × depth × 2/3 × 1.8 kg/L, and what is sanded off and left on the board.
    for depth, overfill, waste, kilograms in (
        (3, 30, 5, 3.53808),
        (4, 60, 10, 6.08256),
        (6, 120, 20, 13.68576),
    ):
        assert quantity(found, depth=depth, overfill=overfill, waste=waste) == pytest.approx(kilograms)


def test_laminate_of_a_thickness_takes_whole_layers() -> None:
    table = {"kind": "laminate", "area": {"low": 1.5, "middle": 2, "high": 3}, "areal_weight": 450}
    found = expand(**table, buy="resin", thickness=3)
    # A layer of 450 g/m² is 0.926, 1.113 or 1.376 mm thick: four, three and three of them reach 3 mm.
    for area, ratio, waste, kilograms in ((1.5, 2.0, 10, 5.94), (2, 2.5, 15, 7.7625), (3, 3.2, 30, 16.848)):
        assert quantity(found, area=area, ratio=ratio, waste=waste) == pytest.approx(kilograms)


@pytest.mark.parametrize(("layers", "words"), [(1, "1 layer ="), (3, "3 layers =")])
def test_the_working_says_how_many_layers_are_laid(layers: int, words: str) -> None:
    found = expand(kind="laminate", area=2, areal_weight=450, layers=layers, buy="glass", waste=10)
    assert f"2 m² × 450 g/m² × {words} {digits(0.9 * layers)} kg of glass" in found.working


def test_paint_takes_the_usual_figures_where_none_are_given() -> None:
    found = expand(kind="paint", area=6, paint="clear", coats=2, per_mix=1)
    # 6 m² × 57 µm / (10 × 45 %) = 0.76 L; / 42 % × 1.12 = 2.0267 L; two mixes lose 2 ml.
    assert middle(found) == pytest.approx(2.0286667)


MAT = {"kind": "laminate", "area": 2, "areal_weight": 450, "layers": 2, "ratio": 2.5}
GEL = {"kind": "gelcoat", "area": 2, "thickness": 0.5, "density": 1.2, "waste": 25}
SKIM = {"kind": "filler", "shape": "skim", "area": 2, "thickness": 0.5, "density": 1.8}
BEAD = {"length": 1000, "cartridge": 100, "residue": 0, "waste": 0}  # as many cartridges as ml per 100 mm
COAT = {
    "kind": "paint", "area": 10, "film": 50, "solids": 50, "coats": 2, "transfer": 50, "waste": 10, "per_mix": 25,
}  # fmt: skip
CHART = {"kind": "paint", "area": 10, "coats": 2, "coverage": 8}
FILM = {"kind": "film", "area": 6.2, "waste": 20}

HAND_WORKED: dict[str, tuple[dict[str, Any], float]] = {
    "glass without waste, 2 × 0.45 × 2": (MAT | {"buy": "glass", "waste": 0}, 1.8),
    "glass with waste, × 1.15": (MAT | {"buy": "glass", "waste": 15}, 2.07),
    "resin, 1.8 × 2.5 × 1.1": (MAT | {"buy": "resin", "waste": 10}, 4.95),
    "catalyst as written, 4.95 kg × 3 %": (MAT | {"buy": "catalyst", "waste": 10, "catalyst": 3}, 148.5),
    "catalyst where nothing is said, 2 %": (MAT | {"buy": "catalyst", "waste": 10}, 99),
    "cleaner, 4.95 kg × 0.5 L": (MAT | {"buy": "cleaner", "waste": 10}, 2.475),
    "gelcoat, 2 × 0.5 × 1.2 × 1.25": (GEL, 1.5),
    "its catalyst, 2 %": (GEL | {"buy": "catalyst"}, 30),
    "skim, 2 × 0.5 × 1.8": (SKIM | {"overfill": 0, "waste": 0}, 1.8),
    "skim, 1.8 × 1.5 × 1.1": (SKIM | {"overfill": 50, "waste": 10}, 2.97),
    "skims of three places": (SKIM | {"overfill": 50, "waste": 10, "count": 3}, 8.91),
    "filler hardener, 2.97 kg × 3 %": (
        SKIM | {"overfill": 50, "waste": 10, "buy": "hardener", "hardener": 3}, 89.1,
    ),
    "rectangle 6 × 6": (BEAD | {"kind": "sealant", "section": "rectangle", "width": 6, "depth": 6}, 360),
    "tooling waste, 36 × 1.1": (
        BEAD | {"kind": "sealant", "section": "rectangle", "width": 6, "depth": 6, "waste": 10}, 396,
    ),
    "residue, 36 / 0.9": (
        BEAD | {"kind": "sealant", "section": "rectangle", "width": 6, "depth": 6, "residue": 10}, 400,
    ),
    "fillet 10 × 5 / 2": (BEAD | {"kind": "sealant", "section": "fillet", "width": 10, "depth": 5}, 250),
    "half-round, 39.27": (BEAD | {"kind": "sealant", "section": "half-round", "width": 10}, 393),
    "round, 78.54": (BEAD | {"kind": "adhesive", "section": "round", "width": 10}, 786),
    "vee 8 × 12 / 2": (BEAD | {"kind": "adhesive", "section": "vee", "width": 8, "depth": 12}, 480),
    "bond line 25 × 1.5": (BEAD | {"kind": "adhesive", "section": "bond-line", "width": 25, "depth": 1.5}, 375),
    "bond line and four nozzles, 500 + 4 × 25 ml": (
        {
            "kind": "adhesive", "section": "bond-line", "length": 10, "width": 25, "depth": 2, "two_part": True,
            "pauses": 3, "nozzle_loss": 25, "cartridge": 50, "residue": 0, "waste": 0,
        }, 12,
    ),
    "paint, 1 L / 0.5 × 1.1 + 2 × 25 ml": (COAT, 2.25),
    "hardener of the mix, 40 %": (COAT | {"share": 40}, 0.9),
    "paint with backs, 1.2 L / 0.5 × 1.1 + 50 ml": (COAT | {"returns": 20}, 2.69),
    "paint by chart, 10 × 2 / 8": (CHART, 2.5),
    "paint by chart with backs": (CHART | {"returns": 20}, 3.0),
    "hardener by chart, 40 %": (CHART | {"share": 40}, 1.0),
    "film, 7.44 m² / 1.24 m": (FILM | {"roll_width": 1.24}, 6.0),
    "film without waste, 6.2 m² / 1.24 m": (FILM | {"roll_width": 1.24, "waste": 0}, 5.0),
    "film and a panel, (7.44 + 0.56) m² / 1.6 m": (FILM | {"roll_width": 1.6, "spoiled_panel": 0.56}, 5.0),
}  # fmt: skip


@pytest.mark.parametrize("name", HAND_WORKED)
def test_quantity_worked_by_hand(name: str) -> None:
    table, expected = HAND_WORKED[name]
    assert middle(expand(**table)) == pytest.approx(expected)


def test_usual_figures_that_a_table_leaves_out_stand_in_the_formula() -> None:
    cleaner = expand(**(MAT | {"buy": "cleaner", "waste": 10}))
    assert quantity(cleaner, cleaner=0.3) == pytest.approx(4.95 * 0.3)
    hardener = expand(**(SKIM | {"overfill": 50, "waste": 10, "buy": "hardener"}))
    assert quantity(hardener, hardener=4) == pytest.approx(2.97 * 40)
    bead = {
        "kind": "sealant",
        "section": "rectangle",
        "width": 6,
        "depth": 6,
        "length": 1000,
        "cartridge": 100,
    }
    assert quantity(expand(**bead), waste=0, residue=10) == 400
    assert quantity(expand(**bead), waste=10, residue=0) == 396
    assert quantity(expand(kind="film", area=6.2, roll_width=1.24), waste=20) == pytest.approx(6)
    assert quantity(expand(**(MAT | {"buy": "glass"})), waste=15) == pytest.approx(2.07)


@pytest.mark.parametrize(
    ("degrees", "percent"), [(5, 4), (13, 4), (13.1, 3), (16, 3), (16.5, 2), (20, 2), (25, 1), (35, 1)]
)
def test_catalyst_follows_the_chart(degrees: float, percent: float) -> None:
    table = ONE_OF_EACH["laminate"] | {"buy": "catalyst", "waste": 0, "ratio": 2.5}
    uncertain = expand(**table, temperature={"low": 8, "middle": 15, "high": 24})

    assert quantity(uncertain, temperature=degrees) == pytest.approx(4.5 * 10 * percent)
    assert middle(expand(**table, temperature=degrees)) == pytest.approx(4.5 * 10 * percent)


@pytest.mark.parametrize("degrees", [-2, 4.9, 35.5])
def test_catalyst_outside_the_chart_is_refused(degrees: float) -> None:
    table = ONE_OF_EACH["laminate"] | {"buy": "catalyst", "temperature": degrees}
    with pytest.raises(RuleError, match=r"part\.takeoff\.temperature: .* from 5 to 35 °C"):
        expand(**table)


def test_gelcoat_takes_two_percent_whatever_the_weather() -> None:
    found = expand(kind="gelcoat", area=1.6, waste=0, thickness=0.5, buy="catalyst")
    assert middle(found) == pytest.approx(20)  # ml for 1 kg
    with pytest.raises(ValidationError, match="temperature"):
        expand(kind="gelcoat", area=1.6, buy="catalyst", temperature=30)


def test_epoxy_parts_add_up_to_the_mix() -> None:
    table = ONE_OF_EACH["laminate"] | {"resin": "epoxy", "glass": "woven"}
    mixed = middle(expand(**table))
    resin = middle(expand(**table, hardener_per_100=30))
    hardener = middle(expand(**(table | {"buy": "hardener"}), hardener_per_100=30))
    assert resin + hardener == pytest.approx(mixed)
    assert hardener / resin == pytest.approx(0.30)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"resin": "epoxy", "buy": "catalyst"}, "epoxy with catalyst"),
        ({"resin": "epoxy", "buy": "hardener"}, "hardener without its ratio"),
        ({"buy": "hardener", "hardener_per_100": 30}, "hardener with polyester"),
        ({"layers": None}, "neither layers nor thickness"),
        ({"thickness": 3}, "both layers and thickness"),
        ({"coverage": 0.75, "buy": "catalyst"}, "coverage, but buys catalyst"),
        ({"temperature": 20, "catalyst": 2}, "both temperature and catalyst"),
    ],
)
def test_laminate_that_contradicts_itself_is_refused(change: dict[str, Any], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        expand(**(ONE_OF_EACH["laminate"] | change))


@pytest.mark.parametrize("key", ["waste", "ratio"])
def test_no_waste_on_top_of_a_laminate_chart(key: str) -> None:
    with pytest.raises(ValidationError, match=rf"coverage together with {key}.*count twice"):
        expand(**(ONE_OF_EACH["laminate"] | {"coverage": 0.75, key: 2}))


@pytest.mark.parametrize("key", ["film", "solids", "transfer", "waste", "per_mix"])
def test_no_losses_on_top_of_a_paint_chart(key: str) -> None:
    with pytest.raises(ValidationError, match=rf"coverage together with {key}.*count twice"):
        expand(kind="paint", area=6, coats=2, coverage=6, **{key: 20})


def test_a_coverage_chart_stands_alone() -> None:
    found = expand(
        kind="laminate", buy="resin", area=8.4, areal_weight=339, layers=2, resin="epoxy", glass="woven",
        coverage=1.5,
    )  # fmt: skip
    assert middle(found) == pytest.approx(11.2)
    assert found.unit == "L"
    assert found.inputs == {}
    assert any("none is added" in note for note in found.notes)


def test_part_used_cartridges_do_not_survive_a_session() -> None:
    table = ONE_OF_EACH["sealant"] | {"waste": 0, "residue": 0}
    # 14 m × 36 ml = 504 ml: two cartridges at once, but one in each of three sessions.
    assert middle(expand(**table)) == 2
    assert middle(expand(**table, sessions=3)) == 3
    assert middle(expand(**table, sessions=2.4)) == 3  # a broken session is a session


def test_sessions_waste_less_than_a_pack_each() -> None:
    counts = [middle(expand(**FLARES, pack=1.0, sessions=number)) for number in range(1, 12)]
    need = middle(expand(**FLARES))
    assert all(count >= need for count in counts)
    assert all(count < need + number for number, count in enumerate(counts, 1))


def test_cartridges_that_fit_exactly_need_no_spare_one() -> None:
    table = {"kind": "sealant", "section": "rectangle", "width": 6, "depth": 6, "waste": 0, "residue": 0}
    assert middle(expand(**table, length=31, cartridge=310)) == math.ceil(31 * 36 / 310)
    assert middle(expand(**table, length=8.5, cartridge=306)) == 1
    assert middle(expand(**table, length=8.51, cartridge=306)) == 2


def test_two_part_adhesive_loses_a_nozzle_for_each_session_and_pause() -> None:
    table = {"kind": "adhesive", "length": 10, "section": "round", "width": 6, "two_part": True}
    both = table | {"sessions": 2, "pauses": 3}
    assert middle(expand(**both, buy="nozzles")) == 5
    plain = expand(**table, waste=0, residue=0, nozzle_loss=12.5)
    assert middle(plain) == math.ceil((10 * math.pi * 9 + 12.5) / 310)
    with pytest.raises(ValidationError, match="one-part"):
        expand(kind="adhesive", length=10, section="round", width=6, pauses=1)


def test_discs_are_packed_grit_by_grit() -> None:
    steps = [
        {"grit": 80, "rounds": 2, "rate": 3},
        {"grit": 180, "rounds": 2, "rate": 2},
        {"grit": 320, "rate": 1.5},
    ]
    table = {"kind": "abrasives", "area": 5, "steps": steps}
    assert middle(expand(**table)) == 58
    assert expand(**table).working == "5 m²: P80 30, P180 20, P320 8 → 58 discs"
    assert middle(expand(**table, pack=25)) == 2 + 1 + 1
    assert not expand(**table, sanding_hours=13).cautions
    assert "13" not in expand(**table, sanding_hours=30).working
    assert "usually take 90 to 180 discs" in expand(**table, sanding_hours=30).cautions[0]


def test_open_and_closed_lines_of_rivets() -> None:
    table = {"kind": "fasteners", "length": 1.8, "pitch": 75, "spares": 0}
    assert middle(expand(**table)) == 25
    assert middle(expand(**table, closed=True)) == 24
    assert middle(expand(**table, count=4)) == 100
    assert middle(expand(**(table | {"spares": 20}), count=4, pack=100)) == 2
    assert middle(expand(**table, count=4, buy="washers", washers_each=2)) == 200
    assert middle(expand(kind="fasteners", length=1.8, pitch=75, count=4, buy="drill-bits")) == 2


def test_what_is_bought_for_a_row_of_rivets_is_named() -> None:
    table = {"kind": "fasteners", "length": 1.8, "pitch": 75}
    assert expand(**table, spares=0).unit == "rivets"
    assert expand(**table, spares=0, fastener="bolts").unit == "bolts"
    assert expand(**table, spares=0, buy="washers", washers_each=2).unit == "washers"
    assert expand(**table, buy="drill-bits").unit == "bits"


def test_rivets_too_close_or_too_near_the_edge_are_said_so() -> None:
    found = expand(kind="fasteners", length=1, pitch=14, diameter=4.8, edge=9)
    assert "under 3 diameters (14.4 mm)" in found.cautions[0]
    assert "under 2 diameters (9.6 mm)" in found.cautions[1]
    assert not expand(kind="fasteners", length=1, pitch=15, diameter=4.8, edge=10).cautions


def test_wheel_bolts_are_checked_and_never_approved() -> None:
    found = expand(**ONE_OF_EACH["wheel-bolts"])
    assert middle(found) == 20
    assert "28 mm + 15 mm spacer = 43 mm" in found.notes[0]
    assert "9.33 turns of M14×1.5" in found.notes[0]
    assert found.cautions[0].startswith("A check, not an approval")


def test_deep_filler_is_laminated_first() -> None:
    assert "laminate first" in expand(**FLARES).cautions[0]
    assert not expand(**(FLARES | {"depth": 3})).cautions


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ({"kind": "putty"}, "kind is 'putty'.*filler"),
        ({"shape": "strip"}, "no kind"),
        ({"kind": "filler", "shape": "skim", "length": 2}, "area, thickness missing and length too many"),
        ({"kind": "filler", "shape": "dish", "length": 2, "width": 60}, "depth missing"),
        ({"kind": "film", "area": -2}, "Dimensions and counts must be above zero"),
        ({"kind": "film", "area": 2, "waste": 0.15}, "in percent: write 15 for 15%"),
        ({"kind": "film", "area": {"low": 1, "middle": 2, "high": 3, "currency": "JPY"}}, "has no currency"),
        ({"kind": "sealant", "length": 2, "section": "round", "width": 5, "depth": 5}, "leave depth out"),
        ({"kind": "sealant", "length": 2, "section": "vee", "width": 5}, "depth missing"),
        ({"kind": "sealant", "length": 2, "width": 5, "depth": 5, "pack": 310}, "cartridge = 310"),
        ({"kind": "paint", "area": 2}, "film and solids missing"),
        ({"kind": "paint", "area": 2, "film": 50, "solids": 40}, "coats missing"),
        ({"kind": "abrasives", "area": 2, "steps": [{"grit": 80}, {"grit": 80}]}, "P80 stands twice"),
        ({"kind": "fasteners", "length": 2, "fastener": "clips"}, "no pitch for clips"),
    ],
)
def test_mistakes_are_named(table: dict[str, Any], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        expand(**table)


def test_every_assumption_says_where_it_comes_from() -> None:
    assert all(len(item.source) > 5 for item in ASSUMPTIONS.values())
    practice = [item for item in ASSUMPTIONS.values() if "common practice" in item.source]
    assert all("yours to overwrite" in item.source for item in practice)
    assert any("yours to overwrite" in note for note in expand(**FLARES).notes)


@pytest.mark.parametrize(
    "raw",
    [
        3,
        {"low": 1, "middle": 2, "high": 5},
        {"low": 2, "high": 8},
        {"shape": "lognormal", "median": 7, "sigma": 0.4},
        {"shape": "uniform", "min": 2, "max": 5},
        {"shape": "triangular", "min": 100, "mode": 120, "max": 180},
        {"shape": "beta-pert", "min": 10, "mode": 13, "max": 22},
        {"shape": "discrete", "values": [3, 1, 2], "chances": [0.2, 0.3, 0.5]},
        {"shape": "discrete", "values": [1, 2], "chances": [0.5, 0.5]},
        {"quotes": [410, 455, 300]},
    ],
)
def test_a_line_opens_to_a_product_that_is_its_factors(raw: Any) -> None:
    """An area of any shape: the working, the quantity and the base estimate stand at one and the same middle."""
    table = {"kind": "film", "area": raw, "waste": 0, "roll_width": 1.0}
    area = TypeAdapter(UncertainFigure).validate_python(raw)
    build = Build.model_validate({
        "build": {"name": "x", "currency": "EUR", "country": "IE", "estimating": 0},
        "line": [
            {"id": "film", "group": "finish", "takeoff": table, "price": 1},
            {"id": "plain", "group": "finish", "amount": area},
        ],
    })  # fmt: skip
    plan = compile_plan(build)
    film, plain = plan.at_middle().values()
    opened = open_line(plan, "film")
    shown = float(opened.working.split(" → ")[1].split(" m")[0])

    assert film == pytest.approx(plain, rel=1e-12) == opened.total
    assert shown == pytest.approx(film, rel=5e-3)
    assert opened.working.startswith(f"{digits(film)} m² × 1 = {digits(film)} m² / 1 m → {digits(film)} m; ")


SEALANT = {"kind": "sealant", "length": 14, "section": "rectangle", "width": 6, "depth": 6}
CLEAR = {"kind": "paint", "area": 6, "paint": "clear"}


@pytest.mark.parametrize(
    ("table", "key", "value", "message"),
    [
        (SEALANT, "residue", 100, "found 100.*give 90 at most"),
        (SEALANT, "residue", 150, "found 150.*give 90 at most"),
        (SEALANT, "residue", {"low": 20, "middle": 60, "high": 95}, "found 95.*give 90 at most"),
        (SEALANT, "residue", 0.05, "This is in percent: write 5 for 5%"),
        (SEALANT, "waste", -1, "must not be below zero"),
        (SEALANT, "waste", 1e6, "found 1e.06.*1000 at most"),
        (SEALANT, "length", {"shape": "normal", "mean": 14, "sd": 5}, "goes down to -6.*low = …, middle"),
        (
            SEALANT,
            "length",
            {"shape": "metalog", "p10": 1, "p50": 5, "p90": 9},
            "goes down to -15.*low = …, middle",
        ),
        (CLEAR, "transfer", 0, "found 0.*give 1 percent or more"),
        (CLEAR, "solids", 0, "found 0.*give 1 percent or more"),
        (CLEAR, "solids", 120, "found 120.*100 percent at most"),
        (CLEAR, "transfer", {"shape": "normal", "mean": 40, "sd": 10}, "found 0.*give 1 percent or more"),
    ],
)
def test_percentages_that_cannot_be_are_refused(
    table: dict[str, Any], key: str, value: Any, message: str
) -> None:
    with pytest.raises(ValidationError, match=message):
        expand(**(table | {key: value}))


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        (SEALANT, "residue", {"low": 20, "middle": 60, "high": 89}),
        (SEALANT, "residue", 90),
        (CLEAR, "transfer", {"low": 1, "middle": 30, "high": 99}),
        (CLEAR, "solids", {"shape": "lognormal", "median": 60, "sigma": 2}),
    ],
)
def test_no_draw_of_a_percentage_makes_nothing_or_less(table: dict[str, Any], key: str, value: Any) -> None:
    """The tails of these ranges go beyond all percent."""
    line = {"id": "a", "group": "finish", "takeoff": table | {key: value}, "price": 1}
    build = Build.model_validate({"build": {"name": "x", "currency": "EUR", "country": "IE"}, "line": [line]})
    totals = simulate(build, trials=16_384).trials.totals

    assert totals.min() > 0
    assert totals.max() < 1e5


def test_a_percentage_kept_within_its_limits_opens_as_itself() -> None:
    line = {"id": "a", "group": "finish", "takeoff": SEALANT, "price": 1}
    build = Build.model_validate({"build": {"name": "x", "currency": "EUR", "country": "IE"}, "line": [line]})
    working = open_line(compile_plan(build), "a").working

    assert "residue 5" in working
    assert "larger" not in working


def test_packs_are_rounded_in_the_formula_and_not_before() -> None:
    found = expand(**FLARES, pack=2.0)
    assert any(isinstance(node, RoundedUp) for node in walk(found.formula))
    assert quantity(found, overfill=30) < quantity(found, overfill=120)


@pytest.mark.parametrize(("table", "without"), [
    ({"kind": "paint", "area": 6, "paint": "clear", "per_mix": 0}, {"per_mix": 0.000001}),
    ({"kind": "film", "area": 6, "spoiled_panel": 0}, {"spoiled_panel": None}),
    ({"kind": "adhesive", "length": 10, "section": "round", "width": 6, "two_part": True, "pauses": 0},
     {"pauses": None}),
    ({"kind": "adhesive", "length": 10, "section": "round", "width": 6, "two_part": True, "nozzle_loss": 0},
     {"nozzle_loss": 0.000001}),
    ({"kind": "abrasives", "area": 5, "steps": [{"grit": 80}, {"grit": 120, "rounds": 0}]}, {"steps": [{"grit": 80}]}),
])  # fmt: skip
def test_a_step_that_is_skipped_takes_nothing(table: dict[str, Any], without: dict[str, Any]) -> None:
    left = {key: value for key, value in (table | without).items() if value is not None}
    assert middle(expand(**table)) == pytest.approx(middle(expand(**left)), rel=1e-6)


def test_what_may_be_skipped_is_still_not_below_zero_and_the_rest_not_zero() -> None:
    with pytest.raises(ValidationError, match="found -1"):
        expand(kind="paint", area=6, paint="clear", per_mix=-1)
    with pytest.raises(ValidationError, match="found 0"):
        expand(kind="paint", area=0, paint="clear")
    with pytest.raises(ValidationError, match="currency"):
        expand(kind="paint", area=6, paint="clear", per_mix={"value": 0, "currency": "EUR"})
