"""What will it cost, and who does the work: the pages' questions answered in Chromium, at phone and laptop width."""

from __future__ import annotations

import re
from itertools import combinations

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import Opener, keep, settled

WIDTHS = {"laptop": (1280, 900), "phone": (390, 844)}
Box = dict[str, float]


def boxes(marks: Locator) -> list[Box]:
    found = marks.evaluate_all(
        "items => items.map(item => { const box = item.getBoundingClientRect();"
        " return { left: box.left, right: box.right, top: box.top, bottom: box.bottom }; })"
    )
    return [dict(item) for item in found]


def overlap(one: Box, other: Box, slack: float) -> bool:
    return (
        min(one["right"], other["right"]) - max(one["left"], other["left"]) > slack
        and min(one["bottom"], other["bottom"]) - max(one["top"], other["top"]) > slack
    )


def fill(page: Page, label: str | re.Pattern[str], value: str) -> None:
    box = page.get_by_role("textbox", name=label)
    box.fill(value)
    box.press("Enter")
    settled(page)


@pytest.mark.parametrize("size", WIDTHS)
def test_labels_of_rules_cover_neither_each_other_nor_a_dot(visit: Opener, untouched: str, size: str) -> None:
    page = visit(untouched, *WIDTHS[size], at="cost")
    expect(page.get_by_role("heading", level=1, name="What will it cost?")).to_be_visible(timeout=30_000)
    chart = page.locator("svg.marks").first
    expect(chart).to_be_visible(timeout=20_000)
    settled(page)
    # Each label is drawn twice, its halo first: the halo is the wider of the two, so every second box is the text.
    assert len(boxes(chart.locator("g.mark-text.role-mark text"))[1::2]) == 2
    page.get_by_text("Mark P50, P90 and the middle figures too").click()
    settled(page)
    expect(chart.locator("g.mark-text.role-mark text")).to_have_count(10, timeout=20_000)
    labels = boxes(chart.locator("g.mark-text.role-mark text"))[1::2]
    dots = boxes(chart.locator("g.mark-symbol.role-mark path"))
    assert len(labels) == 5
    assert len(dots) == 100
    assert not any(overlap(one, other, 1) for one, other in combinations(labels, 2))
    assert not any(overlap(label, dot, 1) for label in labels for dot in dots)
    frame = boxes(chart)[0]
    assert all(label["left"] >= frame["left"] and label["right"] <= frame["right"] for label in labels)


@pytest.mark.parametrize("size", WIDTHS)
def test_two_answers_give_a_level_and_limits_give_a_mix(visit: Opener, untouched: str, size: str) -> None:
    page = visit(untouched, *WIDTHS[size], at="cost")
    expect(page.get_by_text("quoted before ordering it").first).to_be_visible(timeout=30_000)
    settled(page)
    fill(page, re.compile("1,000 short would cost you"), "450")
    expect(page.get_by_text("hold P90")).to_be_visible(timeout=20_000)
    fill(page, "Money at hand", "20000")
    expect(page.get_by_text("Walk away when")).to_be_visible(timeout=20_000)
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    keep(page, f"advice-cost-{size}")
    page.locator(".st-key-phone-nav" if size == "phone" else "[data-testid=stSidebarNav]").get_by_role(
        "link", name="Do it or farm it out?"
    ).click()
    expect(page.get_by_text("Best of 64 mixes: everything by yourself")).to_be_visible(timeout=30_000)
    settled(page)
    page.get_by_text("Within limits of your own").click()
    fill(page, "Within how many own hours", "200")
    expect(page.get_by_text(re.compile("within 200 own hours: .* by a shop"))).to_be_visible(timeout=20_000)
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    keep(page, f"advice-choose-{size}")
