"""The sheet as cards, for a narrow screen: one card a line, which opens to a short form."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import streamlit as st

from forecast.buildfile.cautions import Caution
from forecast.buildfile.oneself import Beside
from forecast.buildfile.places_of_figures import places
from forecast.buildfile.schema import GROUPS, Build
from forecast.buildfile.sheet import SheetRow, changes, differences, with_changes
from forecast.dashboard.asking import Told, first_wrong, number_field, shown
from forecast.dashboard.layout import OnTap, on_tap, safe, said
from forecast.dashboard.remembered import WITH_CHANGES, changed_text, parsed
from forecast.dashboard.saving import SheetFile, form_key, kept_now
from forecast.dashboard.scripts import cards_where_narrow
from forecast.dashboard.unsaved import keep_draft
from forecast.errors import BuildFileError
from forecast.words.chances import so_many
from forecast.words.currencies import is_currency, minor_digits
from forecast.words.money import entered
from forecast.words.text import STRONG

_NAMES = {"low": "Low", "middle": "Middle", "high": "High"}
_OPEN = "open-card"
_NARROW = "window-was-narrow"
_LOOK = """<style>
.st-key-sheet-cards, .st-key-as-cards { display: none; }
@media (max-width: 640px) {
  .st-key-sheet-cards, .st-key-as-cards { display: flex; } .st-key-sheet-grid { display: none; } }
[class*="st-key-line-cards"] { gap: 0.4rem; }
[class*="st-key-line-cards"] [class*="st-key-card-"] button,
[class*="st-key-line-cards"] [class*="st-key-card-"] button > div {
  justify-content: flex-start; text-align: left; min-height: 44px; }
[class*="st-key-line-cards"] [class*="st-key-card-"] strong { display: block; }
[class*="st-key-three-"] > * { flex: 1 1 0; min-width: 4.5rem; }
[class*="st-key-line-cards"] .fc-tap summary { white-space: nowrap; overflow: hidden; text-overflow: ellipsis; }
</style>"""


def wanted() -> bool:
    """Tell whether cards are to be drawn beside the grid: only where the window is narrow, or was.

    Until then there is a button in their place, which nobody sees in a wide window; in a narrow one it is pressed by
    itself (`scripts.NARROW`). So a wide one is spared what it does not show.
    """
    if st.session_state.get(_NARROW):
        return True
    st.html(_LOOK)
    with st.container(key="as-cards"):
        st.button("Show the lines as cards", key="cards-wanted", on_click=_want)
    st.html(cards_where_narrow(), unsafe_allow_javascript=True)
    return False


def _want() -> None:
    st.session_state[_NARROW] = True


def cards(
    loaded: SheetFile,
    plain: Sequence[SheetRow],
    was: Mapping[str, str],
    states: Mapping[str, str],
    beside: Sequence[Beside],
    *,
    alone: bool,
) -> None:
    """Draw the rows of the sheet as cards; what is changed in one goes to the tray.

    Parameters
    ----------
    loaded : SheetFile
    plain : sequence of SheetRow
        Those that the sheet shows, edits left out.
    was : mapping
        What stood in a changed row, by its path.
    states : mapping
        How lines, and goods from abroad, stand that are closed or are not in this scenario.
    beside : sequence of Beside
        What bears cautions; those of a line stand at its card, and those of what has none below all cards.
    alone : bool
        Whether there is no grid beside them; else the width of the window decides which of the two is seen.
    """
    st.html(_LOOK)
    with st.container(key="sheet-cards-alone" if alone else "sheet-cards"):
        group = _group(plain)
        found: dict[tuple[str, str], list[SheetRow]] = {}
        for row in plain:
            if group in ("", row.group):
                found.setdefault((row.item, row.title), []).append(row)
        with st.container(key="line-cards"):
            for number, rows in enumerate(found.values()):
                _card(loaded, rows, was, number, states.get(rows[0].item, ""))
                _cautions([one for one in beside if _of_card(one, rows[0])])
            _cautions([one for one in beside if not any(_of_card(one, row) for row in plain)], named=True)


def _of_card(one: Beside, row: SheetRow) -> bool:
    """Tell whether cautions belong to the card of a row; those of goods go by their name within a consignment."""
    if one.kind == "goods":
        return one.id == row.item or (one.id.startswith(f"{row.item}.") and one.title == row.title)
    return one.id == row.item


def _cautions(found: Sequence[Beside], *, named: bool = False) -> None:
    """Name what to mind in one short line, and the rest of it on tap."""
    if not found:
        return
    told: dict[Caution, str] = {}
    for one in found:
        for caution in one.cautions:
            told.setdefault(caution, one.title)
    first, more = next(iter(told)).topic, len(told) - 1
    where = f"Mind at {so_many(len(found), 'other line')}" if named else "Mind"
    full = [
        f"{STRONG}{f'{title}: ' if named else ''}{one.topic}{STRONG}. {one.text} {one.authority}."
        for one, title in told.items()
    ]
    on_tap(OnTap(f"{where}: {first}{f' and {more} more' if more else ''}", full))


def _group(plain: Sequence[SheetRow]) -> str:
    """Ask which group to show; empty where there is one thing alone, such as goods opened to their parts."""
    there = [name for name in (*GROUPS, "events") if any(row.group == name for row in plain)]
    if len(there) < 2 or len({row.item for row in plain}) < 2:
        return ""
    chosen = st.pills(
        "Show", there, default=there[0], key="cards-of", required=True, persist_state="session",
        format_func=lambda name: "May happen" if name == "events" else name.capitalize(),
    )  # fmt: skip
    return chosen if chosen in there else there[0]


def _card(
    loaded: SheetFile, plain: Sequence[SheetRow], was: Mapping[str, str], number: int, state: str
) -> None:
    now = with_changes(plain, kept_now()["edits"])
    name = f"{plain[0].item} {plain[0].title}"
    opened = st.session_state.get(_OPEN) == name
    figures = "; ".join(_figures(row) + (f" ({old})" if (old := was.get(row.path)) else "") for row in now)
    if now[0].chance < 1:
        figures += f"; in {100 * now[0].chance:g} of 100 builds"
    if state:
        figures = f"{state}; estimated: {figures}"
    sign = "▾" if opened else "▸"
    label = f"{said(f'{STRONG}{sign} {now[0].title}{STRONG}')} {safe(figures)}"
    if st.button(label, key=f"card-{number}", width="stretch"):
        st.session_state[_OPEN] = None if opened else name
        st.rerun()
    if opened:
        _form(loaded, plain, now)


def _figures(row: SheetRow) -> str:
    return f"{row.figure} {numbers_of(row)}".strip()


def numbers_of(row: SheetRow) -> str:
    """Write a figure's numbers and unit: sums as every page writes them, where that says all of them."""
    known = [part for part in (row.low, row.middle, row.high) if part is not None]
    if known and is_currency(row.unit) and all(round(part, minor_digits(row.unit)) == part for part in known):
        return " \u2013 ".join(entered(part, row.unit) for part in known)
    numbers = " \u2013 ".join(map(shown, known))
    return f"{numbers or 'not known'} {row.unit}".strip()


def _form(loaded: SheetFile, plain: Sequence[SheetRow], now: Sequence[SheetRow]) -> None:
    build = parsed(loaded.text, WITH_CHANGES)
    with st.form(form_key("card")):
        name = _name(build, now[0])
        numbers = [_three(row, place) for place, row in enumerate(now)]
        chance = _chance(build, now[0])
        if not st.form_submit_button("Change it", type="primary"):
            return
        problem = first_wrong(*(told for three in numbers for told in three.values()), chance)
        if not problem:
            after = [_with(row, three) for row, three in zip(now, numbers, strict=True)]
            if chance.value is not None and shown(chance.value) != shown(100 * now[0].chance):
                after[0] = replace(after[0], chance=chance.value / 100)
            if name != now[0].title:
                after = [replace(row, title=name) if row.title == now[0].title else row for row in after]
            problem = _cannot_be(loaded, build, plain, after)
        if problem:
            st.error(safe(problem))
            return
    _lay(plain, after)


def _name(build: Build, row: SheetRow) -> str:
    """Ask what the line is called; goods whose name the file has nowhere keep theirs."""
    if not any(place.naming for place in places(build) if (place.item, place.key) == (row.item, row.key)):
        return row.title
    return st.text_input("Name", row.title, key=form_key(f"card-{row.path}-name")).strip()


def _three(row: SheetRow, place: int) -> dict[str, Told]:
    """Ask for low, middle and high of one figure."""
    unit = "" if row.figure == "percent" else row.unit
    st.markdown(safe(f"{row.figure.capitalize()}{f', {unit}' if unit else ''}"))
    money = row.unit if is_currency(row.unit) else ""
    with st.container(horizontal=True, key=f"three-{place}"):
        return {
            name: number_field(
                st, label, value=getattr(row, name), currency=money, units=() if money else (row.unit,), least=None,
                tell=False, key=form_key(f"card-{row.path}-{name}"),
            )
            for name, label in _NAMES.items()
        }  # fmt: skip


def _chance(build: Build, row: SheetRow) -> Told:
    """Ask in how many builds a line is needed or an event happens; goods and surfaces always are."""
    if row.item not in {item.id for item in (*build.line, *build.event)}:
        return Told(None)
    label = (
        "Happens in how many of 100 builds" if row.group == "events" else "Needed in how many of 100 builds"
    )
    return number_field(
        st, label, value=100 * row.chance, units=("%",), least=0.1, most=100.0, tell=False,
        key=form_key(f"card-{row.path}-chance"),
    )  # fmt: skip


def _with(row: SheetRow, three: Mapping[str, Told]) -> SheetRow:
    """Put what was typed on a row; a number that reads as it did stays exactly what it was."""

    def number(old: float | None, told: Told) -> float | None:
        same = old is not None and told.value is not None and shown(old) == shown(told.value)
        return old if same else told.value

    return replace(
        row,
        low=number(row.low, three["low"]),
        middle=number(row.middle, three["middle"]),
        high=number(row.high, three["high"]),
    )


def _cannot_be(loaded: SheetFile, build: Build, plain: Sequence[SheetRow], after: Sequence[SheetRow]) -> str:
    """Say why a line cannot be changed to this; empty where it can."""
    try:
        parsed(changed_text(loaded.text, changes(build, plain, after)), WITH_CHANGES)
    except BuildFileError as error:
        found = f"{error.problems[0].found}. {error.problems[0].mend}"
        return found[0].upper() + found[1:]
    return ""


def _lay(plain: Sequence[SheetRow], after: Sequence[SheetRow]) -> None:
    """Lay the changes in the tray, among those of the grid, which begins anew with them."""
    kept = kept_now()
    found = differences(plain, after)
    for row in plain:
        kept["edits"].pop(row.path, None)
        kept["unread"].pop(row.path, None)
    kept["edits"] |= found
    kept["turn"] += 1
    st.session_state[_OPEN] = None
    keep_draft()
    st.rerun()


__all__ = ["cards", "wanted"]
