"""``forecast landed``: one import to the cent, as authorities work their examples out, and what may come on top."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from forecast.views.cli import main
from forecast.words.currencies import reference

REFERENCES = json.loads(
    (Path(__file__).parents[1] / "references" / "landed_examples.json").read_text(encoding="utf-8")
)
EXAMPLES: dict[str, dict[str, Any]] = {example["id"]: example for example in REFERENCES["examples"]}


def answered(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert main(["landed", *words, "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def parts(found: dict[str, Any]) -> dict[str, Decimal]:
    return {part["id"]: Decimal(part["amount"]) for part in found["parts"]}


def test_new_zealands_published_example(capsys: pytest.CaptureFixture[str]) -> None:
    """Of the customs service's fact sheet; the source stands beside the example in the file."""
    example = EXAMPLES["nz-duty-gst"]
    given, published = example["inputs"], example["published"]
    own = {"duty.8708.29": given["duty_rate"], "gst": given["gst_rate"], "import_relief": 0}
    own |= {"levy.transaction": 0, "levy.biosecurity": 0}  # younger than the example

    found = answered(
        capsys, "new zealand", str(given["goods"]), "--freight", str(given["freight_insurance"]),
        *(word for name, value in own.items() for word in ("--figure", f"{name}={value}")),
    )  # fmt: skip

    assert parts(found)["duty"] == Decimal(str(published["duty"]))
    assert parts(found)["tax_base"] == Decimal(str(published["gst_base"]))
    assert parts(found)["tax"] == Decimal(str(published["gst"]))
    paid = sum(Decimal(part["amount"]) for part in found["parts"] if part["paid"])
    assert Decimal(found["total"]) == paid


def test_a_share_is_read_with_its_percent_sign(capsys: pytest.CaptureFixture[str]) -> None:
    words = ("IE", "1 850", "--figure", "duty.8708.29=5%")

    assert answered(capsys, *words, "--figure", "vat=20%") == answered(capsys, *words, "--figure", "vat=0.2")
    assert parts(answered(capsys, *words, "--figure", "vat=20%"))["tax"] == Decimal(
        "388.50"
    )  # 1,942.50 × 20 %


def test_a_sum_in_other_money_is_converted_and_says_at_which_rate(capsys: pytest.CaptureFixture[str]) -> None:
    found = answered(capsys, "GB", "65 000 THB", "--from", "Thai", "--freight", "£400")

    rate = reference("THB", "GBP")
    assert rate is not None
    assert parts(found)["goods"] == (Decimal(65_000) * Decimal(str(rate.rate))).quantize(Decimal("0.01"))
    assert found["converted"]["price"]["rate"] == rate.rate
    assert set(found["converted"]) == {"price"}
    assert main(["landed", "GB", "65 000 THB"]) == 0
    assert f"at {rate.rate:g} GBP a THB" in capsys.readouterr().out


def test_a_member_of_a_union_counts_in_its_own_money(capsys: pytest.CaptureFixture[str]) -> None:
    found = answered(capsys, "Polska", "500", "--figure", "vat=23%")

    rate = reference("EUR", "PLN")
    assert rate is not None
    assert found["currency"] == "PLN"
    assert parts(found)["goods"] == 500
    # A small parcel's flat duty of 3 euro (Council Regulation (EU) on consignments of up to 150 euro), in zloty.
    assert parts(found)["duty"] == (3 * Decimal(str(rate.rate))).quantize(Decimal("0.01"))
    assert parts(found)["tax"] == ((500 + parts(found)["duty"]) * Decimal("0.23")).quantize(Decimal("0.01"))


def test_what_may_hold_as_well_is_named_and_counted_where_asked_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = ("US", "1850", "--from", "Japan")
    without = answered(capsys, *words)
    assert "section232" in without["not_counted"]
    assert main(["landed", *words]) == 0
    assert "--also section232 counts it" in capsys.readouterr().out

    # The rule's rate for this origin is the total with the base duty: 15 % of 1,850.
    counted = answered(capsys, *words, "--also", "section232", "--figure", "section232.total.JP=15%")
    assert "section232" not in counted["not_counted"]
    assert parts(counted)["duty"] + parts(counted)["section232"] == Decimal("277.50")


@pytest.mark.parametrize("country", ["TH", "NZ", "MY", "TR", "JP"])
def test_what_is_only_a_range_names_the_option_that_completes_it(
    country: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["landed", country, "1850", "--from", "DE"]
    assert main(words) == 2
    told = capsys.readouterr().err
    assert "overrides" not in told
    pasted = told.partition("such as ")[2].strip().removesuffix(".").split()
    assert pasted[0] == "--figure"
    assert main([*words, *pasted]) == 0
    assert "at your door" in capsys.readouterr().out


@pytest.mark.parametrize("words", [("narnia", "1850"), ("AQ", "1850"), ("IE", "1850", "--from", "narnia")])
def test_a_country_has_to_be_known_here(words: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["landed", *words]) == 2
    assert "don't know" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("narnia", "1850"), "there is no country called 'narnia'"),
        (("CA", "1850"), "Say --region with one of AB (Alberta)"),
        (("NZ", "4.200"), "'4.200' can mean 4200 or 4.2"),
        (("IE", "1850", "--by", "boat"), "Legal are courier, air, sea, road"),
        (("IE", "1850", "--figure", "vat"), "Write a name and a value, such as vat=23%"),
        (("IE", "1850", "--figure", "wat=3"), "there is no rule figure 'wat'"),
        (("US", "1850", "--also", "section9"), "Legal: section232"),
        (("US", "1850", "--from", "JP", "--also", "section232"), "only a range is on file, 15 to 27.5 %"),
    ],
)
def test_what_cannot_be_is_refused_in_words(
    words: tuple[str, ...], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["landed", *words]) == 2
    captured = capsys.readouterr()
    assert told in captured.err
    assert captured.out == ""
