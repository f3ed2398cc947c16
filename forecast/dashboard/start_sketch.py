"""The forecast of a build that is only answers yet; kept by the text that they make."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast, simulate
from forecast.start import WrongAnswer, stand, write_build


def sketch(written: Mapping[str, str]) -> Forecast | None:
    """Forecast the build that answers make, open ones counted as not known.

    Returns
    -------
    Forecast or None
        Of the scenario that the first page would show; None where an open question must be answered first.
    """
    try:
        text = write_build(stand(written).answers())
    except WrongAnswer:
        return None
    return _sketch(text, DEFAULT_TRIALS, DEFAULT_SEED)


@st.cache_resource(max_entries=64, show_spinner=False)
def _sketch(text: str, trials: int, seed: int) -> Forecast:
    build = parse_build(text)
    return simulate(build, next(iter(build.scenario), None), trials, seed, keep="totals")
