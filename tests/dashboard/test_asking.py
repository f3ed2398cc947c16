"""Fields for numbers: read by the one reader, asked about where one can mean two."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from forecast.dashboard.asking import shown
from forecast.words.numbers import read_number


def page() -> None:
    import streamlit as st

    from forecast.dashboard.asking import number_field

    told = number_field(st, "Money", currency="EUR", value=1500.0, least=10, most=1e6, key="money")
    st.text(f"{told.value} {told.wrong}")
    rate = number_field(st, "Rate", near=1.2, least=1e-9, most=1e9)
    st.text(f"rate {rate.value}")


def texts(app: AppTest) -> str:
    return "\n".join(item.value for item in app.text)


def test_a_field_reads_asks_and_says_what_is_wrong() -> None:
    app = AppTest.from_function(page).run()
    assert "1500.0" in texts(app)
    assert app.text_input[0].value == "1\u202f500"
    for written, value in (("€ 4.200,-", 4200.0), ("4 200", 4200.0), ("4.2k", 4200.0), ("", None)):
        app = app.text_input[0].set_value(written).run()
        assert texts(app).startswith(f"{value}")
        assert not app.radio
        assert not app.error
    app = app.text_input[0].set_value("4.200").run()
    assert "'4.200' can mean 4200 or 4.2. Which is meant?" in app.radio[0].label
    assert "None Money: " in texts(app)
    app = app.radio[0].set_value("4200").run()
    assert "4200.0" in texts(app)
    app = app.text_input[0].set_value("5").run()
    told = app.error[0].value
    assert "Write from 10 to 1\u202f000\u202f000" in told
    app = (
        app.text_input[0].set_value(told.partition(" to ")[2].rstrip(".")).run()
    )  # a limit is read as what it is
    assert "1000000.0" in texts(app)
    assert not app.radio
    app = app.text_input[0].set_value("5 USD").run()
    assert "is in USD, but EUR is counted here" in app.error[0].value


def test_what_is_known_of_a_rate_decides_what_a_number_means() -> None:
    app = AppTest.from_function(page).run()
    app = app.text_input[1].set_value("1.199").run()
    assert "rate 1.199" in texts(app)
    assert not app.radio


@pytest.mark.parametrize("value", [0.0, 1.5, 1234.0, 1_250_000.0, 1.234, 1234.567, 0.0057, 99.999])
def test_what_a_field_shows_can_be_read_in_one_way(value: float) -> None:
    assert float(read_number(shown(value))) == value
