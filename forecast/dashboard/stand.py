"""The page that opens, and answers: where does it stand."""

from __future__ import annotations

from typing import Any

import streamlit as st

from forecast.buildfile.oneself import own_hazards, own_hazards_sentence, what_can_hurt
from forecast.dashboard.cost_answers import firm_up_on_its_way
from forecast.dashboard.layout import OnTap, answer, kept_picture, on_tap, palette, safe, table, told_plainly
from forecast.dashboard.receipts_import import receipts_as_text
from forecast.dashboard.stand_attention import attention, to_firm_up_next
from forecast.dashboard.state import Opened, before, known_by_now, opened, watched
from forecast.dashboard.tray import tray
from forecast.engine.forecast import Forecast
from forecast.missing.left_out import NOTHING_MISSING, findings
from forecast.views.sentences import above_middles
from forecast.views.stands import budget_rows, level_rows, stand_sentences
from forecast.views.theme import Palette
from forecast.watching.reforecast import Reforecast
from forecast.words.text import STRONG


def page() -> None:
    """Draw the page."""
    st.title("Where does it stand?")
    with told_plainly():
        view = opened()
        watch = watched(view) if known_by_now(view) is not None else None
        if watch is None and receipts_as_text(view):
            return
        found: Forecast | Reforecast = before(view) if watch is None else watch
        firm_up_on_its_way(view)  # begun now, drawn last
        answer(*stand_sentences(found, view.budget, strong=STRONG))
        if watch is None:
            st.caption(
                "Each line has a range; from all of them the whole build is simulated thousands of times. To hold "
                "is to have in the bank before you order. "
                "The middle figure of a line is as often too low as too high."
            )
        look = palette()
        kept_picture(("fan", view.key, view.budget, look), lambda: _fan(found, view.budget, look))
        _figures(view, found)
        if isinstance(found, Forecast) and (why := above_middles(found)):
            st.caption(safe(why))
        st.subheader("What wants attention")
        asked = attention(view, watch)
        tray()
        # Finding what to firm up takes longest: all else stands on the screen by then.
        to_firm_up_next(view, watch, asked)
        if watch is None:
            _before_ordering(view)


def _before_ordering(view: Opened) -> None:
    """Say that nothing usual was left out, where that is so, and what of the plan can hurt its builder."""
    if not findings(view.build):
        st.caption(NOTHING_MISSING)
    if hazards := own_hazards(view.build, view.scenario):
        on_tap(OnTap(what_can_hurt(hazards), [own_hazards_sentence(hazards)]))


def _fan(found: Forecast | Reforecast, budget: float | None, look: Palette) -> Any:
    # loaded here: what charts need takes longest of all, and the sentence above is on the screen by then
    from forecast.views.charts import paid_against_fan

    return paid_against_fan(found, budget, look)


def _figures(view: Opened, found: Forecast | Reforecast) -> None:
    if not isinstance(found, Reforecast):
        table(["", "Hold", "Meaning"], level_rows(found), "What to hold", right_text=1)
        return
    if found.finished:
        return
    left, right = st.columns(2)
    with left:
        table(["", "Total", "Meaning"], level_rows(found), "Where it ends", right_text=1)
    with right:
        rows = budget_rows(found)
        what = "Paid and agreed so far" if found.budget is None else "What the budget has left"
        table(["", view.currency], rows, what, last_is_sum=found.budget is not None)


page()
