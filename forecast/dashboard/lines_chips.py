"""Ten chips for a range of the build: the way in, on the page of lines."""

from __future__ import annotations

import streamlit as st

from forecast.buildfile.places_of_figures import place_at
from forecast.buildfile.schema import Build
from forecast.buildfile.sheet import every_figure, range_instead
from forecast.dashboard.chips import forget_chips, lay_chips
from forecast.dashboard.saving import form_key, put


def range_by_chips(build: Build) -> None:
    """Offer to find a figure's range with ten chips; what is found is laid in the tray like any other change."""
    if not st.toggle(
        "Find a range with ten chips", key=form_key("chips-open"),
        help="For a figure you have a feeling for, without thinking in percentiles.",
    ):  # fmt: skip
        return
    names = every_figure(build)
    path = st.selectbox(
        "Which figure?", list(names), index=None, format_func=names.__getitem__, placeholder="Type to search",
        key=form_key("chips-figure"),
    )  # fmt: skip
    if path is None:
        return
    found = lay_chips(path, place_at(build, path).unit)
    if found is not None:
        forget_chips(path)
        put([range_instead(build, path, *found)])
