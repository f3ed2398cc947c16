"""A range by ten chips: the least, then the most, then ten chips laid between them, by keyboard or thumb."""

from __future__ import annotations

from typing import TypedDict, cast

import streamlit as st

from forecast.buildfile.chips import BINS, CHIPS, check_ends, edges, range_of
from forecast.buildfile.library import Range
from forecast.dashboard.asking import number_field
from forecast.dashboard.layout import palette, safe, told_plainly
from forecast.words.currencies import is_currency
from forecast.words.money import entered_in

_LOOK = """
<style>
.st-key-chips-bins { gap: 0.35rem; max-width: 34rem; }
.st-key-chips-bins button, .st-key-chips-end button { min-height: 44px; min-width: 44px; }
.st-key-chips-bins > * > [class*="st-key-chips-bin-"] { flex-wrap: nowrap; gap: 0.6rem; }
[class*="st-key-chips-lay-"] { flex: none; width: 11.5rem; }
[class*="st-key-chips-lay-"] button { width: 100%; }
[class*="st-key-chips-back-"] { flex: none; width: 44px; margin-left: auto; }
[class*="st-key-chips-back-"] button { padding: 0; }
[class*="st-key-chips-back-"] button p { font-size: 0; }
[class*="st-key-chips-back-"] button p::before { content: "\\2212" / ""; font-size: 1.3rem; line-height: 1; }
.fc-chips { display: flex; flex-wrap: wrap; gap: 4px; width: 96px; min-height: 36px; align-content: center; }
.fc-chips i { width: 16px; height: 16px; border-radius: 50%; }
@media (min-width: 641px) { .fc-chips { width: 200px; } }
</style>
"""
"""Each place to press is 44 pixels high and wide, and the chips lie in rows of five, or of ten where there is room."""


class Laid(TypedDict):
    """What is said so far: plain values only, for whatever a session holds outlives a module.

    Attributes
    ----------
    least, most : float or None
        The ends, asked one after the other.
    chips : list of int
        Chips in each bin.
    taken : bool
        Whether the range is what the builder wants.
    """

    least: float | None
    most: float | None
    chips: list[int]
    taken: bool


def lay_chips(key: str, unit: str) -> Range | None:
    """Ask for both ends, each by itself, and for ten chips between them.

    Parameters
    ----------
    key : str
        Of its own in the tab.
    unit : str
        A currency's code, or what the figure is counted in.

    Returns
    -------
    tuple of float or None
        Low, middle and high, once they are taken; who takes them forgets them.
    """
    said = _said(key)
    if said["least"] is not None and said["most"] is not None and said["taken"]:
        return range_of(said["least"], said["most"], said["chips"])
    if said["least"] is None:
        _ask_end(key, "least", "What is the least it could be?", _LEAST, unit)
    elif said["most"] is None:
        _ask_end(key, "most", "And what is the most it could be?", _MOST, unit)
    else:
        _bins(key, said["least"], said["most"], unit)
    return None


_LEAST = "Think of all going well: it would surprise you if it came to less."
_MOST = "Now think of all going badly, by itself: it would surprise you if it came to more."


def forget_chips(key: str) -> None:
    """Forget what was said of a range."""
    st.session_state.pop(_memory(key), None)


def _memory(key: str) -> str:
    return f"chips-of-{key}"


def _said(key: str) -> Laid:
    fresh = Laid(least=None, most=None, chips=[0] * BINS, taken=False)
    return cast(Laid, st.session_state.setdefault(_memory(key), fresh))


def _ask_end(key: str, end: str, question: str, thought: str, unit: str) -> None:
    said = _said(key)
    with st.container(key="chips-end"), st.form(f"chips-{end}-{key}", border=False):
        money = unit if is_currency(unit) else ""
        told = number_field(
            st, f"{question} ({unit})" if unit else question, currency=money, units=() if money else (unit,),
            tell=False, key=f"chips-{end}-of-{key}",
        )  # fmt: skip
        st.caption(thought)
        with st.container(horizontal=True):
            ahead = st.form_submit_button("Go on", type="primary")
            back = end == "most" and st.form_submit_button("Ask for the least again")
        if ahead:
            wrong = told.wrong or ("" if told.value is not None else "Write a number.")
            if not wrong and said["least"] is not None and told.value is not None:
                wrong = check_ends(said["least"], told.value)
            if wrong:
                st.error(safe(wrong))
    if back:
        said["least"] = None
        st.rerun()
    if ahead and not wrong:
        said["least" if end == "least" else "most"] = told.value
        st.rerun()


@st.fragment
@told_plainly()
def _bins(key: str, least: float, most: float, unit: str) -> None:
    """Draw the bins; a chip laid draws nothing else of the page anew."""
    said = _said(key)
    bounds = [entered_in(edge, unit) for edge in edges(least, most)]
    st.html(_LOOK)
    st.markdown(
        f"Press a row to lay a chip there: each stands for 10 of 100 builds. {_left(sum(said['chips']))}"
    )
    with st.container(key="chips-bins"):
        for place in range(BINS):
            name = f"{bounds[place]} to {bounds[place + 1]}"
            with st.container(key=f"chips-bin-{place}", horizontal=True, vertical_alignment="center"):
                st.button(safe(name), key=f"chips-lay-{place}", on_click=_lay, args=(key, place))
                _draw(said["chips"][place])
                st.button(
                    f"Take one back from {safe(name)}", key=f"chips-back-{place}", on_click=_take_back,
                    args=(key, place),
                )  # fmt: skip
    done = sum(said["chips"]) == CHIPS
    found = range_of(least, most, said["chips"]) if done else None
    if found is not None:
        low, middle, high = (safe(entered_in(point, unit)) for point in found)
        st.markdown(
            f"In 10 of 100 builds it is less than **{low}**, in half less than **{middle}**, and in 90 of 100 less "
            f"than **{high}**."
        )
    with st.container(key="chips-end", horizontal=True):
        said["taken"] = st.button("Take this range", key="chips-take", type="primary", disabled=not done)
        again = st.button("Ask for the ends again", key="chips-ends")
    if again:
        forget_chips(key)
    if again or said["taken"]:
        st.rerun()


def _left(laid: int) -> str:
    if laid == CHIPS:
        return "**All ten lie.** To move one, take it back first."
    rest = CHIPS - laid
    return f"**{rest} {'chip' if rest == 1 else 'chips'} left.**"


def _draw(count: int) -> None:
    drawn = f'<i style="background: {palette().accent}"></i>' * count
    st.html(f'<div class="fc-chips" role="img" aria-label="{count} of {CHIPS} chips">{drawn}</div>')


def _lay(key: str, place: int) -> None:
    chips = _said(key)["chips"]
    if sum(chips) < CHIPS:
        chips[place] += 1


def _take_back(key: str, place: int) -> None:
    chips = _said(key)["chips"]
    if chips[place]:
        chips[place] -= 1


__all__ = ["forget_chips", "lay_chips"]
