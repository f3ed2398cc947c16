"""The page that answers: what will it cost."""

from __future__ import annotations

import streamlit as st

from forecast.dashboard.layout import answer, palette, picture, table, text, told_plainly
from forecast.dashboard.state import Opened, before, contingency_of, opened
from forecast.decide.contingency import Share
from forecast.views.charts import dots_of_hundred, s_curve
from forecast.views.money import about, builds, hours, percent, signed
from forecast.views.sentences import budget_sentence, hold_sentence

_LEVELS = {"P50": 0.5, "P80": 0.8, "P90": 0.9}


def page() -> None:
    """Draw the page."""
    st.title("What will it cost?")
    with told_plainly():
        view = opened()
        forecast = before(view)
        own = forecast.hours((0.5, 0.9))
        work = (
            f"Your own work: **{hours(own[0].value)}** in the middle; "
            f"in 1 of 10 builds more than {hours(own[1].value)}."
            if own[1].value > 0
            else ""
        )
        answer(
            hold_sentence(forecast, strong="**"),
            budget_sentence(forecast, view.budget, strong="**") if view.budget is not None else "",
        )
        _picture(view)
        if work:
            text(work)
        st.subheader("How safe do you want to be?")
        _levels(view)
        _where_from(view)
        st.subheader("What to firm up first")
        _firm_up(view)
        _small_print(view)


@st.fragment
def _picture(view: Opened) -> None:
    forecast = before(view)
    kind = st.segmented_control(
        "Picture", ["A hundred builds", "Curve"], default="A hundred builds", label_visibility="collapsed",
        key="picture",
    )  # fmt: skip
    draw = s_curve if kind == "Curve" else dots_of_hundred
    picture(draw(forecast, view.budget, palette()))


def _levels(view: Opened) -> None:
    forecast, money = before(view), view.currency
    rows = [
        [
            "Middle figures", about(forecast.base_estimate, money), "",
            f"enough in {builds(forecast.chance_within(forecast.base_estimate).value)}",
        ]
    ]  # fmt: skip
    for level in (0.5, 0.8, 0.9):
        estimate = forecast.percentile(level)
        rows.append(
            [
                f"P{100 * level:.0f}",
                about(estimate.value, money, estimate.error),
                signed(estimate.value - forecast.base_estimate, money, estimate.error),
                f"enough in {builds(level)}",
            ]
        )
    table(
        ["", "Total", "Contingency", "Meaning"],
        rows,
        "Sums to hold, and what they are enough for",
        right_text=1,
    )


@st.fragment
def _where_from(view: Opened) -> None:
    st.subheader("Where the contingency comes from")
    name = st.segmented_control("Level to hold", list(_LEVELS), default="P80", key="level") or "P80"
    split = contingency_of(view, _LEVELS[name])
    money = view.currency
    text(
        f"At {name} you hold **{about(split.amount.value, money, split.amount.error)}** beyond your middle figures. "
        "Each share is what that part costs on average when the whole build costs about that much, less its middle "
        "figure; the shares add up."
    )
    _shares(split.causes, split.amount.value, money, f"Contingency at {name} by what causes it")
    with st.expander("By group"):
        _shares(split.groups, split.amount.value, money, f"Contingency at {name} by group")
    with st.expander("By line"):
        _shares(split.lines, split.amount.value, money, f"Contingency at {name} by line")


def _shares(shares: tuple[Share, ...], total: float, currency: str, caption: str) -> None:
    rows = [[share.title, signed(share.amount.value, currency)] for share in shares]
    rows.append(["Contingency", signed(total, currency)])
    table(["", "Adds"], rows, caption, last_is_sum=True)


def _firm_up(view: Opened) -> None:
    forecast, money = before(view), view.currency
    swings = forecast.swings()
    first = sorted(forecast.lines, key=lambda line: -line.variance_share)[:8]
    text(
        f"**{first[0].title}** makes the most of the uncertainty: {percent(first[0].variance_share)} of it. "
        "A quote, a trial fit or an afternoon of measuring is worth most at the top of this list."
    )
    rows = []
    for line in first:
        swing = swings.get(line.id)
        rows.append(
            [
                line.title + (" (may happen)" if line.kind == "event" else ""),
                percent(line.variance_share),
                about(swing.low, money) if swing else "–",
                about(swing.high, money) if swing else "–",
            ]
        )
    table(
        ["", "Share of the uncertainty", "Total when it comes in low", "Total when it comes in high"],
        rows,
        "What moves the total most: its mean when this line is in its lowest or highest tenth",
    )


def _small_print(view: Opened) -> None:
    forecast = before(view)
    with st.expander("How these figures were made"):
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
