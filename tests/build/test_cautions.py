"""Cautions stand beside the lines they concern, and beside no others."""

from __future__ import annotations

import pytest

from forecast.build.buildfile import parse_build
from forecast.build.cautions import cautions_for, cautions_of, load_cautions, mentions
from forecast.build.library import load_library


def topics(line_id: str, name: str | None = None, tags: tuple[str, ...] = ()) -> set[str]:
    return {caution.id for caution in cautions_for(line_id, name, tags)}


@pytest.mark.parametrize(
    ("line_id", "name", "expected"),
    [
        ("clear", "Two-pack clear coat, 5 L", "isocyanate"),
        ("primer", "2K epoxy primer", "isocyanate"),
        ("paint_self", "Colour and clear, hardener, thinner", "isocyanate"),
        ("x", "Polyester resin 5 kg", "styrene"),
        ("x", "Polyester resin 5 kg", "peroxide"),
        ("mekp", None, "peroxide"),
        ("discs", "Sanding discs", "sanding_dust"),
        ("wheel_spacers", None, "wheel_fixings"),
        ("tyres", None, "tyre_load"),
        ("rear_arches", "Inner arches cut and welded", "cut_structure"),
        ("headlamp", "Headlamp swap", "lamps"),
        ("insurer", "Insurer told", "insurer"),
        ("skip", "Waste disposal", "waste"),
        ("brakes", "Brake overhaul", "brakes"),
    ],
)
def test_caution_stands_beside_its_line(line_id: str, name: str | None, expected: str) -> None:
    assert expected in topics(line_id, name)


def test_harmless_lines_have_none() -> None:
    assert topics("electricity", "Electricity") == set()
    assert topics("card_fee", "Card fee") == set()
    assert "tyre_load" not in topics("attire", "Tired of attire")  # whole words only


def test_a_tag_calls_a_caution_by_its_id() -> None:
    assert "isocyanate" in topics("job", "Sundry", ("isocyanate",))


def test_mentions_reads_ids_hyphens_and_case() -> None:
    assert mentions("Two-Pack clear", ["two-pack"])
    assert mentions("air_fed_mask", ["air fed"])
    assert mentions("Air-fed mask", ["air fed"])
    assert not mentions("Packing", ["pack"])


def test_a_build_has_each_caution_once_with_the_names_it_concerns() -> None:
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
    for name, group in (("Body kit", "kit"), ("Rear lip", "kit"), ("Card fee on the kit", "import")):
        text += f'[[line]]\nid = "{name.lower().replace(" ", "_")}"\nname = "{name}"\ngroup = "{group}"\namount = 9\n'
    text += '[[consignment]]\nid = "crate"\nname = "Bumper from Japan"\nprice = 9\nincoterm = "DDP"\nmode = "air"\n'
    found = {caution.id: names for caution, names in cautions_of(parse_build(text))}
    assert found["sharp_edges"] == ("Body kit", "Rear lip", "Bumper from Japan")


def test_each_caution_names_an_authority_and_defers() -> None:
    for caution in load_cautions():
        assert caution.authority
        assert caution.source
        assert bool(caution.place) == bool(caution.read), caution.id
        assert caution.place or caution.certainty in ("no source", "common practice")
        assert len(caution.text) < 400
        assert caution.ids or caution.words
        assert caution.sentence.endswith("Local rules and licensed practice decide.)")


def test_ids_in_cautions_are_those_of_the_library() -> None:
    library = load_library()
    known = {item.id for item in (*library.lines, *library.phases, *library.events)}
    assert {name for caution in load_cautions() for name in caution.ids} <= known


def test_dangerous_starter_lines_carry_their_caution() -> None:
    library = load_library()
    assert "isocyanate" in {caution.id for caution in library.line("paint_materials").cautions}
    assert "jacking" in {caution.id for caution in library.line("jack_stands").cautions}
    assert "cut_structure" in {caution.id for caution in library.phase("inner_arches").cautions}
