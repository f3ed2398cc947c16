"""Ten chips for a range, in a browser: by keyboard alone, and by thumb."""

from __future__ import annotations

from contextlib import suppress
from itertools import pairwise

from playwright.sync_api import Page, TimeoutError, expect

from tests.browser.conftest import Opener, keep, settled

LAID = (1, 2, 4, 2, 1)


def at_chips(visit: Opener, build: str, width: int, height: int) -> Page:
    page = visit(build, width, height, at="lines")
    settled(page)
    page.get_by_text("Find a range with ten chips").click()
    which = page.get_by_role("combobox", name="Which figure?")
    expect(which).to_be_visible(timeout=20_000)
    settled(page)
    option = page.get_by_role("option", name="Wheels: price")
    for _ in range(3):  # a run of the page that is not over yet shuts the list
        which.fill("")
        which.fill("wheels: p")
        with suppress(TimeoutError):
            option.click(timeout=5_000)
            break
    expect(page.get_by_label("What is the least")).to_be_visible(timeout=20_000)
    return page


def end(page: Page, question: str, number: str) -> None:
    field = page.get_by_label(question)
    field.fill(number)
    field.press("Enter")


def test_by_keyboard_alone(visit: Opener, untouched: str) -> None:
    page = at_chips(visit, untouched, 1280, 900)
    end(page, "What is the least", "1000")
    end(page, "what is the most", "2000")
    page.locator(".st-key-chips-lay-0 button").focus()
    for place, count in enumerate(LAID):
        row = page.locator(f".st-key-chips-lay-{place} button")
        expect(row).to_be_focused()
        for number in range(count):
            page.keyboard.press("Space" if number % 2 else "Enter")
            expect(page.locator(f".st-key-chips-bin-{place} .fc-chips i")).to_have_count(number + 1)
            expect(row).to_be_focused()  # whoever lays chips keeps the place
        page.keyboard.press("Tab")
        page.keyboard.press("Tab")
    page.locator(".st-key-chips-back-2 button").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("1 chip left")).to_be_visible()
    page.locator(".st-key-chips-lay-2 button").press("Enter")
    expect(page.get_by_text("in half less than €1,500")).to_be_visible()
    keep(page, "chips-light-1280")
    take = page.get_by_role("button", name="Take this range")
    expect(take).to_be_enabled()
    take.press("Enter")
    expect(page.get_by_text("Not saved yet")).to_be_visible(timeout=20_000)
    page.get_by_role("button", name="Drop them").click()
    expect(page.get_by_text("Not saved yet")).to_have_count(0)


def test_by_thumb(visit: Opener, untouched: str) -> None:
    page = at_chips(visit, untouched, 390, 844)
    page.emulate_media(color_scheme="dark")
    end(page, "What is the least", "1000")
    end(page, "what is the most", "2000")
    for place, count in enumerate(LAID):
        for number in range(count):
            page.locator(f".st-key-chips-lay-{place} button").click()
            expect(page.locator(f".st-key-chips-bin-{place} .fc-chips i")).to_have_count(number + 1)
    settled(page)
    buttons = page.locator(".st-key-chips-bins button, .st-key-chips-end button").all()
    boxes = [box for button in buttons if (box := button.bounding_box()) is not None]
    assert len(boxes) == 12
    for box in boxes:
        assert box["width"] >= 44
        assert box["height"] >= 44
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 390
    for one, other in pairwise(sorted(boxes, key=lambda box: (round(box["y"]), box["x"]))):
        beside = one["x"] + one["width"] <= other["x"]
        assert beside or one["y"] + one["height"] <= other["y"], "two places to press overlap"
    keep(page, "chips-dark-390")
