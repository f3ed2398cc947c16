"""What cannot be is refused, and what looks like a slip is asked about; sensible builds meet neither."""

from __future__ import annotations

import pytest
from babel import Locale

from forecast.buildfile.reader import parse_build, read_build
from forecast.errors import BuildFileError
from forecast.ledger.folder import DEMOS
from forecast.missing.left_out import findings
from forecast.missing.rules import Finding
from forecast.start import read_answers, write_build
from forecast.words.countries import COUNTRIES, nearest_country
from tests.buildfile.texts import HEAD, LINE, complaints
from tests.start.test_guided import EVERYWHERE, NOTHING_KNOWN, plain_kit

KIT = """\
[[consignment]]
id = "crate"
incoterm = "FOB"
mode = "sea"
price = { low = 2000, middle = 2500, high = 3500 }
freight = 300
"""
BOX = "boxes = [{{ length = {}, width = {}, height = {}, weight = {} }}]\n"


RIVETS = LINE + 'takeoff = {{ kind = "fasteners", length = {} }}\nprice = 0.1\n'
FILLER = LINE + 'takeoff = {{ kind = "filler", shape = "{}", {} }}\nprice = 9\n'


def questions(text: str) -> list[Finding]:
    """Give what is asked about a build's text."""
    return [item for item in findings(parse_build(text)) if item.grade == "odd"]


def head(**changes: str) -> str:
    text = HEAD
    for key, value in changes.items():
        old = next(line for line in HEAD.splitlines() if line.startswith(f"{key} ="))
        text = text.replace(old, f'{key} = "{value}"')
    return text


def test_countries_are_those_of_unicode_that_have_two_letters_of_iso_3166() -> None:
    """CLDR has besides some codes that ISO keeps for unions, islands and tests."""
    no_countries = {
        "AC", "CP", "CQ", "DG", "EA", "EU", "EZ", "IC", "QO", "TA", "UN", "XA", "XB", "ZZ",
    }  # fmt: skip
    known = {code for code in Locale("en").territories if len(code) == 2 and code.isalpha()}
    assert known - no_countries == COUNTRIES


@pytest.mark.parametrize(
    ("code", "told"),
    [
        ("UK", "Did you mean 'GB'?"),
        ("EL", "Did you mean 'GR'?"),
        ("EU", "no country here"),
        ("XX", "such as 'IE'"),
    ],
)
def test_what_is_often_written_for_a_country_is_named(code: str, told: str) -> None:
    assert told in nearest_country(code)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (head(currency="XYZ"), "line 3: build, currency: there is no currency XYZ. Write its three capital letters"),
        (head(currency="GPB"), "there is no currency GPB. Write its three capital letters of ISO 4217, such as "
                               '"EUR". Near it: GBP'),
        (head(country="XX"), "line 4: build, country: there is no country XX. Write the two capital letters"),
        (head(country="UK"), "there is no country UK. Did you mean 'GB'?"),
        (head(name=" "), "line 2: build, name: an empty name. Write a name in the quotes"),
        (HEAD + KIT + 'origin = "ZZ"\n', "crate', origin: there is no country ZZ"),
        (HEAD + KIT + 'currency = "XYZ"\n', "crate', currency: there is no currency XYZ"),
        (HEAD + '[currency.XYZ]\nrate = 1\n', "there is no currency XYZ"),
        (HEAD + LINE + 'amount = 3\nname = ""\n', "line 9: 'a', name: an empty name"),
        (HEAD + LINE + 'amount = 3\nsupplier = " "\n', "'a', supplier: an empty name"),
        (HEAD + LINE + "own_hours = -5\n", "'a', own_hours: found -5. Time is not below zero"),
        (HEAD + LINE + 'own_hours = { shape = "uniform", min = -5, max = 9 }\n', "own_hours: found -5. Time is not"),
        (HEAD + LINE + "amount = 3\nresale = -3\n", "'a', resale: found -3. Write what comes back"),
        (HEAD.replace("[build]", "[build]\nown_hour_value = -9"), "build, own_hour_value: found -9. What an hour"),
        (HEAD + LINE + 'percent = 1e6\nof = ["freight"]\n', "percent: found 1e+06. It is in percent, 1000 at most"),
        (HEAD + KIT + BOX.format(1900, 500, 400, 30), "boxes no. 1, length: found 1900. Boxes are measured in cm, and "
                                                      "none is longer than 1300: write 190 for 1900 mm."),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(text: str, told: str) -> None:
    found = complaints(text)

    assert [message for message in found if told in message], found


def test_an_override_is_held_to_the_same_limits() -> None:
    text = f"{HEAD}{LINE}amount = 3\n[scenario.diy]\noverride = {{ a = {{ own_hours = -5 }} }}\n"

    assert (
        "scenario 'diy', override of 'a', own_hours: found -5. Time is not below zero" in complaints(text)[0]
    )


@pytest.mark.parametrize(
    ("text", "rule", "told"),
    [
        (LINE + "amount = -2900\n", "below_zero-a_amount", "A, amount: -2,900. A sum below zero counts as money that"),
        (LINE + 'amount = 9\n[[event]]\nid = "late"\nchance = 0.1\ncost = 9\n[[measure]]\nid = "m"\ncost = -35\n'
         "chances = { late = 0.5 }\n", "below_zero-m_cost", "M, cost: -35. A sum below zero counts as money that"),
        (LINE + "amount = { low = 1, middle = 2, high = 1e9 }\n", "too_wide-a_amount",
         "A, amount: from 1 to 1e+09. The high is millions of times the low"),
        (LINE + "amount = { low = 4, high = 4004 }\n", "too_wide-a_amount", "The high is 1,001 times the low"),
        (LINE + 'percent = 0.016\nof = ["freight"]\n', "small_percent-a_percent",
         "A, percent: 0.016 %. It counts in percent: 0.016 is 0.00016 of the whole."),
        (KIT + "insurance_percent = 0.016\n", "small_percent-crate_insurance_percent", "insurance percent: 0.016 %"),
        ("[currency.JPY]\nrate = 0.0057\nmargin = 0.02\n", "small_percent-JPY_margin", "Rate of JPY, margin: 0.02 %"),
        ("[currency.JPY]\nrate = 176\n", "far_rate-JPY",
         "one JPY was 0.005682 EUR (European Central Bank, euro foreign exchange reference rates, rounded). "
         "176 looks like JPY for one EUR: the wrong way round."),
        ("[currency.GBP]\nrate = 0.84\n", "far_rate-GBP", "the wrong way round"),
        ("[currency.GBP]\nrate = 1.6\n", "far_rate-GBP", "1.6 is 33 % above that."),
        (KIT + BOX.format(900, 500, 400, 30), "odd_box-crate_1",
         "Crate, box 1: 900 × 500 × 400 cm at 30 kg. That is 0.167 kg for a cubic metre. Its sides may be in mm."),
        (KIT + BOX.format(180, 60, 40, 30_000), "odd_box-crate_1", "Its weight may be in g, or a side in m."),
        (KIT + BOX.format(1300, 1250, 1240, 90_000), "large_boxes-crate", "Crate, boxes: 2,015 m³ in all."),
        (RIVETS.format("1650"), "odd_size-a_takeoff_length",
         "A, length: 1,650 m. One car takes at most 100 m; it would be 1.65 m, if mm was meant."),
        (RIVETS.format('{ value = 900, unit = "ft" }'), "odd_size-a_takeoff_length", "A, length: 900 ft (274.32 m)."),
        (RIVETS.format("{ low = 0.001, high = 0.5 }"), "odd_size-a_takeoff_length", "One car takes at least 0.02"),
        (FILLER.format("strip", "length = 1.4, width = 200, depth = 9"), "thick_filler-a",
         "A: up to 3.2 kg of filler on each metre. More than 0.9 kg is no"),
        (FILLER.format("skim", "area = 0.5, thickness = 9"), "thick_filler-a", "up to 16 kg of filler on each square"),
        (LINE + 'quantity = { value = 2000, unit = "m³" }\nprice = 9\n', "odd_size-a_quantity",
         "A, quantity: 2,000 m³. One car takes at most 33 m³."),
        (LINE + 'quantity = { value = 5000, unit = "L" }\nprice = 9\n', "odd_size-a_quantity",
         "A, quantity: 5,000 L. One car takes at most 500 L."),
        (LINE + 'quantity = { value = 200, unit = "gal" }\nprice = 9\n', "odd_size-a_quantity", "200 gal (757.082 L)"),
        (LINE + 'quantity = { value = 22000, unit = "pieces" }\nprice = 0.1\n', "odd_size-a_quantity",
         "A, quantity: 22,000 pieces. One car takes at most 10000 pieces."),
        (LINE + 'quantity = { value = 22000, unit = "clips" }\nprice = 0.1\n', "odd_size-a_quantity",
         "A, quantity: 22,000 clips. One car takes at most 10000 clips."),
        (LINE + "quantity = 22000\nprice = 0.1\n", "odd_size-a_quantity", "A, quantity: 22,000 pieces."),
        (LINE + 'takeoff = { kind = "laminate", buy = "glass", area = 1, areal_weight = 450, layers = 300 }\n'
         "price = 9\n", "odd_size-a_takeoff_layers", "A, layers: 300. One car takes at most 30 layers."),
        (FILLER.format("strip", "length = 7, width = 90, depth = 6"), "thick_filler-a",
         "A: up to 0.97 kg of filler on each metre. More than 0.9 kg is no filler any more"),
        (LINE + 'quantity = { value = 9000, unit = "lb" }\nprice = 9\n', "odd_size-a_quantity",
         "9,000 lb (4,082.33 kg)"),
    ],
)  # fmt: skip
def test_what_is_odd_is_asked_about_until_it_is_answered(text: str, rule: str, told: str) -> None:
    [asked] = questions(HEAD + text)

    assert asked.rule == rule
    assert told in str(asked)
    assert asked.mend
    for key in (rule, rule.partition("-")[0]):
        assert questions(f'{HEAD}{text}[not_needed]\n{key} = "it is meant"\n') == []


@pytest.mark.parametrize(
    "text",
    [
        LINE + "quantity = -1\nprice = 70\n",
        LINE + "amount = { low = 4, high = 4000 }\n",
        LINE + 'amount = { shape = "normal", mean = 10, sd = 6 }\n',
        LINE + 'percent = 0.1\nof = ["freight"]\n',
        LINE + 'percent = 0\nof = ["freight"]\n',
        "[currency.GBP]\nrate = 1.45\n",
        "[currency.GBP]\nrate = 0.97\n",
        "[currency.CHF]\nrate = 0.95\n",
        KIT + BOX.format(190, 60, 45, 12) + "insurance_percent = 0\n",
        KIT + BOX.format(580, 230, 230, 900),
        RIVETS.format('{ value = 1650, unit = "mm" }'),
        RIVETS.format('{ low = 9, middle = 20, high = 60, unit = "ft" }'),
        FILLER.format("strip", "length = 14, width = 95, depth = 5"),
        FILLER.format("skim", "area = 12, thickness = 0.6"),
        LINE + 'quantity = { value = 2000, unit = "pieces" }\nprice = 0.1\n',
        LINE + 'quantity = { value = 2, unit = "m³" }\nprice = 9\n',
        LINE + 'quantity = { value = 60, unit = "ft3" }\nprice = 9\n',
        LINE + 'quantity = { value = 20000, unit = "min" }\nprice = 0.1\n',
    ],
)
def test_what_may_well_be_is_not_asked_about(text: str) -> None:
    assert questions(HEAD + text) == []


@pytest.mark.parametrize("demo", sorted(path.name for path in DEMOS.iterdir() if path.is_dir()))
def test_demo_builds_have_nothing_odd(demo: str) -> None:
    assert [str(item) for item in findings(read_build(DEMOS / demo)) if item.grade == "odd"] == []


@pytest.mark.parametrize("country", EVERYWHERE)
def test_guided_builds_have_nothing_odd(country: str) -> None:
    told = plain_kit(country) | {"boxes": "2 x 200x120x60 45 kg; 1 x 90 x 40 x 30, 5 kg"}
    for answers in (NOTHING_KNOWN | {"country": country}, told):
        text = write_build(read_answers(answers))
        assert [str(item) for item in questions(text)] == []


def test_a_rate_turned_round_is_refused_in_the_guided_start() -> None:
    with pytest.raises(BuildFileError, match=r"found 0.85 EUR for one GBP.*Turned round it is 1.176"):
        read_answers({"country": "IE", "origin": "GB", "kit_currency": "GBP", "rate": 0.85})
    assert read_answers({"country": "IE", "origin": "GB", "kit_currency": "GBP", "rate": 1.3}).rate == 1.3


@pytest.mark.parametrize(
    "answers", [{"origin": "ZZ"}, {"kit_currency": "XYZ"}, {"boxes": "1 x 1900x500x400 30 kg"}]
)
def test_the_guided_start_refuses_what_cannot_be(answers: dict[str, str]) -> None:
    with pytest.raises(BuildFileError):
        read_answers({"country": "IE"} | answers)
