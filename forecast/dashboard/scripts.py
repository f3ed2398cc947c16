"""The scripts of the dashboard's own: a browser runs these, known by their hash, and none that stands in a text."""

from __future__ import annotations

from html import escape

FOCUS = """
if (matchMedia("(pointer: fine)").matches) setTimeout(() => {
  const field = document.querySelector(".st-key-guided-field input, .st-key-guided-field button");
  if (field) field.focus({ preventScroll: true });
}, 120);
"""
"""The next field takes the keyboard where there is one: on a touch screen its own would cover the question."""
ALL = (FOCUS,)


def focus(id: str) -> str:
    """Give what runs `FOCUS`, once for each question."""
    return f'<script data-question="{escape(id)}">{FOCUS}</script>'
