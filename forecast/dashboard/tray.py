"""What is not saved yet, and its effect on the whole build: at the foot of every page until kept or dropped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from forecast.buildfile.changes import AddItem, AddScenario, Change, RemoveItem
from forecast.buildfile.schema import Build, Event, Line, Measure
from forecast.dashboard.layout import calmly, safe, said, tell
from forecast.dashboard.receipts_news import news
from forecast.dashboard.remembered import WITH_CHANGES, changed_text, parsed
from forecast.dashboard.saving import (
    TRAY,
    drop,
    keep,
    keep_on_theirs,
    kept_now,
    opened_sheet,
    show_difference,
)
from forecast.dashboard.shelf import SHELF
from forecast.dashboard.state import Opened, headline, opened, standing
from forecast.dashboard.unsaved import kept_for, show_everywhere, shown_everywhere, unsaved_changes
from forecast.decide.paired import forecast_change
from forecast.engine.forecast import Forecast
from forecast.errors import BuildFileError, ForecastError
from forecast.missing.left_out import findings
from forecast.words.chances import listed
from forecast.words.money import about, rounding_step, signed
from forecast.words.text import STRONG

_FOOT: ContextVar[DeltaGenerator | None] = ContextVar("foot of the page", default=None)
"""Where the tray goes in this run; None once it is drawn."""
_SWITCH = "unsaved-everywhere"


_TRIED = 2
"""Builds with changes that are not saved, whose figures are kept of each file: this one, and the one before it."""


@dataclass(frozen=True)
class Tried:
    """The build as it would be.

    Attributes
    ----------
    view : Opened
        With that build.
    forecast : Forecast
    """

    view: Opened
    forecast: Forecast

    @property
    def build(self) -> Build:
        """The build as it would be."""
        return self.view.build


def tried(view: Opened, text: str, pending: list[Change]) -> Tried:
    """Forecast the build as it would be with changes; kept for all pages by its fingerprint.

    Raises
    ------
    BuildFileError
        With every mistake that the changes bring.
    """
    build = parsed(changed_text(text, pending), WITH_CHANGES)
    scenario = view.scenario if view.scenario in build.scenario else None
    new = replace(view, build=build, scenario=scenario)
    if build.fingerprint() != view.build.fingerprint():  # what is saved stays
        SHELF.only_newest(str(view.folder.build_file), build.fingerprint(), _TRIED)
    return Tried(new, standing(new, like=standing(view)))


@contextmanager
def foot() -> Iterator[None]:
    """Keep a place for the tray below everything that is drawn before it and inside this context."""
    token = _FOOT.set(st.container(key="tray-foot"))
    try:
        yield
    finally:
        _FOOT.reset(token)


def tray() -> None:
    """Show at the foot what is not saved yet, where there is any; once a run.

    A page on which changes are made calls it as soon as they are known, so that their effect is not kept waiting for
    the rest of the page.
    """
    place = _FOOT.get()
    if place is not None:
        _FOOT.set(None)
        with place:
            _tray()


def _tray() -> None:
    try:
        view = opened(saved=True)
    except ForecastError:
        return
    kept = kept_for(str(view.folder.build_file))
    if kept is None or not (kept["edits"] or kept["unread"] or kept["more"]):
        news(TRAY)
        return
    loaded = opened_sheet(view)
    with st.container(key="tray"):
        try:
            pending = unsaved_changes(kept)
            if not pending and not kept["unread"]:
                return
            result: Tried | BuildFileError = tried(view, kept["text"], pending)
        except BuildFileError as error:
            pending, result = [*kept["more"]], error
        if loaded.theirs is not None:
            _meanwhile(view, kept["text"], loaded.theirs)
            return
        if isinstance(result, BuildFileError):
            tell(result)
        else:
            if pending:
                # A quote, with the price that it is held against, is one thing to whoever entered it.
                one = len(pending) == 1 or all(map(_only_compared, pending))
                many = "" if one else f", {len(pending)} changes"
                st.markdown(said(_effect(view, result, pending, f"Not saved yet{many}", "then")))
                if along := _taken_along(parsed(kept["text"], WITH_CHANGES), result.build, pending):
                    st.markdown(said(along))
            for question in _slips(view.build, result.build):
                st.warning(safe(question))
        if kept["unread"]:
            cells = [text for cells in kept["unread"].values() for text in cells.values()]
            st.warning(safe(f"Typed into the sheet and not understood yet: {', '.join(map(repr, cells))}."))
        with st.container(horizontal=True, vertical_alignment="center"):
            may_keep = pending and not kept["unread"]
            if (
                may_keep
                and isinstance(result, Tried)
                and st.button("Keep the changes", type="primary", key="keep")
            ):
                keep(view, _effect(view, result, pending, "Kept", "now"))
            if st.button("Drop them", key="drop"):
                drop()
                st.rerun()
            if not isinstance(result, BuildFileError):
                # The same switch has another identity on the page that draws the tray itself: its value stands apart.
                st.toggle(
                    "Show every page with them",
                    value=shown_everywhere(),
                    key=_SWITCH,
                    on_change=calmly(_switched),
                )


def _switched() -> None:
    show_everywhere(on=bool(st.session_state[_SWITCH]))


def _only_compared(change: Change) -> bool:
    """Tell whether a change adds what is only held against the rest: a way, a measure or a quote."""
    added = isinstance(change, AddItem) and change.kind in ("measure", "option")
    return added or isinstance(change, AddScenario)


def _effect(view: Opened, result: Tried, pending: Sequence[Change], begin: str, when: str) -> str:
    """Say what changes do to the whole build: ``then``, once they are kept, or ``now`` that they are."""
    (was, _), (now, _) = headline(view), headline(result.view)
    old, new = standing(view), result.forecast
    titles = {row.id: row.title for forecast in (old, new) for row in forecast.plan.rows}
    moves = {name: new.means.get(name, 0.0) - old.means.get(name, 0.0) for name in {**old.means, **new.means}}
    most, move = max(moves.items(), key=lambda item: abs(item[1]))
    money = view.currency
    if not move and now.value == was.value:
        if all(map(_only_compared, pending)):
            begun = "Keep it, and it is" if when == "then" else "It is"
            return f"{begin}. What to hold {STRONG}stays as it is{STRONG}. {begun} compared with the others."
        return f"{begin}: {STRONG}no change{STRONG} at P80."
    # The draws are the same before and after, so that the change is known better than either figure: no "from" and
    # "to", whose own rounding would seem to contradict it.
    moved = forecast_change(old, new, 0.8)
    change, error = moved.value, moved.error
    then = f"P80 (in 80 of 100 builds it costs no more) is {when} about {about(now.value, money, now.error)}"
    step = rounding_step(money, error)
    if abs(change) < step / 2:
        return f"{begin}: {STRONG}less than {about(step, money)}{STRONG} at P80. {then}."
    return f"{begin}: {STRONG}{signed(change, money, error)}{STRONG} at P80, most of it from {titles[most]}. {then}."


def _taken_along(before: Build, after: Build, pending: Sequence[Change]) -> str:
    """Say what goes with what is taken out, and what counts on less now; nothing where nothing spoke of it."""
    chosen = {change.item for change in pending if isinstance(change, RemoveItem)}
    if not chosen:
        return ""
    kinds = ("line", "event", "measure")
    old, new = ({one.id: one for kind in kinds for one in getattr(build, kind)} for build in (before, after))
    gone = [f"\u201c{one.title}\u201d" for name, one in old.items() if name not in new and name not in chosen]
    less = [
        f"\u201c{one.title}\u201d"
        for name, one in old.items()
        if name in new and _speaks(one) != _speaks(new[name])
    ]
    told = [f"With it {'goes' if len(gone) == 1 else 'go'} {listed(gone)}, for it alone."] if gone else []
    if less:
        told.append(f"{listed(less)} {'goes' if len(less) == 1 else 'go'} by what is left.")
    return " ".join(told)


def _speaks(one: Line | Event | Measure) -> tuple[object, ...]:
    """Give what of an item names others."""
    if isinstance(one, Measure):
        return one.chances, one.impacts, one.figures, one.ranges, one.before
    return (one.of, one.hands_over if isinstance(one, Event) else one.also_for)


def _slips(before: Build, after: Build) -> list[str]:
    """Ask about figures that look like slips and did not before."""
    known = {item.rule for item in findings(before) if item.grade == "odd"}
    found = [item for item in findings(after) if item.grade == "odd" and item.rule not in known]
    return [f"Is that meant? {item.missing}. {item.why}" for item in found]


def _meanwhile(view: Opened, loaded: str, theirs: str) -> None:
    """Somebody else saved the file while changes stand here: show what, and ask."""
    st.warning(
        "The build file was saved elsewhere since these edits began. Nothing of either is lost; choose."
    )
    with st.expander("What was saved elsewhere", expanded=True):
        show_difference(loaded, theirs)
    left, right = st.columns(2)
    if left.button("Put my edits on top of it and save", key="keep-on-theirs", width="stretch"):
        keep_on_theirs(view, theirs)
    if right.button("Drop my edits, take the file", key="take-theirs", width="stretch"):
        drop()
        st.rerun()


__all__ = ["Tried", "kept_now", "tray", "tried"]
