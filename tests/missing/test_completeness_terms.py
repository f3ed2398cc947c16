"""What has been left out of the terms of a consignment, and with an option of a choice."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from forecast.buildfile.edit import changed
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.missing.left_out import Finding, findings
from forecast.views.cli import main

HEAD = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
CRATE = (
    '[[consignment]]\nid = "crate"\nprice = 1000\nincoterm = "EXW"\nmode = "sea"\nfreight = 300\n'
    "boxes = [{ length = 200, width = 120, height = 60, weight = 45 }]\ninsurance_percent = 2.0\n"
)
INLAND = "export_inland = { low = 80, middle = 180, high = 400 }\n"
KIT = '[[line]]\nid = "kit"\ngroup = "kit"\namount = { low = 1, middle = 2, high = 5 }\n'
WHEELS = """
[[option]]
id = "five_spoke"
choice = "wheels"
name = "Five spokes"

[[option.line]]
id = "alloys"
name = "Alloy wheels"
group = "wheels"
amount = { low = 850, middle = 1150, high = 1750 }
"""


def found(text: str) -> dict[str, Finding]:
    return {item.rule: item for item in findings(parse_build(text))}


def after(text: str, finding: Finding) -> Build:
    assert finding.change is not None
    return parse_build(changed(text, [finding.change]))


def test_ex_works_calls_for_the_costs_in_the_export_country() -> None:
    finding = found(HEAD + CRATE)["export_inland-crate"]

    assert (finding.grade, finding.line, finding.unit) == ("must", "crate", "EUR")
    assert finding.cost == (80, 180, 400)
    assert "Common practice" in finding.source
    assert 'id = "crate" add export_inland = { low = 80, middle = 180, high = 400 }' in finding.mend
    assert after(HEAD + CRATE, finding).consignment[0].export_inland.as_written() == {  # type: ignore[union-attr]
        "low": 80, "middle": 180, "high": 400,
    }  # fmt: skip


def test_ex_works_with_its_costs_or_an_answer_is_silent() -> None:
    assert "export_inland-crate" in found(HEAD + CRATE + "export_inland = 0\n")
    assert "export_inland-crate" not in found(HEAD + CRATE + INLAND)
    assert "export_inland-crate" not in found(HEAD + CRATE.replace("EXW", "FCA"))
    for key in ("export_inland", "export_inland-crate"):
        assert "export_inland-crate" not in found(
            HEAD + CRATE + f'[not_needed]\n{key} = "a friend brings it"\n'
        )


def test_the_usual_costs_follow_the_builds_currency() -> None:
    text = (HEAD + CRATE).replace('currency = "EUR"', 'currency = "JPY"').replace('"IE"', '"JP"')
    assert found(text)["export_inland-crate"].cost == pytest.approx(
        (80 * 176, 180 * 176, 400 * 176), rel=0.05
    )


@pytest.mark.parametrize("tax", ["vat = 0", '"gst" = 0.0', "tax = 0", 'vat = 0, "duty.8708.29" = 0.04'])
def test_import_tax_overwritten_with_nothing(tax: str) -> None:
    text = HEAD + CRATE + INLAND + f"overrides = {{ {tax} }}\n"
    finding = found(text)["import_tax-crate"]

    assert (finding.grade, finding.line) == ("must", "crate")
    assert finding.cost is not None
    assert "out of overrides" in finding.mend
    left = after(text, finding).consignment[0].overrides
    assert {name: figure.as_written() for name, figure in left.items()} == (
        {"duty.8708.29": 0.04} if "duty" in tax else {}
    )


def test_a_rate_of_tax_above_nothing_is_the_builders_own() -> None:
    base = HEAD + CRATE + INLAND
    for rest in ("", "overrides = { vat = 0.135 }\n", 'overrides = { "duty.8708.29" = 0.0 }\n'):
        assert "import_tax-crate" not in found(base + rest)
    zero = "overrides = { vat = 0 }\n"
    assert "import_tax-crate" not in found(
        base + zero + '[not_needed]\nimport_tax = "relief for a removal"\n'
    )
    assert "import_tax-crate" not in found((base + zero).replace("EXW", "DDP"))
    assert "import_tax-crate" not in found((base + zero).replace('"IE"', '"US"'))


@pytest.mark.parametrize("cost", ["amount = 0", 'percent = 0\nof = ["kit"]'])
def test_a_line_of_tax_that_costs_nothing_is_none(cost: str) -> None:
    freight = '[[line]]\nid = "sea_freight"\ngroup = "freight"\namount = 300\n'
    duty = '[[line]]\nid = "duty"\ngroup = "import"\npercent = 4.5\nof = ["kit", "sea_freight"]\n'
    tax = f'[[line]]\nid = "import_vat"\ngroup = "import"\n{cost}\n'
    assert found(HEAD + KIT + freight + duty + tax)["tax_on_duty"].grade == "must"


def test_a_percentage_is_mended_by_its_change() -> None:
    fee = '[[line]]\nid = "card_fee"\ngroup = "other"\npercent = 2.5\nof = ["panels"]\n'
    panels, lip = (KIT.replace('"kit"\ng', f'"{name}"\ng') for name in ("panels", "lip"))
    text = HEAD + panels + lip + fee
    finding = found(text)["percent_misses-card_fee"]
    assert "percent_misses-card_fee" not in {item.rule for item in findings(after(text, finding))}


# ---------------------------------------------------------------------------------------------------------- options


def test_what_an_option_brings_is_looked_at() -> None:
    rules = found(HEAD + KIT + WHEELS)

    for rule, grade in (("tyres", "must"), ("wheel_fixings", "must"), ("alignment", "usual")):
        assert rules[rule].grade == grade
        assert rules[rule].missing.endswith('with option "Five spokes"')
    assert not {"tyres", "wheel_fixings", "alignment"} & set(found(HEAD + KIT))


def test_what_is_missing_goes_into_the_option_and_then_is_there() -> None:
    text = HEAD + KIT + WHEELS
    finding = found(text)["tyres"]

    assert finding.starter is None  # a line of the build would count without the option too
    assert finding.cost == (350, 700, 1500)
    assert 'Under [[option]] with id = "five_spoke" add [[option.line]]' in finding.mend
    keys = finding.mend.partition("with the keys ")[2].removesuffix(".")
    lines = (
        keys.replace(", name =", "\nname =")
        .replace(", group =", "\ngroup =")
        .replace(", amount =", "\namount =")
    )
    whole = text + "\n[[option.line]]\n" + lines.replace(", safety =", "\nsafety =") + "\n"
    assert "tyres" not in found(whole)


def test_what_is_missing_anyway_is_said_once() -> None:
    rules = [item for item in findings(parse_build(HEAD + KIT + WHEELS)) if item.rule == "insurance"]
    assert [item.missing for item in rules] == ["Insurer told, and the change of cover"]


def test_options_that_lack_the_same_share_a_finding() -> None:
    second = (
        WHEELS.replace('"five_spoke"', '"mesh"')
        .replace("Five spokes", "Mesh")
        .replace('"alloys"', '"meshes"')
    )
    assert (
        found(HEAD + KIT + WHEELS + second)["tyres"].missing == 'Tyres, with option "Five spokes" and "Mesh"'
    )
    answered = "[not_needed]\ntyres = 'with the wheels'\n"
    assert "tyres" not in found(HEAD + KIT + WHEELS + second + answered)


def test_an_option_that_brings_what_goes_with_it_is_silent() -> None:
    whole = WHEELS + "".join(
        f'[[option.line]]\nid = "{name}"\ngroup = "wheels"\namount = {{ low = 1, middle = 2, high = 5 }}\n'
        for name in ("tyres", "wheel_bolts", "mounting", "alignment")
    )
    assert not {"tyres", "wheel_fixings", "tyre_mounting", "alignment"} & set(found(HEAD + KIT + whole))


def test_ranges_and_terms_of_an_option_are_judged() -> None:
    flat = WHEELS.replace("amount = { low = 850, middle = 1150, high = 1750 }", "amount = 1150")
    assert '[[option.line]] with id = "alloys"' in found(HEAD + KIT + flat)["no_width-alloys"].mend
    terms = '[[option]]\nid = "door"\nchoice = "terms"\noverride = { crate = { incoterm = "EXW" } }\n'
    finding = found(HEAD + CRATE.replace("EXW", "FOB") + terms)["export_inland-crate"]
    assert 'with option "Door"' in finding.missing
    assert 'That of [[option]] with id = "door" is meant' in finding.mend


@pytest.mark.parametrize("price", ["1150", "{ low = 1100, middle = 1150, high = 1180 }"])
def test_what_was_quoted_is_as_narrow_as_it_was_quoted(price: str) -> None:
    firm = f'[[option]]\nid = "maker"\nchoice = "kit"\noverride = {{ kit = {{ amount = {price} }} }}\n'
    assert not [rule for rule, item in found(HEAD + KIT + firm).items() if item.narrow]
    alone = KIT.replace("{ low = 1, middle = 2, high = 5 }", price)
    assert [item.line for item in found(HEAD + alone).values() if item.narrow] == ["kit"]


# ------------------------------------------------------------------------------------------------------- one command


def test_one_command_makes_the_edit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "build.toml"
    file.write_text(HEAD + CRATE + "overrides = { vat = 0 }  # none, I hope\n", encoding="utf-8")

    assert main(["check", str(file)]) == 0
    text = capsys.readouterr().out
    assert f"forecast add {file} export_inland-crate; or: In [[consignment]]" in text
    assert main(["add", str(file), "export_inland-crate"]) == 0
    assert "export_inland of crate is written. Common practice" in capsys.readouterr().out
    assert main(["add", str(file), "import_tax-crate", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"changed": "crate", "key": "overrides", "value": None}

    assert not {"export_inland-crate", "import_tax-crate"} & set(found(file.read_text(encoding="utf-8")))
