"""Cautions stand beside the lines they concern, and beside no others."""

from __future__ import annotations

from typing import get_args

import pytest

from forecast.buildfile.cautions import (
    KINDS_OF_CAUTIONS,
    cautions_for,
    cautions_of,
    hazards_asked,
    load_cautions,
    load_hazards,
    mentions,
)
from forecast.buildfile.library import load_library
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import HazardKey
from forecast.errors import BuildFileError
from forecast.start import read_answers, write_build


def topics(line_id: str, hazards: tuple[str, ...] | None = None) -> set[str]:
    return {caution.id for caution in cautions_for(line_id, hazards)}


@pytest.mark.parametrize(
    ("line_id", "expected"),
    [
        ("primers", {"isocyanate", "epoxy", "solvents"}),
        ("priming", {"isocyanate", "sanding_dust"}),
        ("paint_materials", {"isocyanate", "solvents", "waste"}),
        ("air_fed_mask", {"isocyanate", "breathing_air"}),
        ("spray_guns", {"isocyanate", "compressed_air"}),
        ("compressor", {"compressed_air", "breathing_air"}),
        ("laminate_materials", {"styrene", "peroxide", "resin_heat", "epoxy", "glass_dust"}),
        ("filler", {"styrene", "driver_aids"}),
        ("adhesive", {"polyurethane", "epoxy", "isocyanate_training"}),
        ("inner_arches", {"welding", "welding_electronics", "fuel", "cut_structure", "grinding"}),
        ("strip_down", {"airbags", "crash_parts", "high_voltage"}),
        ("kit", {"crash_parts", "driver_aids", "sharp_edges", "lifting", "approval", "insurer"}),
        ("tyres", {"tyre_load"}),
        ("wheels", {"wheel_fixings", "wheel_cover"}),
        ("lamps", {"lamps", "airbags"}),
        ("rented_space", {"storing"}),
    ],
)
def test_caution_stands_beside_its_line(line_id: str, expected: set[str]) -> None:
    assert expected <= topics(line_id)
    assert topics(f"{line_id}_self") == topics(line_id)


def test_primer_is_no_filler_whatever_it_is_called() -> None:
    assert "styrene" not in topics("primers")
    assert load_library().line("primers").cautions == cautions_for("primers")


def test_harmless_lines_have_none() -> None:
    assert topics("electricity") == set()
    assert topics("card_fee") == set()


NAMED = """
[build]
name = "x"
currency = "EUR"
country = "IE"
[[line]]
id = "pipe"
name = "{name}"
group = "hardware"
amount = 90
{more}
"""


def beside(name: str, more: str = "") -> tuple[set[str], tuple[str, ...]]:
    build = parse_build(NAMED.format(name=name, more=more))
    asked = tuple(one.sentence for one in hazards_asked(build))
    return {caution.id for caution, _ in cautions_of(build)}, asked


def test_a_name_is_never_a_match_and_at_most_a_question() -> None:
    assert beside("Fuel filler pipe") == (set(), ())
    found, (asked,) = beside("Two-pack clear coat")
    assert found == set()
    assert asked == (
        '\u201cTwo-pack clear coat\u201d: is it spraying? If so, write hazards = ["spraying"] on it and its cautions '
        "stand beside it; if not, hazards = []."
    )


def test_what_the_file_says_comes_before_name_and_id() -> None:
    found, asked = beside("Two-pack clear coat", 'hazards = ["spraying"]')
    assert ("isocyanate" in found, asked) == (True, ())
    assert beside("Two-pack clear coat", "hazards = []") == (set(), ())
    assert topics("primers", ()) == set()
    assert "jacking" in topics("primers", ("jacking",))
    assert beside("Clear coat", 'package = "paint"\nroute = "shop"')[1] == ()


def test_an_unknown_hazard_is_told_with_what_is_legal() -> None:
    with pytest.raises(BuildFileError, match="spraying"):
        beside("x", 'hazards = ["spray"]')


def test_the_keys_of_the_file_are_those_of_the_data() -> None:
    assert set(get_args(HazardKey)) == set(load_hazards())
    used = {key for caution in load_cautions() for key in caution.hazards}
    assert used == set(load_hazards())


def test_mentions_reads_ids_hyphens_and_case() -> None:
    assert mentions("Two-Pack clear", ["two-pack"])
    assert mentions("air_fed_mask", ["air fed"])
    assert mentions("Air-fed mask", ["air fed"])
    assert not mentions("Packing", ["pack"])


def test_a_build_has_each_caution_once_with_the_names_it_concerns() -> None:
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
    for name, group in (("Body kit", "kit"), ("Rear lip", "kit"), ("Card fee on the kit", "import")):
        text += f'[[line]]\nid = "{name.lower().replace(" ", "_")}"\nname = "{name}"\ngroup = "{group}"\namount = 9\n'
        text += 'hazards = ["panels"]\n'
    text += '[[consignment]]\nid = "crate"\nname = "Bumper from Japan"\nprice = 9\nincoterm = "DDP"\nmode = "air"\n'
    found = {caution.id: names for caution, names in cautions_of(parse_build(text))}
    assert found["sharp_edges"] == ("Body kit", "Rear lip", "Bumper from Japan")


def test_each_caution_names_an_authority_and_defers() -> None:
    for caution in load_cautions():
        assert caution.authority
        assert caution.source
        assert caution.kind in KINDS_OF_CAUTIONS, caution.id
        assert bool(caution.place) == bool(caution.read), caution.id
        assert caution.place or caution.certainty in ("no source", "common practice")
        assert len(caution.text) < 400
        assert caution.ids or caution.hazards
        assert bool(caution.doing) == bool(caution.harm)
        assert caution.sentence.endswith("Local rules and licensed practice decide.)")


def test_ids_in_cautions_are_those_of_the_library() -> None:
    library = load_library()
    guided = parse_build(write_build(read_answers({"country": "IE", "origin": "JP"})))
    known = {item.id for item in (*library.lines, *library.phases, *library.events)}
    known |= {line.id for line in guided.line}
    assert {name for caution in load_cautions() for name in caution.ids} <= known
    assert {name for hazard in load_hazards().values() for name in hazard.ids} <= known


def test_dangerous_starter_lines_carry_their_caution() -> None:
    library = load_library()
    assert "isocyanate" in {caution.id for caution in library.line("paint_materials").cautions}
    assert "jacking" in {caution.id for caution in library.line("jack_stands").cautions}
    assert "cut_structure" in {caution.id for caution in library.phase("inner_arches").cautions}


def test_keys_of_cautions_leave_no_trace_where_they_are_not_given() -> None:
    """A build of an earlier version keeps its name, so that its saved forecasts stay its own."""
    build = parse_build(NAMED.format(name="x", more=""))
    told = build.model_dump(mode="json", exclude_none=True)
    assert "cautions_read" not in told["build"]
    assert "hazards" not in told["line"][0]
