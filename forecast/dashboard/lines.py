"""The page of lines: how well each is known, what each may cost, and a sheet to change them in."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st

from forecast.buildfile.oneself import cautions_beside
from forecast.buildfile.places_of_figures import place_at
from forecast.buildfile.schema import Build
from forecast.buildfile.sheet import certainty, other_shapes, range_instead
from forecast.dashboard.layout import answer, kept_picture, palette, safe, table, tell, text, told_plainly
from forecast.dashboard.lines_missing import cautions, missing, rules
from forecast.dashboard.lines_more import more, range_by_chips
from forecast.dashboard.lines_sheet import sheet
from forecast.dashboard.printing import screen_only
from forecast.dashboard.proposing import take_quote
from forecast.dashboard.remembered import WITH_CHANGES, parsed
from forecast.dashboard.saving import can_undo, kept_now, opened_sheet, put, undo
from forecast.dashboard.state import Opened, before, known_by_now, opened, watched
from forecast.dashboard.tray import tray, tried
from forecast.dashboard.unsaved import unsaved_changes
from forecast.engine.sketch import three_points
from forecast.errors import BuildFileError, ForecastError
from forecast.views.charts import line_bars
from forecast.views.commands.check import wide_ranges
from forecast.views.sentences import slips_sentence
from forecast.words.chances import listed, so_many
from forecast.words.text import STRONG


def page() -> None:
    """Draw the page."""
    st.title("The lines")
    with told_plainly():
        view = opened(saved=True)
        loaded = opened_sheet(view)
        top = st.container()
        with screen_only("sheet"):
            _undo(view)
            text(
                "In 10 of 100 builds a figure is less than low, in half less than middle, in 90 of 100 less than high. "
                "A middle alone is known. Nothing is saved until you keep it."
            )
            sheet(view, loaded, lambda: cautions_beside(_shown(view).build, view.scenario))
            range_by_chips(parsed(loaded.text, WITH_CHANGES))
        tray()
        shown = _shown(view)
        with top:
            _answer(shown)
        build = parsed(loaded.text, WITH_CHANGES)
        with screen_only("change"):
            take_quote(view)
            more(view, build, _further(build))
        look, done, paid = palette(), _settled(view), known_by_now(view) is not None
        kept_picture(
            ("lines", shown.build.fingerprint(), shown.scenario, look, done, paid),
            lambda: line_bars(before(shown).lines, view.currency, look, settled=done, paid=paid),
        )
        missing(view, build)
        cautions(shown)
        rules(shown)


def _further(build: Build) -> dict[str, Callable[[], None]]:
    """Give what only some builds have: figures that the sheet cannot show, and ranges to look at again."""
    found: dict[str, Callable[[], None]] = {}
    if others := other_shapes(build):
        found["Written in another way"] = lambda: _others(build, others)
    if wide := wide_ranges(build):
        listed = "\n".join(f"- {safe(sentence)}" for sentence in wide)
        found[f"Ranges worth a second look: {len(wide)}"] = lambda: _listed(listed)
    return found


def _listed(markdown: str) -> None:
    st.markdown(markdown)


def _shown(view: Opened) -> Opened:
    """Give the build with what is not saved, where that is a legal build."""
    try:
        pending = unsaved_changes(kept_now())
        return tried(view, kept_now()["text"], pending).view if pending else view
    except BuildFileError:
        return view


def _settled(view: Opened) -> tuple[str, ...]:
    """Give the lines that are closed, the events that cannot happen any more, and what counts no more, in one order."""
    known, watch = known_by_now(view), watched(view)
    if known is None or watch is None:
        return ()
    ruled_out = {name for name, state in known.events.items() if state == "cannot-happen"}
    return tuple(sorted(known.closed | ruled_out | watch.counting_no_more))


def _answer(view: Opened) -> None:
    known = known_by_now(view)
    lines = {row.id for row in before(view).plan.counted(() if known is None else known.paid)}
    closed = lines & (frozenset() if known is None else known.closed)
    counts = {"closed": len(closed)} | certainty(
        view.build, [line for line in view.build.line if line.id in lines - closed]
    )
    told = [f"{STRONG}{count}{STRONG} {word}" for word, count in counts.items() if count]
    if told:
        verb = "is" if next(count for count in counts.values() if count) == 1 else "are"
        told[0] = told[0].replace(f"{STRONG} ", f"{STRONG} {verb} ")
    others = "; the others follow from these" if sum(counts.values()) < len(lines) else ""
    answer(
        f"Of {so_many(len(lines), 'line')} that cost money, {listed(told)}{others}."
        if told
        else "No line of yours yet: what comes from abroad makes all of it."
        if view.build.consignment
        else "No line costs anything yet.",
        slips_sentence(view.build, "Further down this page asks"),
    )


def _undo(view: Opened) -> None:
    if can_undo(view) and st.button("Undo the last change", key="undo"):
        try:
            undo(view)
        except ForecastError as error:
            tell(error)
            return
        st.rerun()


def _others(build: Build, others: Sequence[tuple[str, str, str, str]]) -> None:
    text(
        "These stand in the build file with a shape of their own. Put low, middle and high in its place to change one "
        "in the sheet. Its three points stay what they are; what lies between and beyond may shift a little."
    )
    table(["Line", "Figure", "Written as"], [list(row[1:]) for row in others], "Other shapes", left=3)
    names = {path: f"{title}: {word}" for path, title, word, _ in others}
    chosen = st.selectbox(
        "Which", list(names), index=None, format_func=names.__getitem__, placeholder="Type to search",
        key="shape-which",
    )  # fmt: skip
    if st.button("Put low, middle and high there", key="shape-put", disabled=chosen is None) and chosen:
        _put_range(build, chosen)


def _put_range(build: Build, path: str) -> None:
    low, middle, high = three_points(place_at(build, path).figure.shape())
    if not 0 < low < middle < high:
        points = f"{low:g}, {middle:g} and {high:g}"
        st.error(f"Its P10, P50 and P90 are {points}: they make no range. Change it in the file.")
        return
    put([range_instead(build, path, low, middle, high)])


page()
