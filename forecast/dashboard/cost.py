"""The page that answers: what will it cost."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from forecast.buildfile.schema import Build
from forecast.dashboard.cost_answers import firm_up_on_its_way
from forecast.dashboard.cost_hold import how_much_to_hold
from forecast.dashboard.cost_next import (
    cheap_and_dear,
    how_far_money_reaches,
    what_could_go,
    what_to_firm_up,
    which_measures_pay,
)
from forecast.dashboard.freeze import freeze_budget
from forecast.dashboard.layout import answer, fold, kept_picture, palette, safe, text, told_plainly
from forecast.dashboard.remembered import remembered
from forecast.dashboard.state import Opened, as_it_stands, if_narrow_line, known_by_now, opened
from forecast.views.charts import dots_of_hundred, s_curve
from forecast.views.sentences import (
    above_middles,
    at_its_end,
    budget_sentence,
    hold_sentence,
    slips_sentence,
    with_receipts,
    work_sentence,
)
from forecast.words.text import STRONG


def page() -> None:
    """Draw the page."""
    st.title("What will it cost?")
    with told_plainly():
        view = opened()
        forecast = as_it_stands(view)
        firm_up_on_its_way(view)  # begun now, drawn last
        work = work_sentence(forecast, strong=STRONG)
        narrow, known = if_narrow_line(view), known_by_now(view)
        answer(
            *with_receipts(view.build, known, forecast),
            hold_sentence(forecast, strong=STRONG, known=known),
            narrow.text if narrow is not None else "",
            budget_sentence(forecast, view.budget, strong=STRONG) if view.budget is not None else "",
            _slips(view.build.fingerprint(), dt.date.today().isoformat(), view.build),
        )
        if not at_its_end(forecast):
            freeze_budget(view)
        if at_its_end(forecast):
            text(
                "Nothing is left to hold, to firm up or to leave out. How good your estimates were stands under "
                "\u201cWhere does it end?\u201d."
            )
            return
        _picture(view)
        if why := above_middles(forecast):
            st.caption(safe(why))
        if work:
            text(work)
        how_much_to_hold(view)
        st.subheader("What to firm up first")
        firm = st.container()  # filled last: it takes longest, and nothing else should wait for it
        st.subheader("How far your money reaches")
        how_far_money_reaches(view)
        _measures_and_trims(view)
        with firm:
            what_to_firm_up(view)
            cheap_and_dear(view)


@st.fragment
@told_plainly()
def _measures_and_trims(view: Opened) -> None:
    folded = fold("Measures, what could go, and how these figures were made", "measures-and-trims")
    if folded.open:
        with folded:
            measures, trims, made = st.tabs(
                ["Which measures pay", "What could go, and what must stay", "How these figures were made"]
            )
            with measures:
                which_measures_pay(view)
            with trims:
                what_could_go(view)
            with made:
                _small_print(view)


@remembered(keys=2, most=24)
def _slips(fingerprint: str, day: str, _build: Build) -> str:
    return slips_sentence(_build, "The page of lines asks")


@st.fragment
@told_plainly()
def _picture(view: Opened) -> None:
    forecast = as_it_stands(view)
    kind = st.segmented_control(
        "Picture", ["A hundred builds", "Curve"], default="A hundred builds", label_visibility="collapsed",
        key="picture", required=True,
    )  # fmt: skip
    draw, look = s_curve if kind == "Curve" else dots_of_hundred, palette()
    every = bool(st.session_state.get("all-rules"))
    kept_picture(
        (draw.__name__, view.key, view.budget, look, every),
        lambda: draw(forecast, view.budget, look, every=every),
    )
    st.toggle("Mark P50, P90 and the middle figures too", key="all-rules")


def _small_print(view: Opened) -> None:
    forecast = as_it_stands(view)
    error = forecast.percentile(0.8).error
    text(
        f"{forecast.trials.count:,} simulated builds, seed {forecast.trials.seed}. With other draws P80 would "
        f"differ by about {error:,.0f} {view.currency} (standard error). "
        f"Build fingerprint {forecast.plan.fingerprint[:12]}."
    )
    for remark in forecast.remarks:
        text(remark)
    st.caption("Estimates, never advice on tax, customs or safety.")


page()
