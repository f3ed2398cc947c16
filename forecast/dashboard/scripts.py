"""The scripts of the dashboard's own: a browser runs these, known by their hash, and none that stands in a text."""

from __future__ import annotations

from html import escape

FOCUS = """
setTimeout(() => {
  const asked = document.querySelector(".st-key-guided");
  if (asked && asked.getBoundingClientRect().top < 0) asked.scrollIntoView();
}, 120);
if (matchMedia("(pointer: fine)").matches) setTimeout(() => {
  const field = document.querySelector(".st-key-guided-field input, .st-key-guided-field button");
  if (field) field.focus({ preventScroll: true });
}, 120);
"""
"""A question that comes is in sight, and its field takes the keyboard where there is one.

On a touch screen the keyboard would cover the question."""
ENTER = """
if (!window.guidedEnter) {
  window.guidedEnter = true;
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.isComposing) return;
    if (!event.target.matches(".st-key-guided-live input[type=text]")) return;
    setTimeout(() => {
      const next = document.querySelector(".st-key-guided-buttons button");
      if (next) next.click();
    });
  });
}
"""
"""Enter in a field that is read while it is typed goes on, as it does in a form: what stands in it is sent before."""
NARROW = """
if (!window.narrowSheet) {
  const narrow = matchMedia("(max-width: 640px)");
  let pressed = 0;
  window.narrowSheet = setInterval(() => {
    const button = narrow.matches && document.querySelector(".st-key-as-cards button");
    if (!button || Date.now() - pressed < 10000) return;
    pressed = Date.now();
    button.click();
  }, 150);
}
"""
"""In a window that is narrow, or becomes it, the sheet of lines is asked for as cards.

Looked for again and again: parts of a page come when the browser has loaded what draws them. A press that went lost is
made once more."""
IN_FULL = """
if (!window.rowsInFull) {
  window.rowsInFull = true;
  document.addEventListener("mousemove", (event) => {
    const sheet = event.target.closest && event.target.closest(".st-key-sheet-grid .dvn-scroller");
    const read = sheet && sheet.closest('[data-testid="stDataFrame"]').querySelector('table[role="grid"]');
    if (!read) return;
    const high = sheet.scrollHeight / read.getAttribute("aria-rowcount");
    const place = Math.floor((event.clientY - sheet.getBoundingClientRect().top + sheet.scrollTop) / high) + 1;
    const cells = [...read.querySelectorAll(`tbody tr[aria-rowindex="${place}"] td`)].map((cell) => cell.textContent);
    const said = cells.length ? [cells[1], cells[cells.length - 1]].filter(Boolean).join(": ") : "";
    if (sheet.title !== said) sheet.title = said;
  });
}
"""
"""What a cell of the sheet cuts is read in full where the pointer rests: a row's line, and what stands beside it.

The grid is a drawing, whose rows are told to screen readers in a table; which of them is pointed at follows from its
height."""
SAID = """
setTimeout(() => {
  const said = document.querySelector(".st-key-screen-only-enter .stAlert");
  if (said && said.getBoundingClientRect().top < 64) said.scrollIntoView({ block: "center" });
}, 120);
"""
"""What was entered is read first, wherever in a form on a phone the button stood that entered it."""
COPIED = """
if (!window.plainCopies) {
  window.plainCopies = true;
  document.addEventListener("copy", (event) => {
    const told = String(getSelection());
    if (!told.includes("\\u2060")) return;
    event.clipboardData.setData("text/plain", told.replaceAll("\\u2060", ""));
    event.preventDefault();
  });
}
"""
"""What is copied is plain text: without the signs of no width that keep a sum together, or a name from acting."""
ALL = (FOCUS, ENTER, NARROW, IN_FULL, SAID, COPIED)


def focus(id: str) -> str:
    """Give what runs `FOCUS`, once for each question."""
    return f'<script data-question="{escape(id)}">{FOCUS}</script>'


def cards_where_narrow() -> str:
    """Give what runs `NARROW`."""
    return f"<script>{NARROW}</script>"


def said_in_sight(once: str) -> str:
    """Give what runs `SAID`, once for each thing entered."""
    return f'<script data-said="{escape(once)}">{SAID}</script>'


def rows_in_full() -> str:
    """Give what runs `IN_FULL`."""
    return f"<script>{IN_FULL}</script>"


def go_on_by_enter() -> str:
    """Give what runs `ENTER`."""
    return f"<script>{ENTER}</script>"


def copied_plainly() -> str:
    """Give what runs `COPIED`."""
    return f"<script>{COPIED}</script>"
