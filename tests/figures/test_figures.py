"""Uncertain figures: every form that a builder may write, and what each wrong one is told."""

from __future__ import annotations

import pytest

from forecast.buildfile.reader import parse_build
from forecast.figures.figure import FIGURE_KINDS, FigureBase
from forecast.figures.file_values import STRENGTHS, short
from forecast.figures.kinds import (
    HOW_TO_WRITE,
    BetaPert,
    Discrete,
    Known,
    LognormalMedian,
    LognormalPercentiles,
    Metalog,
    Normal,
    Percentiles,
    Quotes,
    Span,
    Triangular,
    Uniform,
)
from tests.buildfile.texts import HEAD, LINE, amount, complaints

PLAIN = "Write a plain number, such as 1250 or 12.50, without quotes."


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("60", Known(value=60)),
        ("60.5", Known(value=60.5)),
        ("-200", Known(value=-200)),
        ("0", Known(value=0)),
        ("1e12", Known(value=1e12)),
        ("1_250", Known(value=1250)),
        ("{ value = 4.5, estimated = false }", Known(value=4.5, estimated=False)),
        ("{ low = 40, middle = 60, high = 120 }", Percentiles(low=40, middle=60, high=120)),
        ("{ low = 60, middle = 60, high = 60 }", Percentiles(low=60, middle=60, high=60)),
        ("{ low = 40, high = 120 }", Span(low=40, high=120)),
        ('{ shape = "triangular", min = 0, mode = 0, max = 9 }', Triangular(min=0, mode=0, max=9)),
        ('{ shape = "beta-pert", min = -5, mode = 2, max = 9 }', BetaPert(min=-5, mode=2, max=9)),
        ('{ shape = "uniform", min = -5, max = 9 }', Uniform(min=-5, max=9)),
        ('{ shape = "normal", mean = -5, sd = 0.1 }', Normal(mean=-5, sd=0.1)),
        ('{ shape = "lognormal", p10 = 4, p90 = 9 }', LognormalPercentiles(p10=4, p90=9)),
        ('{ shape = "lognormal", median = 4, sigma = 0.3 }', LognormalMedian(median=4, sigma=0.3)),
        ('{ shape = "metalog", p10 = -1, p50 = 2, p90 = 9 }', Metalog(p10=-1, p50=2, p90=9)),
        (
            '{ shape = "metalog", p10 = 1, p50 = 2, p90 = 9, lower = 0, upper = 30 }',
            Metalog(p10=1, p50=2, p90=9, lower=0, upper=30),
        ),
        (
            '{ shape = "discrete", values = [0, 90], chances = [0.25, 0.75] }',
            Discrete(values=(0, 90), chances=(0.25, 0.75)),
        ),
        ("{ quotes = [410] }", Quotes(quotes=(410,))),
        ("{ quotes = [410, 455, 410] }", Quotes(quotes=(410, 455, 410))),
    ],
)
def test_every_form_is_read(written: str, meant: FigureBase) -> None:
    assert amount(written) == meant


def test_a_figure_that_is_counted_keeps_its_unit() -> None:
    """A quantity does; a sum of money has none, and `tests/figures/test_units.py` holds that it is refused."""
    build = parse_build(HEAD + LINE + 'quantity = { low = 40, high = 120, unit = "kg" }\nprice = 2\n')
    assert build.line[0].quantity == Span(low=40, high=120, unit="kg")


def test_each_kind_of_figure_can_be_told_from_the_others_by_its_kind() -> None:
    kinds = {kind: model.model_fields["kind"].default for kind, model in FIGURE_KINDS.items()}

    assert kinds == {kind: kind for kind in FIGURE_KINDS}
    assert Triangular(min=1, mode=2, max=3).model_dump() != BetaPert(min=1, mode=2, max=3).model_dump()


def test_words_stand_for_loadings() -> None:
    text = HEAD + "".join(f'[[cause]]\nid = "{name}"\n' for name in "klmn")
    text += (
        LINE + 'amount = { low = 1, high = 2, causes = { k = "slight", l = "moderate", m = -0.2, n = 0 } }\n'
    )

    assert complaints(text) == []
    assert STRENGTHS == {"slight": 0.3, "moderate": 0.5, "strong": 0.7}
    figure = amount('{ low = 1, high = 2, causes = { own_estimating = "strong" } }')
    assert figure.causes == {"own_estimating": 0.7}


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("true", f"amount: found true. {HOW_TO_WRITE}"),
        ('"12"', f"amount: found '12'. {HOW_TO_WRITE}"),
        ("[]", f"amount: found []. {HOW_TO_WRITE}"),
        ("{}", f"amount: found an empty table. {HOW_TO_WRITE}"),
        ("2026-05-03", f"amount: found 2026-05-03. {HOW_TO_WRITE}"),
        ("{ least = 1, most = 2 }", f"amount: found keys 'least', 'most'. {HOW_TO_WRITE}"),
        ("nan", f"amount: found nan. {PLAIN}"),
        ("inf", f"amount: found inf. {PLAIN}"),
        ("-inf", f"amount: found -inf. {PLAIN}"),
        ("1e400", f"amount: found inf. {PLAIN}"),
        ("1e13", "amount: found 1e+13. It must be at most 1,000,000,000,000."),
        ("-1e13", "amount: found -1e+13. It must be at least -1,000,000,000,000."),
        (
            "99999999999999999999",
            "amount: found 99999999999999999999. It must be at most 1,000,000,000,000.",
        ),
        ("{ low = nan, middle = 2, high = 3 }", f"amount, low: found nan. {PLAIN}"),
        ('{ low = "1", middle = 2, high = 3 }', f"amount, low: found '1'. {PLAIN}"),
        ("{ low = true, middle = 2, high = 3 }", f"amount, low: found true. {PLAIN}"),
        ("{ low = { x = 1 }, high = 3 }", f"amount, low: found {{ x = 1 }}. {PLAIN}"),
        ("{ low = 1 }", "amount, high: missing. Add high = …"),
        ("{ high = 1 }", "amount, low: missing. Add low = …"),
        (
            "{ low = 3, middle = 2, high = 1 }",
            "amount: low 3, middle 2, high 1. No shape has these percentiles: low must be under middle and middle "
            "under high. Sort the three, or write one number if it is known.",
        ),
        (
            "{ low = 0, middle = 2, high = 3 }",
            "amount: low is 0. Low, middle and high must be above zero. If it may not be needed at all, give the "
            "line a chance, such as chance = 0.6, and a low for when it is needed.",
        ),
        (
            "{ low = 0, high = 3 }",
            "amount: low is 0. low must be above zero. If it may not be needed at all, give the line a chance, such "
            "as chance = 0.6.",
        ),
        (
            "{ low = 5, high = 3 }",
            "amount: low 5, high 3. low must be under high. Swap them, or write one number if it is known.",
        ),
        (
            '{ shape = "triangle", min = 1, mode = 2, max = 3 }',
            "amount: shape is 'triangle'. Shapes are triangular, beta-pert, uniform, normal, lognormal, metalog, "
            "discrete.",
        ),
        (
            '{ shape = ["triangular"], min = 1 }',
            "amount: shape is ['triangular']. Shapes are triangular, beta-pert, uniform, normal, lognormal, metalog, "
            "discrete.",
        ),
        (
            '{ shape = "triangular", min = 1, mode = 5, max = 3 }',
            "amount: min 1, mode 5, max 3. min must be under max, and mode from min to max. Sort the three, or write "
            "one number if known.",
        ),
        ('{ shape = "beta-pert", min = 1, mode = 2 }', "amount, max: missing. Add max = …"),
        (
            '{ shape = "uniform", min = 3, max = 3 }',
            "amount: min 3, max 3. min must be under max. Swap them, or write one number.",
        ),
        ('{ shape = "normal", mean = 1, sd = 0 }', "amount, sd: found 0. It must be above 0."),
        (
            '{ shape = "lognormal", p10 = 0, p90 = 2 }',
            "amount: p10 is 0. p10 must be above zero. If it may not be needed at all, give the line a chance, such "
            "as chance = 0.6.",
        ),
        (
            '{ shape = "lognormal", p10 = 5, p90 = 2 }',
            "amount: p10 5, p90 2. p10 must be under p90. Swap them, or write one number if it is known.",
        ),
        (
            '{ shape = "lognormal", median = 5, sigma = 6 }',
            "amount, sigma: found 6. It must be at most 5.",
        ),
        (
            '{ shape = "metalog", p10 = 1, p50 = 2, p90 = 3, lower = 2 }',
            "amount: found 2, 1, 2, 3. These must rise: lower (if given), p10, p50, p90, upper (if given).",
        ),
        (
            '{ shape = "discrete", values = [1, 2], chances = [0.5, 0.4] }',
            "amount: the chances add up to 0.9. They must add up to 1.",
        ),
        (
            '{ shape = "discrete", values = [1, 2], chances = [1] }',
            "amount: 2 values but 1 chances. Give one chance for each value.",
        ),
        (
            '{ shape = "discrete", values = [1, 1], chances = [0.5, 0.5] }',
            "amount: a value stands twice. Give each value once, with its chances added up.",
        ),
        ("{ quotes = [] }", "amount, quotes: found []. Give 1 or more."),
        ("{ quotes = [410, -2] }", "amount, quotes no. 2: found -2. It must be above 0."),
        (
            "{ quotes = 410 }",
            'amount, quotes: found 410. Write a list in square brackets, such as ["kit", "freight"] or [410, 455].',
        ),
        (
            "{ quotes = [410, 455], low = 3 }",
            "amount, low: unknown key 'low'. Known here: causes, currency, unit, estimated, starter, quotes, shape.",
        ),
        (
            '{ shape = "triangular", min = 1, mode = 2, max = 3, mean = 2 }',
            "amount, mean: unknown key 'mean'. Known here: causes, currency, unit, estimated, starter, min, mode, max, "
            "shape.",
        ),
        (
            '{ low = 1, high = 2, currency = "eur" }',
            "amount, currency: found 'eur'. Write the three capital letters of ISO 4217, such as \"EUR\".",
        ),
        (
            "{ value = 5, estimated = 0 }",
            "amount, estimated: found 0. Write true or false, without quotes.",
        ),
        (
            '{ low = 1, high = 2, causes = { x = "huge" } }',
            "amount, causes, x: found 'huge'. Write slight, moderate or strong, or a number between -1 and 1.",
        ),
        (
            "{ low = 1, high = 2, causes = { x = 1.0 } }",
            "amount, causes, x: found 1. It must be under 1.",
        ),
        (
            '{ low = 1, high = 2, causes = "x" }',
            "amount, causes: found 'x'. Write a table: { key = value }, or [its name in square brackets] and its keys "
            "below.",
        ),
    ],
)
def test_a_wrong_figure_is_told_where_what_and_how_to_mend_it(written: str, told: str) -> None:
    assert complaints(f"{HEAD}{LINE}amount = {written}\n") == [f"line 8: 'a', {told}"]


@pytest.mark.parametrize(
    ("written", "told"),
    [
        (
            "{ low = 1, midle = 2, high = 3 }",
            [
                "amount, middle: missing. Add middle = …",
                "amount, midle: unknown key 'midle'. Did you mean 'middle'?",
            ],
        ),
        (
            '{ shape = "lognormal", median = 1, p90 = 3 }',
            [
                "amount, sigma: missing. Add sigma = …",
                "amount, p90: unknown key 'p90'. Known here: causes, currency, unit, estimated, starter, median, "
                "sigma, shape.",
            ],
        ),
        (
            '{ shape = "discrete", values = [], chances = [] }',
            ["amount, values: found []. Give 1 or more.", "amount, chances: found []. Give 1 or more."],
        ),
    ],
)
def test_all_mistakes_of_one_figure_are_told_at_once(written: str, told: list[str]) -> None:
    assert complaints(f"{HEAD}{LINE}amount = {written}\n") == [f"line 8: 'a', {text}" for text in told]


def test_a_figure_cannot_be_changed_once_made() -> None:
    figure = Known(value=3)

    with pytest.raises(ValueError, match="frozen"):
        figure.value = 4


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("x", "'x'"),
        (True, "true"),
        ("x" * 90, "'" + "x" * 56 + "..."),
        (10**60, "a number of more than 60 digits"),
    ],
)
def test_what_was_found_is_shown_shortly(value: object, shown: str) -> None:
    assert short(value) == shown


def test_a_number_too_long_to_be_written_out_is_described() -> None:
    assert short(-(10**9000)) == "a number of more than 60 digits"
    assert short([10**9000]) == "[a number of more than 60 digits]"
