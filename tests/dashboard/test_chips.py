"""Ten chips for a range, on the page of lines."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from streamlit.testing.v1 import AppTest

from forecast import read_build
from forecast.figures.kinds import Percentiles
from forecast.ledger.folder import BuildFolder
from tests.dashboard.conftest import Run, words

WHEELS = "wheels.price"


@pytest.fixture
def lines(run: Run, before_ordering: BuildFolder) -> AppTest:
    app = run(before_ordering.folder, "lines")
    next(item for item in app.main.toggle if item.label == "Find a range with ten chips").set_value(True)
    app.run()
    which = next(item for item in app.main.selectbox if item.label == "Which figure?")
    return which.set_value(WHEELS).run()


def press(app: AppTest, label: str) -> AppTest:
    app = next(button for button in app.main.button if button.label == label).click().run()
    assert not app.exception
    return app


def say(app: AppTest, end: str, text: str) -> AppTest:
    app.text_input(key=f"chips-{end}-of-{WHEELS}").set_value(text)
    return press(app, "Go on")


def lay(app: AppTest, chips: Sequence[int]) -> AppTest:
    for place, count in enumerate(chips):
        for _ in range(count):
            app = app.button(key=f"chips-lay-{place}").click().run()
    return app


def test_chips_make_an_ordinary_range_in_the_file(lines: AppTest, before_ordering: BuildFolder) -> None:
    app = say(say(lines, "least", "1000"), "most", "2 000 EUR")
    assert app.button(key="chips-take").disabled
    app = lay(app, [1, 2, 4, 2, 1])
    assert (
        "less than **€1,200**, in half less than **€1,500**, and in 90 of 100 less than **€1,800**"
        in words(app)
    )
    app = press(app, "Take this range")
    assert not any(item.label == "Which figure?" for item in app.main.selectbox)  # it is done
    app = press(app, "Keep the changes")
    price = next(line for line in read_build(before_ordering.folder).line if line.id == "wheels").price
    assert isinstance(price, Percentiles)
    assert (price.low, price.middle, price.high) == (1200, 1500, 1800)
    assert "{ low = 1200" in before_ordering.build_file.read_text(encoding="utf-8")


def test_the_most_is_asked_without_the_least_in_sight(lines: AppTest) -> None:
    app = say(lines, "least", "1234")
    assert "1234" not in words(app)
    assert "1,234" not in words(app)
    assert [item.key for item in app.main.text_input if "chips" in (item.key or "")] == [
        f"chips-most-of-{WHEELS}"
    ]


@pytest.mark.parametrize(
    ("least", "most", "says"),
    [("", "", "Write a number"), ("some", "", "is no number"), ("500", "400", "above the least"),
     ("500", "500", "above the least"), ("1.000", "", "can mean 1000 or 1")],
)  # fmt: skip
def test_ends_that_cannot_be_are_told(lines: AppTest, least: str, most: str, says: str) -> None:
    app = say(lines, "least", least)
    if most:
        app = say(app, "most", most)
    assert says in app.main.error[0].value.replace("\\", "")
    assert "chips-lay-0" not in {button.key for button in app.main.button}


def test_there_are_ten_chips_and_each_can_be_taken_back(lines: AppTest) -> None:
    app = lay(say(say(lines, "least", "0"), "most", "500"), [12, 0, 0, 0, 0])
    assert "All ten lie" in words(app)
    assert "less than **€10**, in half less than **€50**" in words(app)
    app = app.button(key="chips-back-0").click().run()
    assert "1 chip left" in words(app)
    app = app.button(key="chips-back-3").click().run()  # none lies there
    assert "1 chip left" in words(app)
    assert app.button(key="chips-take").disabled
    app = press(app, "Ask for the ends again")
    assert [item.key for item in app.main.text_input if "chips" in (item.key or "")] == [
        f"chips-least-of-{WHEELS}"
    ]
