"""What all pages share in looks: the sentence on top, tables, charts, what a thumb needs, and errors in plain words.

44 CSS pixels: Web Content Accessibility Guidelines 2.2, success criterion 2.5.5 (Target Size, Enhanced),
https://www.w3.org/TR/WCAG22/#target-size-enhanced, read 2026-11-27.
"""

from __future__ import annotations

import functools
import html
import json
import logging
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import streamlit as st

from forecast.dashboard.printing import print_rules
from forecast.dashboard.remembered import remembered
from forecast.dashboard.shelf import SHELF
from forecast.errors import ForecastError, unforeseen
from forecast.ledger import kept_open
from forecast.ledger.folder import write_down
from forecast.views.theme import DARK, LIGHT, Palette
from forecast.words.text import STRONG, plain

_TARGETS = """
@media (max-width: 640px), (pointer: coarse) {
  button[data-testid^="stBaseButton"], [data-testid="stExpandSidebarButton"], [data-testid="stButtonGroup"] button,
  [data-testid="stTab"],
  [data-testid="stSidebarNavLink"], .stPageLink a, .stExpander summary, .stDownloadButton button, .stLinkButton a {
    min-height: 44px; min-width: 44px; }
  .stTextInput input, .stNumberInput input, .stDateInput input, [data-testid="stTextInputRootElement"],
  .react-aria-ComboBox > [role="group"], .react-aria-ComboBox > [role="group"] > button { min-height: 44px; }
  .react-aria-ComboBox > [role="group"] > button { min-width: 44px; }
  .stCheckbox label, .stRadio label:has(input) { min-height: 44px; min-width: 44px; align-items: center; }
  [data-testid="stMultiSelectTagsContainer"] button { min-height: 44px; min-width: 44px; }
  .stTooltipIcon button { min-height: 44px; min-width: 44px; }
  /* what says more about a field stands in the row of its name, which is then as high as it: no field lies under it */
  [data-testid="stWidgetLabel"]:has(.stTooltipIcon) { min-height: 44px; align-items: center; }
  .stSlider [role="slider"] { min-height: 44px; }
  .fc-tap summary { min-height: 44px; padding-top: 0.7rem; }
  /* a swipe does what these do, and they are too small to be hit */
  [data-testid^="stTabsScroll"], [data-testid="stElementToolbar"], [data-testid="stHeaderActionElements"] {
    display: none !important; }
}
.st-key-phone-nav { display: none; }
@media (max-width: 640px) {
  /* all pages in two rows, so that none is out of sight and nothing scrolls; their names take two lines each */
  .st-key-phone-nav { display: grid; grid-template-columns: repeat(4, 1fr); gap: 0 2px; position: fixed; z-index: 30;
    inset: auto 0 0 0; width: 100%; background: var(--fc-paper);
    border-top: 1px solid color-mix(in srgb, var(--fc-ink) 30%, transparent);
    padding: 2px 2px calc(2px + env(safe-area-inset-bottom)); }
  .st-key-phone-nav > *, .st-key-phone-nav .stPageLink, .st-key-phone-nav .stPageLink > *, .st-key-phone-nav a {
    width: 100%; min-width: 0; }
  .st-key-phone-nav .stElementContainer, .st-key-phone-nav a { margin: 0; }  /* else they are drawn in, and cut off */
  .st-key-phone-nav a { justify-content: center; padding: 0 2px; }
  .st-key-phone-nav p { white-space: normal; text-align: center; font-size: 0.8rem; line-height: 1.2; }
  .stMainBlockContainer { padding: 3.6rem 0.9rem 9rem; }
  [data-testid="stLayoutWrapper"]:has(> .st-key-tray-foot) { bottom: 93px; }
}
"""


def thumb_rules() -> str:
    """Give the part of the stylesheet that is for thumbs."""
    return _TARGETS


_LOG = logging.getLogger("forecast.dashboard")
_LATE = "went-wrong-in-a-button"

# What Markdown reads as markup anywhere, and what it does at the start of a line; a form's label is also read
# out as it is written, so that nothing else is escaped.
_MARKUP = re.compile(r"([\\`*_\[\]<~$:|&]|^[#>+\-=]|(?<=^\d)[.)](?=\s)|(?<=^\d\d)[.)](?=\s))", re.MULTILINE)
# What is made into a link, a sign or an icon after all escapes are gone is parted by a sign without width.
_ACTING = re.compile(
    r"(?i:https?|ftp)(?=://)|(?i:www)(?=\.)|[\w.+-](?=@[\w-]+\.)|:(?=[\w+/-]+:|material/)|[-<>=~](?=[->=])",
)
_PARTED = "\u2060"
# A line may end between a sign and the currency behind it, which tears a sum apart: joined, it cannot.
_SIGNED = re.compile("[+\u2212](?=(?:[A-Z]{0,3}[^\\w\\s]|[A-Z]{3}\u00a0)\\d)")
_INDENT = re.compile(r"(?<=\n)[ \t]+|^(?:\t| {4})[ \t]*")

# Streamlit's own dialog says that a server does not respond, and asks for the internet, which nothing here needs. Where
# it is no longer built so, its own words are seen again.
_GONE = (
    "The dashboard does not answer",
    "Nothing that was saved is lost. If it has stopped, start it again with the command \\201C forecast app\\201D : "
    "this page then comes back by itself.",
)
_LOST = 'body:has(.stApp[data-test-connection-state]:not([data-test-connection-state="CONNECTED"])) [role="dialog"]'
_UNANSWERED = f"""
{_LOST} > h2, {_LOST} > h2 + div {{ font-size: 0; visibility: hidden; }}
{_LOST} > h2 + div > * {{ display: none; }}
{_LOST} > h2::before {{ content: "{_GONE[0]}"; font-size: 1.3rem; visibility: visible; }}
{_LOST} > h2 + div::before {{ content: "{_GONE[1]}"; font-size: 1rem; line-height: 1.5; visibility: visible; }}
"""

_STYLE = """
<style>
.stApp { font-variant-numeric: tabular-nums; }
.stMainBlockContainer { max-width: 68rem; padding-top: 3rem; padding-bottom: 4rem; }
.stMainBlockContainer h1 { padding: 0 0 0.4rem; }
.st-key-answer p { font-size: 1.16rem; line-height: 1.5; margin-bottom: 0.4rem; max-width: 46rem; }
.stAlert strong { white-space: nowrap; }
/* a field cannot break its text over lines, and the sidebar is narrow */
[data-testid="stSidebar"] [data-testid="stSelectbox"] input { font-size: 0.82rem; padding-left: 0.5rem;
  padding-right: 0; }
/* a choice among many is as high without the keyboard as with it: else what stands below jumps from under the finger */
[data-testid="stMultiSelectTagsContainer"] input { min-width: 3rem !important; }
[data-testid="stLayoutWrapper"]:has(> .st-key-tray-foot) { position: sticky; bottom: 0; z-index: 20; }
[data-testid="stCaptionContainer"] p { color: var(--fc-muted); opacity: 1; }
[data-testid="stCaptionContainer"] { opacity: 1; color: var(--fc-muted); }
button[data-testid^="stBaseButton-primary"] { color: var(--fc-paper); }
button[data-testid^="stBaseButton-tertiary"] p { text-decoration: underline; text-underline-offset: 0.2em; }
.st-key-tray { padding: 0.7rem 0.9rem 0.9rem; gap: 0.5rem;
  background: var(--fc-paper); border: 1px solid color-mix(in srgb, var(--fc-ink) 30%, transparent);
  border-radius: 0.3rem 0.3rem 0 0; box-shadow: 0 -6px 18px color-mix(in srgb, var(--fc-ink) 10%, transparent); }
.fc-tap summary { cursor: pointer; color: var(--fc-muted); font-size: 0.9rem; }
.fc-tap summary:focus-visible { outline: 2px solid currentColor; outline-offset: 2px; }
.fc-tap p { margin: 0.3rem 0 0.6rem; }
.fc-tap small { color: var(--fc-muted); }
.fc-scroll { overflow-x: auto; }
.fc-scroll:focus-visible { outline: 2px solid currentColor; outline-offset: 2px; }
table.fc { border-collapse: collapse; font-size: 0.92rem; min-width: min(100%, 30rem); }
table.fc caption { text-align: left; color: var(--fc-muted); padding-bottom: 0.3rem; font-size: 0.85rem; }
table.fc th { font-weight: 600; text-align: left; border-bottom: 1px solid currentColor; vertical-align: bottom; }
table.fc th, table.fc td { padding: 0.22rem 0.7rem 0.22rem 0; }
table.fc tbody td, table.fc tbody th { border-bottom: 1px solid color-mix(in srgb, currentColor 14%, transparent); }
table.fc tbody th { font-weight: 400; vertical-align: baseline; min-width: 6rem; }
table.fc td { vertical-align: baseline; }
table.fc td:last-child:not(.fc-money) { min-width: 9rem; }
table.fc thead th { max-width: 11rem; }
table.fc tr.fc-sum td, table.fc tr.fc-sum th { font-weight: 600; border-bottom: none; }
table.fc .fc-money { text-align: right; padding-right: 0.9rem; }
table.fc td.fc-money { white-space: nowrap; }
table.fc .fc-void { text-decoration: line-through; opacity: 0.75; }
@media (max-width: 640px) {
  table.fc { font-size: 0.86rem; min-width: 100%; }
  table.fc th, table.fc td { padding-right: 0.4rem; }
  table.fc .fc-money { padding-right: 0.5rem; }
  table.fc tbody th { min-width: 3.4rem; }
  table.fc td:last-child:not(.fc-money) { min-width: 6rem; }
  table.fc-stack thead { display: none; }
  table.fc-stack, table.fc-stack tbody, table.fc-stack caption { display: block; }
  table.fc-stack tr { display: grid; grid-template-columns: 1fr auto; padding: 0.35rem 0;
    border-bottom: 1px solid color-mix(in srgb, currentColor 14%, transparent); }
  table.fc-stack tbody th, table.fc-stack tbody td { border: none; padding: 0; }
  table.fc-stack td:nth-child(n + 3) { grid-column: 1 / -1; }
  table.fc-stack td:nth-child(n + 4) { opacity: 0.85; font-size: 0.87rem; }
  table.fc-cards thead { display: none; }
  table.fc-cards, table.fc-cards tbody, table.fc-cards caption, table.fc-cards tr { display: block; }
  table.fc-cards tr { border: 1px solid color-mix(in srgb, currentColor 22%, transparent); border-radius: 0.3rem;
    padding: 0.6rem 0.8rem; margin-top: 0.6rem; }
  table.fc-cards tbody th { display: block; border: none; padding: 0 0 0.25rem; font-weight: 600; font-size: 1rem; }
  table.fc-cards tbody td, table.fc-cards td.fc-money { display: flex; justify-content: space-between; gap: 1rem;
    border: none; padding: 0.16rem 0; text-align: right; }
  table.fc-cards td::before { content: attr(data-heading); color: var(--fc-muted); text-align: left; flex: none; }
  table.fc-cards td:empty { display: none; }
}
</style>
"""


def style() -> None:
    """Put the stylesheet into the page."""
    own = _STYLE.replace("<style>", f"<style>{_colours()}", 1)
    st.html(own.replace("</style>", _UNANSWERED + thumb_rules() + print_rules(palette()) + "</style>"))


def _colours() -> str:
    """Name the colours for the stylesheet, so that they turn with the browser's look and wait for no drawing.

    A browser that cannot choose between two keeps those of the look in which the page was drawn.
    """
    names, drawn = ("paper", "ink", "muted"), palette()
    fixed = " ".join(f"--fc-{name}: {getattr(drawn, name)};" for name in names)
    turning = " ".join(
        f"--fc-{name}: light-dark({getattr(LIGHT, name)}, {getattr(DARK, name)});" for name in names
    )
    return f".stApp {{ {fixed} }} @supports (color: light-dark(#000, #fff)) {{ .stApp {{ {turning} }} }}"


def palette() -> Palette:
    """Give the palette that goes with the browser's look."""
    return DARK if st.context.theme.type == "dark" else LIGHT


def safe(text: str) -> str:
    """Write any text so that Markdown shows it as it stands, dollar signs included, and nothing in it acts."""
    parted = _ACTING.sub(rf"\g<0>{_PARTED}", _INDENT.sub("", plain(text)))
    return _MARKUP.sub(r"\\\1", _SIGNED.sub(rf"\g<0>{_PARTED}", parted))


def said(sentence: str) -> str:
    """Write a sentence whose only markup is `STRONG` so that Markdown shows the rest of it as it stands."""
    return "**".join(safe(part) for part in sentence.split(STRONG))


def answer(*sentences: str) -> None:
    """Open a page with its answer."""
    with st.container(key="answer"):
        for sentence in sentences:
            if sentence:
                st.markdown(said(sentence))


def text(sentence: str) -> None:
    """Write an ordinary paragraph."""
    st.markdown(said(sentence))


FOLDS = (
    "two-ways",
    "close-several",
    "add-up",
    "further-changes",
    "measures-and-trims",
    "contingency-made-of",
    "every-mix",
    "quotes",
)
"""Names of the folds whose contents are drawn once they are open."""


def fold(label: str, name: str) -> Any:
    """Draw a fold; what goes into it is drawn where its `open` says so, and a page is spared what few look at.

    More than half of what a browser had to put together for most pages lay in folds that nobody opens. To be called in
    a fragment of its own, which alone is drawn again when it is opened.

    Parameters
    ----------
    label : str
    name : str
        One of `FOLDS`.
    """
    return st.expander(label, key=fold_key(name), on_change="rerun")


def fold_key(name: str) -> str:
    """Give under which key a session knows whether a fold is open."""
    assert name in FOLDS
    return f"fold-{name}"


@dataclass(frozen=True)
class OnTap:
    """What is said in one short line, and in full once that is tapped.

    Attributes
    ----------
    short : str
    full : sequence of str
        Paragraphs, whose only markup is `STRONG`.
    """

    short: str
    full: Sequence[str]


def on_tap(*parts: OnTap) -> None:
    """Show short lines that open where they stand: lighter than folds of the toolkit, and on paper all open."""
    st.html(
        "".join(
            f'<details class="fc-tap"><summary>{_as_html(part.short)}</summary>'
            f"{''.join(f'<p>{_as_html(paragraph)}</p>' for paragraph in part.full)}</details>"
            for part in parts
        )
    )


def _as_html(sentence: str) -> str:
    """Write a sentence whose only markup is `STRONG` as HTML."""
    parts = [html.escape(plain(part)) for part in sentence.split(STRONG)]
    return "".join(f"<strong>{part}</strong>" if place % 2 else part for place, part in enumerate(parts))


def picture(draw: Callable[[], Any], key: str | None = None) -> None:
    """Show a chart at full width; its title stands above it as text, which wraps on a narrow screen.

    Parameters
    ----------
    draw : callable
        Gives the chart; None where there is nothing to draw.
    key : str, optional
    """
    written = _written(draw)
    if written is not None:
        _show(written, key)


@dataclass(frozen=True)
class _Written:
    """A chart as it is sent: title and subtitle as Markdown, its tables by name, and the rest of it as JSON."""

    title: str
    subtitle: str
    tables: dict[str, bytes]
    specification: str


def _written(draw: Callable[[], Any]) -> _Written | None:
    # What charts need takes longer to load than all the rest: the first page's sentence stands before it is.
    from forecast.views.charts.frame import trust_charts, without_title

    trust_charts()
    chart = draw()
    if chart is None:
        return None
    title = chart.title
    subtitle = safe(" ".join(title.subtitle)) if title.subtitle else ""
    specification = without_title(chart)
    tables = {name: _table_sent(rows) for name, rows in specification.pop("datasets", {}).items()}
    return _Written(f"**{safe(' '.join(title.text))}**", subtitle, tables, json.dumps(specification))


def _table_sent(rows: list[dict[str, Any]]) -> bytes:
    """Write a chart's table as browsers take it; the toolkit would make a data frame of it each time it is shown."""
    import pyarrow

    found, sent = pyarrow.Table.from_pylist(rows), pyarrow.BufferOutputStream()
    with pyarrow.ipc.new_stream(sent, found.schema) as stream:
        stream.write_table(found)
    written: bytes = sent.getvalue().to_pybytes()
    return written


def _show(written: _Written, key: str | None) -> None:
    st.markdown(written.title)
    if written.subtitle:
        st.caption(written.subtitle)
    specification = json.loads(written.specification) | {"datasets": dict(written.tables)}
    st.vega_lite_chart(specification, width="stretch", theme=None, key=key)


def kept_picture(what: tuple[object, ...], draw: Callable[[], Any], key: str | None = None) -> None:
    """Show a chart that is drawn once for all tabs: putting one together takes longer than most of a page.

    Parameters
    ----------
    what : tuple
        All that it depends on, each part with a `repr` of its own: the state of the build and the ledger, the look.
    draw : callable
        Gives the chart; None where there is nothing to draw.
    key : str, optional
    """
    written = _drawn(repr(what), draw)
    if written is not None:
        _show(written, key)


@remembered(keys=1, most=64)
def _drawn(what: str, _draw: Callable[[], Any]) -> _Written | None:
    return _written(_draw)


def table(
    headings: Sequence[str],
    rows: Sequence[Sequence[str]],
    caption: str,
    *,
    left: int = 1,
    right_text: int = 0,
    last_is_sum: bool = False,
    struck: Sequence[int] = (),
    stacked: bool = False,
    cards: bool = False,
) -> None:
    """Show a table of real HTML, which prints, can be selected and is read aloud.

    Parameters
    ----------
    headings : sequence of str
    rows : sequence of sequences of str
    caption : str
        What the table shows; also its name for screen readers.
    left, right_text : int
        How many columns from the left and from the right are text; those between are figures.
    last_is_sum : bool
        Whether the last row adds the others up.
    struck : sequence of int
        Rows shown as taken back.
    stacked : bool
        Whether rows fold into a few lines on a narrow screen, their first two columns side by side.
    cards : bool
        Whether each row becomes a card on a narrow screen, with every figure beside the heading of its column.
    """
    columns = len(headings)

    def kind(place: int) -> str:
        return "" if place < left or place >= columns - right_text else ' class="fc-money"'

    def beside(place: int) -> str:
        return f' data-heading="{html.escape(plain(headings[place]))}"' if cards else ""

    head = "".join(
        f'<th scope="col"{kind(place)}>{html.escape(plain(name))}</th>' for place, name in enumerate(headings)
    )
    body = []
    for number, row in enumerate(rows):
        look = "fc-sum" if last_is_sum and number == len(rows) - 1 else "fc-void" if number in struck else ""
        cells = [f'<th scope="row">{html.escape(plain(row[0]))}</th>']
        cells += [
            f"<td{kind(place)}{beside(place)}>{html.escape(plain(cell))}</td>"
            for place, cell in enumerate(row)
            if place
        ]
        body.append(f'<tr class="{look}">{"".join(cells)}</tr>')
    name = html.escape(plain(caption))
    look_of_all = "fc" + (" fc-stack" if stacked else " fc-cards" if cards else "")
    st.html(
        f'<div class="fc-scroll" tabindex="0" role="region" aria-label="{name}">'
        f'<table class="{look_of_all}"><caption>{name}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{''.join(body)}</tbody></table></div>"
    )


def tell(error: ForecastError) -> None:
    """Show an error's own words, line by line."""
    lines = [safe(line.strip()) for line in str(error).splitlines()]
    st.error("  \n".join(lines))


@contextmanager
def told_plainly() -> Iterator[None]:
    """Show what goes wrong inside as text, and end the page there; what frames the page is still drawn.

    Also a decorator: a fragment is drawn again by itself, outside what frames the page. A ledger read inside is opened
    once, and what is simulated inside is held until the end.
    """
    try:
        with kept_open(), SHELF.in_hand():
            yield
    except Exception as error:  # the toolkit ends a run with exceptions that are none of these
        tell_any(error)


def tell_any(error: Exception) -> None:
    """Show an error of the build in its own words, and any other as a mistake of the program, its details kept."""
    if isinstance(error, ForecastError):
        tell(error)
        return
    _LOG.error("mistake of the program", exc_info=error)
    file = write_down(error)
    st.error(safe(unforeseen(error) + (f" The details stand in {file}." if file else "")))


def calmly(action: Callable[..., None]) -> Callable[..., None]:
    """Give what a button calls so that what goes wrong in it is told on the next run of the page; see `told_late`."""

    @functools.wraps(action)
    def run(*arguments: Any) -> None:
        try:
            action(*arguments)
        except Exception as error:
            st.session_state[_LATE] = error

    return run


def told_late() -> None:
    """Show what went wrong in a button since the last run."""
    error = st.session_state.pop(_LATE, None)
    if isinstance(error, Exception):
        tell_any(error)
