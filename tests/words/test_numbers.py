"""Numbers as people write them: what each style means, and what can be read in two ways is never guessed."""

from __future__ import annotations

from decimal import Decimal

import pytest
from babel.numbers import format_decimal, parse_decimal
from hypothesis import example, given
from hypothesis import strategies as st

from forecast.errors import NumberError
from forecast.words.numbers import decimal_marks, look_at, meant_of, plainly, read_number, read_numbers


@pytest.mark.parametrize(
    ("text", "currency", "value"),
    [
        ("4200", "", "4200"), ("25.000,00", "", "25000"), ("2,5", "", "2.5"), ("65 000", "", "65000"),
        ("65,000.00", "", "65000"), ("65k", "", "65000"), ("2.5k", "", "2500"), ("2,5 k", "", "2500"),
        ("65 000 THB", "THB", "65000"), ("THB 65k", "THB", "65000"), ("€ 1.250,-", "EUR", "1250"),
        ("1.250,\u2013 €", "EUR", "1250"), ("CHF 1'250.-", "CHF", "1250"), ("1\u2019234\u2019567", "", "1234567"),
        ("1\u202f234,5", "", "1234.5"), ("1\u00a0234\u00a0567", "", "1234567"), ("1\u2009234.5", "", "1234.5"),
        ("12,34,567.50", "INR", "1234567.5"), ("Rs 1,00,000", "INR", "100000"), ("0,125", "", "0.125"),
        ("0.0057", "", "0.0057"), (".5", "", "0.5"), (",5", "", "0.5"), ("1.2345", "", "1.2345"), ("1_000", "", "1000"),
        ("1.234.567", "", "1234567"), ("1,234,567", "", "1234567"), ("1.234,567", "", "1234.567"),
        ("-€12.50", "EUR", "-12.5"), ("€ -12,50", "EUR", "-12.5"), ("12,50-", "", "-12.5"), ("(12.50)", "", "-12.5"),
        ("\u221212.50", "", "-12.5"), ("+3", "", "3"), ("zł 1 250,50", "PLN", "1250.5"), ("100Kč", "CZK", "100"),
        ("25,00 zl", "PLN", "25"),
        ("kr. 1.250,50", "DKK", "1250.5"), ("US$1,200.00", "USD", "1200"), ("$ 1,200.00", "NZD", "1200"),
        ("5 euros", "EUR", "5"), ("eur 5", "EUR", "5"), ("\ufeff12", "", "12"),
    ],
)  # fmt: skip
def test_what_can_be_read_in_one_way_is_read(text: str, currency: str, value: str) -> None:
    assert read_number(text, currency=currency) == Decimal(value)


@pytest.mark.parametrize(
    ("text", "large", "small"),
    [
        ("4.200", "4200", "4.2"), ("16.000", "16000", "16"), ("1,250", "1250", "1.25"), ("12.345", "12345", "12.345"),
        ("-1.234", "-1234", "-1.234"), ("1.250k", "1250000", "1250"), ("€ 4.200", "4200", "4.2"),
        ("999,999", "999999", "999.999"),
    ],
)  # fmt: skip
def test_what_can_mean_two_numbers_names_both(text: str, large: str, small: str) -> None:
    with pytest.raises(NumberError, match=r"can mean -?\d+ or [\d.-]+") as caught:
        read_number(text, currency="EUR")
    assert caught.value.readings == (Decimal(large), Decimal(small))
    for reading in caught.value.readings:  # as the error says to write it, it can be read in one way
        assert plainly(reading) in caught.value.mend
        assert read_number(plainly(reading)) == reading


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "is no number"), ("twelve", "is no number"), ("NaN", "is no number"), ("1e3", "is no number"),
        ("\u0663", "is no number"), ("1-2", "is no number"), ("1/2", "is no number"), ("1.", "no digit behind"),
        ("1,2,3", "grouped in threes"), ("12 34", "grouped in threes"), ("1 2345", "grouped in threes"),
        ("1.23,456.7", "grouped in threes"), ("1 000.000,5", "grouped in threes"), ("--1", "two signs"),
        ("-(1)", "is no number"), ("3 USD", "is in USD, but EUR is counted here"), ("£3", "is in £, but EUR"),
        ("30 %", "is a percentage"), ("9" * 99, "too long"), ("0,000,000", "grouped in threes"),
    ],
)  # fmt: skip
def test_what_is_no_number_says_why(text: str, why: str) -> None:
    with pytest.raises(NumberError, match=why) as caught:
        read_number(text, currency="EUR")
    assert caught.value.readings == ()


def test_a_currency_where_none_is_counted_is_refused() -> None:
    with pytest.raises(NumberError, match="has EUR beside it"):
        read_number("5 EUR")


def test_context_decides_between_two_readings_and_never_else() -> None:
    assert read_number("4.200", decimal=".") == Decimal("4.2")
    assert read_number("4.200", decimal=",") == 4200
    assert read_number("16.000", currency="JPY", digits=0) == 16_000  # the yen has no decimals
    assert read_number("7.500", low=0.5, high=168) == Decimal("7.5")  # hours in a week
    assert read_number("1.085", low=1.1 / 3, high=1.1 * 3) == Decimal("1.085")  # a rate near the one on file
    for limits in ({}, {"low": 0.0}, {"low": 5000.0}, {"digits": 2}, {"digits": 3}):
        with pytest.raises(NumberError, match="can mean"):
            read_number("4.200", **limits)  # type: ignore[arg-type]
    with pytest.raises(NumberError, match="decimal comma of the rest"):
        read_number("1.5", decimal=",")
    with pytest.raises(NumberError, match="can mean"):
        read_number("1.250k", digits=0)


def test_percent_and_units_where_they_may_stand() -> None:
    assert read_number("30 %", percent=True) == Decimal("0.3")
    assert read_number("8 h", units=("hours", "h")) == 8
    assert read_number("5,5kg", units=("kg",)) == Decimal("5.5")
    assert read_number("12 ft", units=("ft",)) == 12


def test_numbers_side_by_side_settle_each_other() -> None:
    assert read_numbers(["1.800", "3.200,50"]) == (1800, Decimal("3200.5"))
    assert read_numbers(["1,800", "2.5"]) == (1800, Decimal("2.5"))
    assert read_numbers(["1 800", "3200"]) == (1800, 3200)
    with pytest.raises(NumberError, match="can mean"):
        read_numbers(["1.800", "3.200"])
    with pytest.raises(NumberError, match="can mean"):
        read_numbers(["1.800", "2,5", "2.5"])  # contradict each other, so they settle nothing


def test_a_column_allows_the_marks_that_all_its_cells_allow() -> None:
    assert decimal_marks(["1.234", "5.678"]) == (".", ",")
    assert decimal_marks(["1.234", "5,50", "n/a", Decimal(3)]) == (",",)
    assert decimal_marks(["1.234", "5.50"]) == (".",)
    assert decimal_marks(["1.5", "1,5"]) == ()
    assert decimal_marks([]) == (".", ",")


# Each style of writing: mark between thousands, decimal mark, groups of two above the last three.
STYLES = {
    "plain point": ("", ".", False), "plain comma": ("", ",", False), "comma and point": (",", ".", False),
    "point and comma": (".", ",", False), "space and comma": (" ", ",", False), "space and point": (" ", ".", False),
    "narrow space": ("\u202f", ",", False), "apostrophe": ("'", ".", False), "curly": ("\u2019", ",", False),
    "lakh": (",", ".", True),
}  # fmt: skip


def meanings(text: str) -> tuple[Decimal, ...]:
    """Give what the reader returns, or the two readings that it reports."""
    try:
        return (read_number(text),)
    except NumberError as error:
        return error.readings


def written(digits: str, fraction: str, style: str) -> str:
    part, mark, lakh = STYLES[style]
    groups = [digits[-3:]]
    rest, size = digits[:-3], 2 if lakh else 3
    while rest:
        groups.insert(0, rest[-size:])
        rest = rest[:-size]
    return part.join(groups) + (mark + fraction if fraction else "")


@given(
    st.floats(0, 1e12, allow_subnormal=False),
    st.integers(0, 6),
    st.sampled_from(sorted(STYLES)),
    st.booleans(),
)
@example(4200.0, 0, "point and comma", False)
@example(1.25, 3, "plain comma", True)
def test_a_float_in_any_style_is_read_or_found_ambiguous_and_never_read_as_another(
    value: float, decimals: int, style: str, negative: bool
) -> None:
    digits, _, fraction = f"{value:.{decimals}f}".partition(".")
    meant = Decimal(f"{digits}.{fraction}" if fraction else digits) * (-1 if negative else 1)
    text = ("-" if negative else "") + written(digits, fraction, style)
    assert meant in meanings(text)
    assert read_number(text, decimal=STYLES[style][1]) == meant


@given(st.decimals(-(10**12), 10**12, places=4))
def test_what_is_written_plainly_can_be_read_in_one_way(value: Decimal) -> None:
    assert look_at(plainly(value)).values == (value,)


@given(st.text(alphabet="0123456789.,' \u00a0-+kKEUR€%()", max_size=14))
def test_no_text_breaks_it_and_nothing_has_more_than_two_readings(text: str) -> None:
    found = look_at(text)
    assert len(found.values) <= 2
    assert bool(found.readings) != bool(found.wrong)


LOCALES = (
    "en_US", "en_GB", "en_IN", "hi_IN", "en_ZA", "de_DE", "de_AT", "de_CH", "fr_FR", "fr_CH", "it_IT", "es_ES", "es_MX",
    "pt_PT", "pt_BR", "nl_NL", "da_DK", "sv_SE", "nb_NO", "fi_FI", "pl_PL", "cs_CZ", "hu_HU", "ro_RO", "tr_TR", "el_GR",
    "ja_JP", "ko_KR", "zh_CN", "th_TH", "id_ID", "ms_MY",
)  # fmt: skip


def test_it_agrees_with_the_formats_of_every_locale() -> None:
    """The outside reference: Unicode CLDR's number formats, written and read back by Babel."""
    told = 0
    for locale in LOCALES:
        for number in (
            "0.5",
            "2.5",
            "12",
            "999.99",
            "1250",
            "1250.5",
            "4200",
            "16000",
            "65000.25",
            "1234567.89",
            "0.125",
        ):
            text = format_decimal(Decimal(number), locale=locale)
            meant = parse_decimal(text, locale=locale)
            found = meanings(text)
            assert meant in found, (locale, text)
            told += len(found) == 1
    assert told > 0.7 * 11 * len(LOCALES)


def test_pages_that_are_no_number_are_named_by_their_beginning() -> None:
    with pytest.raises(NumberError, match="too long for a number") as caught:
        read_number("C" + "\x03" * 13_000)
    assert len(str(caught.value)) < 500


@pytest.mark.parametrize(
    ("written", "expected", "meant"),
    [
        ("3,650", (4000,), 3650),
        ("3,650", (4,), 3.65),
        ("1,000", (400,), 1000),
        ("1,000", (250,), 1000),  # a price several times the estimate happens
        ("1,000", (40,), None),  # neither is near enough
        ("1,000", (), None),
        ("1,000", (4000, 350), 1000),  # of the line, or of what is left of it
        ("1,000", (1000, 1), None),  # each reading is near one of them
        ("1,000", (0,), None),
    ],
)
def test_what_is_expected_decides_only_where_one_reading_is_near_and_the_other_far(
    written: str, expected: tuple[float, ...], meant: float | None
) -> None:
    with pytest.raises(NumberError) as told:
        read_number(written)
    found = meant_of(told.value.readings, expected)
    assert (None if found is None else float(found)) == meant
