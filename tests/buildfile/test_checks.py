"""Mistakes that no single item can show: names, rates, loadings, routes, circles, and what overrides change."""

from __future__ import annotations

import pytest
from pydantic import BaseModel

from forecast.buildfile.checks import cross_check, dependencies, figures_of, loadings_of, nearest
from forecast.buildfile.consignment import figures_in
from forecast.buildfile.reader import parse_build, read_build
from forecast.buildfile.schema import Build, Line
from forecast.figures.figure import FigureBase
from forecast.figures.kinds import Known, Span
from forecast.ledger.folder import DEMOS
from tests.buildfile.texts import HEAD, LINE, complaints

TWO = (
    HEAD
    + """\
[[line]]
id = "a"
group = "kit"
amount = 100
[[line]]
id = "b"
group = "other"
percent = 2
of = ["a"]
"""
)
"""Two lines, of which the second is taken of the first; what follows stands on line 14."""


def three(a: str, b: str, c: str) -> str:
    """Give a build of three percentages, each of the lines or groups named."""
    lines = zip("abc", ("kit", "wheels", "wheels"), (a, b, c), strict=True)
    return HEAD + "".join(
        f'[[line]]\nid = "{id}"\ngroup = "{group}"\npercent = 1\nof = ["{of}"]\n' for id, group, of in lines
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (three("a", "kit", "kit"), "line 9: 'a', of: goes in a circle: a → a."),
        (three("b", "c", "kit"), "line 19: 'c', of: goes in a circle: a → b → c → a."),
        (three("wheels", "c", "kit"), "line 19: 'c', of: goes in a circle: a → b → c → a."),
    ],
)
def test_a_circle_of_percentages_is_named(text: str, told: str) -> None:
    mend = " A percentage cannot depend on itself: take one of these lines out of an of = [...]."

    assert complaints(text)[0] == told + mend


def test_a_group_stands_for_its_other_lines() -> None:
    build = parse_build(three("wheels", "c", "import").replace('"wheels"\npercent', '"kit"\npercent', 1))

    assert dependencies(build) == {"a": ("c",), "b": ("c",), "c": ()}
    within = parse_build(
        TWO + '[[line]]\nid = "c"\ngroup = "kit"\npercent = 1\nof = ["kit", "a"]\n'
        '[[event]]\nid = "e"\nchance = 0.5\npercent = 1\nof = ["kit"]\n'
    )
    assert dependencies(within) == {"a": (), "b": ("a",), "c": ("a",), "e": ("a", "c")}


def test_five_thousand_percentages_in_a_row_are_no_matter() -> None:
    lines = [Line.model_validate({"id": "l0", "group": "kit", "amount": 1})]
    lines += [
        Line.model_validate({"id": f"l{n}", "group": "kit", "percent": 1, "of": [f"l{n - 1}"]})
        for n in range(1, 5000)
    ]
    info = {"name": "x", "currency": "EUR", "country": "IE"}
    build = Build.model_validate({"build": info, "line": tuple(lines)})

    assert cross_check(build) == []
    closed = lines[0].model_copy(update={"amount": None, "percent": Known(value=1), "of": ("l4999",)})
    [(path, found, _)] = cross_check(build.model_copy(update={"line": (closed, *lines[1:])}))
    assert path == ("line", 1, "of")
    assert found.startswith("goes in a circle: l0 → l4999 → l4998 → ")
    assert found.endswith(" → l1 → l0")


NO_CAUSE = "there is no cause 'kit_fir'. Did you mean 'kit_fit'? Or add a [[cause]] with that id."
CAUSE = '[[cause]]\nid = "kit_fit"\n'
NO_RATE = "no rate for USD. Add [currency.USD] with rate = … (EUR for one USD)."


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            HEAD + LINE + 'percent = 2\nof = ["kitt", "a-b"]\n',
            [
                "line 9: 'a', of no. 1: there is no line, group or consignment 'kitt'. Did you mean 'kit'?",
                "line 9: 'a', of no. 2: there is no line, group or consignment 'a-b'. Known here: a, consumables, "
                "finish, freight, hardware, import, kit, labour, other, wheels.",
            ],
        ),
        (
            HEAD + LINE + 'amount = { low = 1, high = 2, causes = { kit_fir = "slight" } }\n' + CAUSE,
            [f"line 8: 'a', amount, causes: {NO_CAUSE}"],
        ),
        (
            HEAD + CAUSE + '[[event]]\nid = "e"\nchance = 0.5\ncost = 3\ncauses = { kit_fir = 0.3 }\n',
            [f"line 11: event 'e', causes: {NO_CAUSE}"],
        ),
        (
            HEAD + LINE + 'amount = { low = 1, high = 2, causes = { x = "slight" } }\n',
            [
                "line 8: 'a', amount, causes: there is no cause 'x'. There is none in this file. Or add a "
                "[[cause]] with that id."
            ],
        ),
        (
            HEAD + LINE + 'amount = { low = 1, high = 2, currency = "USD" }\n',
            [f"line 8: 'a', amount, currency: {NO_RATE}"],
        ),
        (
            HEAD + 'own_hour_value = { low = 9, high = 15, currency = "USD" }\n',
            [f"line 5: build, own_hour_value, currency: {NO_RATE}"],
        ),
        (
            HEAD + "[currency.EUR]\nrate = 1\n",
            ["line 5: currency 'EUR': a rate for EUR. Leave it out: it is the build's own currency."],
        ),
        (
            HEAD + "[currency.JPY]\nrate = 0\n",
            ["line 6: currency 'JPY', rate: found 0. A rate is above zero: EUR for one JPY."],
        ),
        (
            HEAD + '[currency.JPY]\nrate = { shape = "uniform", min = -1, max = 2 }\n',
            ["line 6: currency 'JPY', rate: found -1. A rate is above zero: EUR for one JPY."],
        ),
        (
            HEAD + '[currency.JPY]\nrate = { value = 2, currency = "USD" }\n',
            [
                "line 6: currency 'JPY', rate, currency: a rate in USD. Leave currency out: a rate is always EUR for "
                "one JPY."
            ],
        ),
        (
            TWO + '[[event]]\nid = "a"\nchance = 0.5\ncost = 3\n[[cause]]\nid = "b"\n',
            [
                "line 15: event 'a', id: 'a' is the id of a line already. Every line, event and cause needs an id of "
                "its own.",
                "line 19: cause 'b', id: 'b' is the id of a line already. Every line, event and cause needs an id of "
                "its own.",
            ],
        ),
        (
            HEAD + '[[cause]]\nid = "own_estimating"\n',
            ["line 6: cause 'own_estimating', id: 'own_estimating' is taken. Choose another id."],
        ),
        (
            HEAD + LINE + 'amount = 1\nroute = "self"\n',
            ["line 9: 'a', route: route 'self' without a package. Name the work package too."],
        ),
        (
            HEAD
            + LINE
            + 'amount = 1\npackage = "paint"\nroute = "shop"\n[scenario.s]\npaimt = "shop"\nall = "shp"\n',
            [
                "line 12: scenario 's', paimt: there is no work package 'paimt'. Did you mean 'paint'?",
                "line 13: scenario 's', all: no line takes route 'shp'. Did you mean 'shop'?",
            ],
        ),
        (
            HEAD + LINE + 'amount = 1\npackage = "paint"\nroute = "shop"\n[scenario.s]\npaint = "shopp"\n',
            ["line 12: scenario 's', paint: no line takes route 'shopp'. Did you mean 'shop'?"],
        ),
    ],
)
def test_a_name_that_leads_nowhere_is_told_with_the_nearest_one(text: str, told: list[str]) -> None:
    assert complaints(text) == told


@pytest.mark.parametrize("tables", ['[currency.JPY]\nrate = "x"\n[[cause]]\nid = "k"\nname = 3\n'])
def test_what_refers_to_an_unreadable_item_raises_no_second_alarm(tables: str) -> None:
    line = LINE + 'amount = { low = 1, high = 2, currency = "JPY", causes = { k = "strong" } }\n'
    broken = '[[line]]\nid = "c"\ngroup = "kit"\npackage = "paint"\nroute = "trader"\namount = "x"\n'
    user = '[[line]]\nid = "d"\ngroup = "other"\npercent = 1\nof = ["c"]\n[scenario.s]\npaint = "trader"\n'

    where = [text.split(": ")[1] for text in complaints(HEAD + tables + line + broken + user)]

    assert where == ["currency 'JPY', rate", "cause 'k', name", "'c', amount"]


def test_loadings_whose_squares_reach_one_are_refused_with_their_sum() -> None:
    text = HEAD + '[[cause]]\nid = "k"\n[[cause]]\nid = "m"\n' + LINE
    mend = " The squares of the loadings must stay under 1: weaken a cause, drop one, or lower estimating in [build]."

    told = complaints(text + 'amount = { low = 1, high = 2, causes = { k = "strong", m = 0.6 } }\n')

    assert told == [
        "line 12: 'a', amount, causes: k 0.70, m 0.60, own_estimating 0.50: their squares add up to 1.10."
        + mend
    ]
    assert complaints(text + 'amount = { low = 1, high = 2, causes = { k = "strong", m = 0.5 } }\n') == []
    legal = text.replace('country = "IE"', 'country = "IE"\nestimating = 0')
    assert complaints(legal + 'amount = { low = 1, high = 2, causes = { k = "strong", m = 0.6 } }\n') == []


def test_loadings_of_an_event_are_checked_too() -> None:
    text = HEAD + '[[cause]]\nid = "k"\n[[cause]]\nid = "m"\n[[event]]\nid = "e"\nchance = 0.3\ncost = 5\n'

    [told] = complaints(text + "causes = { k = 0.8, m = -0.7 }\n")

    assert "event 'e'" in told
    assert "k 0.80, m -0.70: their squares add up to 1.13" in told


def test_own_estimating_moves_what_is_estimated() -> None:
    assert loadings_of(Span(low=1, high=2), 0.25) == {"own_estimating": 0.5}
    assert loadings_of(Span(low=1, high=2), 0) == {}
    assert loadings_of(Span(low=1, high=2, estimated=False, causes={"k": 0.3, "m": 0}), 0.25) == {"k": 0.3}
    assert loadings_of(Span(low=1, high=2, causes={"own_estimating": 0.1}), 0.25) == {"own_estimating": 0.1}


def test_two_starters_err_together_less_than_two_own_guesses() -> None:
    starter = loadings_of(Span(low=1, high=2, starter=True), 0.25)["own_estimating"]
    own = loadings_of(Span(low=1, high=2), 0.25)["own_estimating"]
    assert (own * own, starter * starter) == pytest.approx((0.25, 0.1))
    assert starter * own == pytest.approx(0.025**0.5)
    stated = Span(low=1, high=2, starter=True, causes={"own_estimating": 0.3})
    assert loadings_of(stated, 0.25) == {"own_estimating": 0.3}


@pytest.mark.parametrize(
    ("override", "told"),
    [
        (
            '[scenario.s.override.a]\namount = { low = 1, high = 2, causes = { zz = "strong" } }\n',
            "line 15: scenario 's', override of 'a', amount, causes: there is no cause 'zz'. There is none in "
            "this file. Or add a [[cause]] with that id.",
        ),
        (
            '[scenario.s.override.a]\namount = { low = 1, high = 2, currency = "USD" }\n',
            f"line 15: scenario 's', override of 'a', amount, currency: {NO_RATE}",
        ),
        (
            '[scenario.s.override.b]\nof = ["b"]\n',
            "line 15: scenario 's', override of 'b', of: goes in a circle: b → b. A percentage cannot depend on "
            "itself: take one of these lines out of an of = [...].",
        ),
        (
            "[scenario.s.override.a]\nammount = 3\n",
            "line 15: scenario 's', override of 'a', ammount: unknown key 'ammount'. Did you mean 'amount'?",
        ),
        (
            "[scenario.s.override.a]\nquantity = 3\n",
            "line 14: scenario 's', override of 'a': has amount as well as quantity and price. Keep one way: "
            "amount, quantity and price, or percent and of.",
        ),
        (
            "[scenario.s.override.bb]\namount = 3\n",
            "line 14: scenario 's', override of 'bb': there is no line or event 'bb'. Did you mean 'b'?",
        ),
        (
            '[scenario.s.override.a]\nid = "q"\n',
            "line 15: scenario 's', override of 'a', id: an override cannot change an id. Leave id out.",
        ),
        (
            "[scenario.s.overide.a]\namount = 3\n",
            "line 14: scenario 's', overide: unknown key 'overide'. Did you mean 'override'?",
        ),
        ("[scenario.s]\npaint = 3\n", "line 15: scenario 's', paint: found 3. Write text in double quotes."),
        (
            '[[option]]\nid = "o"\nchoice = "c"\n[option.override.a]\namount = { low = 5, high = 2 }\n',
            "line 18: option 'o', override of 'a', amount: low 5, high 2. low must be under high. Swap them, or "
            "write one number if it is known.",
        ),
        (
            '[[option]]\nid = "o"\nchoice = "c"\n[[option.line]]\nid = "z"\ngroup = "kit"\n'
            'amount = { low = 1, high = 2, currency = "USD" }\n',
            f"line 20: option 'o', 'z', amount, currency: {NO_RATE}",
        ),
    ],
)
def test_what_a_scenario_or_an_option_changes_is_checked_as_changed(override: str, told: str) -> None:
    assert complaints(TWO + override) == [told]


def test_a_mistake_that_was_there_before_a_change_is_told_once() -> None:
    text = TWO.replace('of = ["a"]', 'of = ["b"]') + "[scenario.s.override.a]\namount = 5\n"

    assert len(complaints(text)) == 1


@pytest.mark.parametrize(
    ("word", "legal", "said"),
    [
        ("freigth", ["kit", "freight"], "Did you mean 'freight'?"),
        ("x", ["kit", "freight"], "Known here: kit, freight."),
        ("x", ["kit, shipped", "freight"], "Known here: “kit, shipped”, “freight”."),
        ("x", [], "There is none in this file."),
        ("x", [f"n{n}" for n in range(20)], f"Known here: {', '.join(f'n{n}' for n in range(12))}, …."),
    ],
)
def test_the_nearest_legal_name_is_suggested(word: str, legal: list[str], said: str) -> None:
    assert nearest(word, legal) == said


def test_the_figures_of_an_item_bear_their_keys() -> None:
    line = Line.model_validate({"id": "a", "group": "kit", "quantity": 2, "price": {"low": 1, "high": 3}})

    assert dict(figures_of(line)) == {"quantity": Known(value=2), "price": Span(low=1, high=3)}


def test_a_consignment_called_like_a_group_stands_before_it() -> None:
    """``of = ["kit"]`` is then all of its lines and nothing else; the group of that name is left whole."""
    text = HEAD + (
        '[[consignment]]\nid = "kit"\nprice = 1000\nincoterm = "DAP"\nmode = "sea"\n'
        '[[line]]\nid = "spare_lip"\ngroup = "kit"\namount = 77\n'
        '[[line]]\nid = "fee"\ngroup = "other"\npercent = 10\nof = ["kit"]\n'
    )
    build = parse_build(text)
    computed = {"kit.goods": "kit", "kit.duty": "import"}
    assert dependencies(build, computed)["fee"] == ("kit.goods", "kit.duty")


def every_figure(
    item: object, path: tuple[str | int, ...] = ()
) -> list[tuple[tuple[str | int, ...], object]]:
    """Give the figures in a model by going through all of its keys."""
    if isinstance(item, FigureBase):
        return [(path, item)]
    parts: list[tuple[str | int, object]] = []
    if isinstance(item, BaseModel):
        parts = [(key, getattr(item, key)) for key in type(item).model_fields]
    elif isinstance(item, tuple):
        parts = list(enumerate(item))
    elif isinstance(item, dict):
        parts = list(item.items())
    return [found for key, part in parts for found in every_figure(part, (*path, key))]


@pytest.mark.parametrize("demo", sorted(path.name for path in DEMOS.iterdir() if path.is_dir()))
def test_no_figure_is_passed_over(demo: str) -> None:
    build = read_build(DEMOS / demo / "build.toml")
    items = [*build.line, *build.event, *build.consignment, *build.surface, *build.measure, *build.option]
    found = 0
    for item in items:
        whole = every_figure(item)
        assert list(figures_in(item)) == whole
        assert list(figures_of(item)) == [(path[0], figure) for path, figure in whole if len(path) == 1]
        found += len(whole)
    assert found > 50
    assert list(figures_in(build)) == every_figure(build)
