"""A rate that follows from where in the country the builder lives: asked, taken, and wide until it is told."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest

from forecast.buildfile.consignment import Consignment
from forecast.buildfile.reader import parse_build
from forecast.buildfile.rulefiles import regions_of
from forecast.engine.plan import compile_plan
from forecast.errors import BuildFileError, RuleError
from forecast.start import as_asked, is_asked, question, read_answer, read_answers, write_build
from forecast.trade.consignment_lines import expand
from forecast.trade.expansion import Expansion
from forecast.trade.landed import landed_cost
from forecast.trade.rules import countries, load_rules
from forecast.views.opening_words import open_line
from forecast.views.rule_words import comes_first

ANSWERS: dict[str, Any] = {
    "country": "CA", "origin": "JP", "kit_price": 250_000, "kit_currency": "JPY", "rate": 0.0093, "shipping": "sea",
    "incoterm": "FOB", "boxes": "1 x 200x120x60 45 kg",
}  # fmt: skip

# Percent of import tax by province: table of 10 June 2025 (ace-volve.com, Nova Scotia to cut HST rate in 2025), Nova
# Scotia by GST/HST Notice 342 of March 2025.
PROVINCES = {
    "ON": 13, "NB": 15, "NL": 15, "PE": 15, "NS": 14, "QC": 14.975, "BC": 12, "SK": 11, "MB": 12, "AB": 5, "YT": 5,
    "NT": 5, "NU": 5,
}  # fmt: skip


def canada(region: str | None, **changes: Any) -> Expansion:
    raw = {"id": "kit", "price": 4000, "incoterm": "FOB", "mode": "sea", "freight": 600, **changes}
    return expand(
        Consignment.model_validate(raw), "CA", "CAD", {}, date(2026, 11, 25), per_euro=1.6, region=region
    )


@pytest.mark.parametrize(("code", "percent"), PROVINCES.items())
def test_the_tax_is_that_of_the_province(code: str, percent: float) -> None:
    """Closed form: the rate on 4,000 and 6 % duty."""
    landed = landed_cost("CA", 4000, freight=600, region=code, overrides={"duty.8708.29": 0.06})
    assert float(landed.amount("tax")) == pytest.approx(4240 * percent / 100, abs=0.01)


def test_every_province_is_there() -> None:
    asked = regions_of("CA")
    assert asked is not None
    assert set(asked.choices) == set(PROVINCES)
    assert {code for code in countries() if load_rules(code).home is not None} == {"CA"}


def test_until_it_is_told_the_tax_is_as_wide_as_the_country_has_it_and_the_question_is_put() -> None:
    unknown, told = canada(None), canada("ON")
    use = next(use for use in unknown.figures if use.id == "gst")
    assert use.value == "5 to 15 %"
    assert comes_first(use)
    assert any("In which province" in note and 'region = "AB"' in note for note in unknown.notes)
    assert not any("In which province" in note for note in told.notes)
    assert next(use for use in told.figures if use.id == "gst").value == "13 %"


def test_ones_own_rate_needs_no_province() -> None:
    own = canada(None, overrides={"gst": 0.13})
    assert not any("In which province" in note for note in own.notes)


def test_the_guided_start_asks_where_the_rules_do_and_nowhere_else() -> None:
    item, here = question("region"), {"country": "CA", "origin": "JP"}
    assert is_asked(item, here)
    assert not is_asked(item, {"country": "IE", "origin": "JP"})
    assert not is_asked(item, {"country": "CA", "origin": "CA"})
    assert as_asked(item, here).text == "In which province or territory do you live?"
    assert read_answer(item, "ontario", here) == "ON"
    build = parse_build(write_build(read_answers(ANSWERS | {"region": "ON"})))
    assert build.build.region == "ON"
    assert open_line(compile_plan(build), "kit.tax").working.endswith("× 13 %")
    assert (
        parse_build(write_build(read_answers(ANSWERS | {"country": "IE", "rate": 0.0057}))).build.region
        is None
    )


def test_a_wrong_province_is_told_with_all_that_there_are() -> None:
    text = write_build(read_answers(ANSWERS | {"region": "ON"}))
    with pytest.raises(BuildFileError, match=r"region.*found 'QB'\. Legal: AB \(Alberta\)"):
        parse_build(re.sub('region = "ON"', 'region = "QB"', text))
    with pytest.raises(BuildFileError, match="the rules of IE ask for no region"):
        parse_build(re.sub('country = "CA"', 'country = "IE"', text))
    with pytest.raises(RuleError, match=r"found 'QB'\. Legal in Canada: AB"):
        landed_cost("CA", 4000, region="QB")
