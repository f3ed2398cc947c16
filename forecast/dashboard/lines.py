"""The page of lines: how well each is known, what each may cost, and a sheet to change them in."""

from __future__ import annotations

import streamlit as st

from forecast.build.buildfile import parse_build
from forecast.build.cautions import Caution, cautions_for
from forecast.build.edit import Change, changed
from forecast.build.scenario import choose
from forecast.build.schema import GROUPS, Build
from forecast.build.sheet import certainty, new_line, other_shapes
from forecast.dashboard.layout import answer, palette, picture, safe, table, tell, text, told_plainly
from forecast.dashboard.lines_sheet import sheet
from forecast.dashboard.missing import missing
from forecast.dashboard.saving import Sheet, keep, opened_sheet, undo
from forecast.dashboard.state import Opened, before, opened
from forecast.engine.forecast import Forecast
from forecast.errors import BuildFileError, ForecastError
from forecast.views.charts import line_bars
from forecast.views.money import about, signed


def page() -> None:
    """Draw the page."""
    st.title("The lines")
    with told_plainly():
        view = opened()
        loaded = opened_sheet(view)
        top = st.container()
        _undo(view)
        st.subheader("Change them")
        text(
            "Low, middle and high: in 1 of 10 builds it is less than low, in half less than middle, in 9 of 10 less "
            "than high. A middle alone is a figure that is known."
        )
        pending = sheet(view, loaded)
        tried = _try(view, loaded, pending)
        _add(view, loaded, pending)
        _others(view.build)
        missing(view, loaded)
        _cautions(view)
        with top:
            _answer(view)
            shown = tried[1] if tried is not None else before(view)
            picture(line_bars(shown.lines, view.currency, palette()))


def _answer(view: Opened) -> None:
    lines = choose(view.build, view.scenario).lines
    counts = certainty(view.build, lines)
    answer(
        f"Of {len(lines)} lines that cost money, **{counts['known']}** are known, **{counts['quoted']}** are quoted "
        f"and **{counts['guessed']}** are guessed; the others follow from these."
    )


def _undo(view: Opened) -> None:
    if undo.possible(view) and st.button("Undo the last change", key="undo"):
        try:
            undo(view)
        except ForecastError as error:
            tell(error)
            return
        st.rerun()


def _try(view: Opened, loaded: Sheet, pending: list[Change]) -> tuple[Build, Forecast] | None:
    """Forecast the build as it would be with the changes, and offer to keep them."""
    if not pending:
        return None
    try:
        build = parse_build(changed(loaded.text, pending), "With these changes")
        scenario = view.scenario if view.scenario in build.scenario else None
        tried = build, before(Opened(view.folder, build, scenario, view.ledger, view.baseline))
    except ForecastError as error:
        tell(error)
        return None
    _what_if(view, tried)
    if loaded.theirs is not None:
        return tried
    left, right, _ = st.columns([1, 1, 3])
    if left.button("Keep the changes", type="primary", key="keep"):
        keep(view, pending, loaded)
    if right.button("Drop them", key="drop"):
        loaded.drop()
        st.rerun()
    return tried


def _what_if(view: Opened, tried: tuple[Build, Forecast]) -> None:
    old, new = before(view), tried[1]
    was, now = old.percentile(0.8), new.percentile(0.8)
    means = {line.id: line.mean for line in old.lines}
    moves = [(line.mean - means.get(line.id, 0.0), line.title) for line in new.lines]
    most = max(moves, key=lambda move: abs(move[0]))[1]
    st.info(
        f"Not saved yet: **{signed(now.value - was.value, view.currency, now.error)}** at P80, most of it from "
        f"{most} (from {about(was.value, view.currency, was.error)} to "
        f"{about(now.value, view.currency, now.error)}).".replace("$", r"\$")
    )


def _add(view: Opened, loaded: Sheet, pending: list[Change]) -> None:
    with st.expander("Add a line of your own"), st.form("add-line", clear_on_submit=True, border=False):
        left, right = st.columns([2, 1])
        name = left.text_input("Name", max_chars=80)
        group = right.selectbox("Group", GROUPS, format_func=str.capitalize)
        columns = st.columns(3)
        low, middle, high = (
            column.number_input(f"{word} ({view.currency})", value=None, min_value=0.0)
            for column, word in zip(columns, ("Low", "Middle", "High"), strict=True)
        )
        if st.form_submit_button("Add the line"):
            if not name.strip():
                st.error("The line needs a name.")
            else:
                try:
                    keep(view, [*pending, new_line(view.build, name, group, low, middle, high)], loaded)
                except BuildFileError as error:
                    tell(error)


def _others(build: Build) -> None:
    others = other_shapes(build)
    if others:
        with st.expander("Figures written in another way"):
            text("These stand in the build file with a shape of their own; change them there in an editor.")
            table(["Line", "Figure", "Written as"], [list(row) for row in others], "Other shapes", left=3)


def _cautions(view: Opened) -> None:
    found: dict[str, tuple[Caution, list[str]]] = {}
    for line in choose(view.build, view.scenario).lines:
        for caution in cautions_for(line.id, line.name, (line.group,)):
            found.setdefault(caution.id, (caution, []))[1].append(line.title)
    if found:
        with st.expander("Cautions beside these lines"):
            for caution, titles in found.values():
                st.markdown(f"{safe(caution.sentence)}  \n*{safe(', '.join(titles[:4]))}*")


page()
