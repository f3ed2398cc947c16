"""A build made from nothing by the guided start, by keyboard and at a phone's width; then each of its pages."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from forecast.buildfile.reader import read_build
from forecast.dashboard.main import PAGES
from forecast.words.countries import own_names
from tests.browser.conftest import Opener, keep, settled


def to_start(page: Page, width: int) -> None:
    nav = page.locator(".st-key-phone-nav") if width < 640 else page.get_by_test_id("stSidebarNav")
    nav.get_by_role("link", name="Start or open a build").click()
    expect(page.get_by_role("heading", level=1, name="Start or open a build")).to_be_visible(timeout=20_000)
    settled(page)
    page.get_by_role("radio", name="Answer questions").or_(
        page.get_by_role("button", name="Answer questions")
    ).first.click()
    asked(page, "What do you call this build?")


def asked(page: Page, text: str) -> None:
    expect(page.get_by_role("heading", level=3, name=text)).to_be_visible(timeout=20_000)
    settled(page)


def write(page: Page, question: str, answer: str) -> None:
    """Answer in a field, and go on by Enter."""
    asked(page, question)
    field = page.get_by_label(question)
    field.fill(answer)
    field.press("Enter")


def pick(page: Page, question: str, part: str, whole: str) -> None:
    """Type the beginning of a choice and take it."""
    asked(page, question)
    page.get_by_role("combobox", name=question).fill(part)
    page.get_by_role("option", name=whole).click()
    page.get_by_role("button", name="Next").click()


@pytest.mark.parametrize(("width", "height", "look"), [(390, 844, "dark"), (1280, 900, "light")])
def test_a_build_from_nothing(
    visit: Opener, untouched: str, tmp_path: Path, width: int, height: int, look: str
) -> None:
    page = visit(untouched, width, height)
    page.emulate_media(color_scheme=look)  # type: ignore[arg-type]
    expect(page.get_by_role("heading", level=1)).to_be_visible(timeout=30_000)
    settled(page)
    to_start(page, width)
    keep(page, f"start-{look}-{width}")
    sentence = page.locator(".st-key-answer")
    expect(sentence).to_contain_text("is always an answer")
    write(page, "What do you call this build?", f"Built at {width}")
    pick(page, "In which country will the car be registered?", "New", "New Zealand (NZ)")
    asked(page, "In which currency do you count your money?")
    expect(sentence).to_contain_text(re.compile(r"Hold NZ\$[\d,]+: in 80 of 100 builds"))
    page.get_by_role("button", name="Next").click()
    asked(page, "Which parts does the kit have?")
    for part in ("Front bumper", "Side skirts"):
        page.locator(".st-key-guided-field").get_by_text(part, exact=True).click()
    page.get_by_role("button", name="Next").click()
    pick(page, "In which country is the kit made?", "Jap", "Japan (JP)")
    asked(page, "From which country is it sent?")
    page.get_by_role("button", name="Next").click()
    asked(page, "In which currency is it priced?")
    page.get_by_role("button", name="Next").click()
    write(page, "What does the kit cost, in Japanese yen?", "a lot")
    expect(page.get_by_text("found 'a lot'")).to_be_visible(timeout=20_000)
    before = sentence.inner_text()
    price = page.get_by_label("What does the kit cost, in Japanese yen?")
    price.fill("180.000-320.000")
    expect(page.locator(".st-key-guided-understood")).to_have_text("\u2192 ¥180,000 to ¥320,000")
    keep(page, f"start-price-{look}-{width}")
    price.press("Enter")
    asked(page, "What does one JPY cost in NZD today?")
    expect(sentence).not_to_have_text(before)
    page.reload()
    asked(page, "What does one JPY cost in NZD today?")
    expect(page.get_by_text("Your answers from before are still here")).to_be_visible()
    page.get_by_role("button", name="I don't know").click()
    asked(page, "How is it shipped?")
    wide = page.evaluate(
        "() => { const m = document.querySelector('[data-testid=stMain]'); return m.scrollWidth - m.clientWidth; }"
    )
    assert wide <= 1, "the page scrolls sideways"
    keep(page, f"start-question-{look}-{width}")
    settled(page)
    page.get_by_text("Your answers so far").click()
    expect(page.get_by_role("button", name="That is enough")).to_be_visible()
    settled(page)
    page.wait_for_timeout(600)  # the fold opens over some frames, and a click on its way there is lost
    page.get_by_role("button", name="That is enough").click()
    asked(page, "Where shall it go?")
    expect(page.get_by_role("heading", level=3, name="Where shall it go?")).to_be_in_viewport()
    held = re.match(r"Hold (NZ\$[\d,]+)", sentence.inner_text())
    page.get_by_role("textbox", name="Folder").fill(str(tmp_path / "car"))
    keep(page, f"start-end-{look}-{width}")
    page.get_by_role("button", name="Create the build").click()
    expect(page.get_by_role("heading", level=1, name="Where does it stand?")).to_be_visible(timeout=20_000)
    settled(page)
    assert held is not None
    expect(sentence).to_contain_text(f"Hold {held[1]}: in 80 of 100 builds")
    assert read_build(tmp_path / "car").name == f"Built at {width}"
    for _, title, _ in PAGES:
        nav = page.locator(".st-key-phone-nav") if width < 640 else page.get_by_test_id("stSidebarNav")
        nav.get_by_role("link", name=title).click()
        expect(page.get_by_role("heading", level=1, name=title)).to_be_visible(timeout=20_000)
        settled(page)
        expect(page.get_by_test_id("stException")).to_have_count(0)
        expect(page.get_by_test_id("stAlertContentError")).to_have_count(0)


def test_the_keyboard_alone_is_enough(visit: Opener, untouched: str) -> None:
    page = visit(untouched, 1280, 900)
    settled(page)
    to_start(page, 1280)
    asked(page, "What do you call this build?")
    page.get_by_label("What do you call this build?").focus()
    page.keyboard.press("Enter")
    asked(page, "In which country will the car be registered?")
    expect(page.get_by_role("combobox", name="In which country will the car be registered?")).to_be_focused()
    page.keyboard.type("Ireland", delay=30)
    page.keyboard.press("Enter")
    for _ in range(4):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText") == "Next":
            break
    page.keyboard.press("Enter")
    asked(page, "In which currency do you count your money?")
    expect(page.locator(".st-key-answer")).to_contain_text("Hold €")
    page.keyboard.press("Tab")
    for _ in range(4):
        if page.evaluate("document.activeElement.innerText") == "Back":
            break
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    asked(page, "In which country will the car be registered?")
    expect(page.get_by_role("combobox", name="In which country will the car be registered?")).to_have_value(
        re.compile("Ireland")
    )


def test_a_part_of_a_name_and_enter_take_a_country(visit: Opener, untouched: str) -> None:
    own = own_names()["AE"][0]
    part, whole = (
        "emir",
        f"United Arab Emirates (AE): UAE, Dubai, Abu Dhabi, {own}",
    )  # in the middle of a name
    page = visit(untouched, 1280, 900)
    settled(page)
    to_start(page, 1280)
    write(page, "What do you call this build?", "Far away")
    for question, after in (
        ("In which country will the car be registered?", "In which currency do you count your money?"),
        ("In which country is the kit made?", "From which country is it sent?"),
    ):
        asked(page, question)
        page.get_by_role("combobox", name=question).click()
        page.keyboard.type(part, delay=30)
        expect(page.get_by_role("option").first).to_have_text(whole)
        keep(page, f"start-country-{part}")
        page.keyboard.press("Enter")
        expect(page.get_by_role("combobox", name=question)).to_have_value(whole)
        expect(page.get_by_role("option")).to_have_count(0)  # while the list closes, a click is lost
        settled(page)
        page.get_by_role("button", name="Next").click()
        asked(page, after)
        if "registered" in question:
            page.get_by_role("button", name="Next").click()
            asked(page, "Which parts does the kit have?")
            page.get_by_role("button", name="I don't know").click()
    page.get_by_text("Your answers so far").click()
    expect(page.get_by_text("United Arab Emirates (AE)").first).to_be_visible()


_WATCH = """() => {
  window.framesWithout = 0;
  const look = () => {
    const button = document.querySelector(".st-key-guided-forget button");
    if (!button || !button.checkVisibility()) window.framesWithout += 1;
    requestAnimationFrame(look);
  };
  look();
}"""
"""Counts the frames in which the button that forgets all answers cannot be pressed."""


def test_answers_so_far_stay_open_and_a_click_there_is_never_lost(visit: Opener, untouched: str) -> None:
    """Answers that come in while the list is open neither shut it nor push what is to be pressed away."""
    page = visit(untouched, 1280, 900)
    settled(page)
    to_start(page, 1280)
    write(page, "What do you call this build?", "Forgotten")
    asked(page, "In which country will the car be registered?")
    page.get_by_text("Your answers so far").click()
    forget = page.get_by_role("button", name="Forget all answers")
    expect(forget).to_be_visible()
    page.evaluate(_WATCH)
    for question in ("In which currency do you count your money?", "Which parts does the kit have?"):
        page.get_by_role("button", name="I don't know").click()
        asked(page, question)
        expect(forget).to_be_visible()
    assert page.evaluate("window.framesWithout") == 0, (
        "the button was away for a moment: a click then is lost"
    )
    page.get_by_role("button", name="I don't know").click()
    forget.click()  # while the answer before is still worked on
    asked(page, "What do you call this build?")
    expect(page.get_by_text("Your answers so far")).to_have_count(0)


CALLED = {
    "Thai": "Thailand", "UK": "United Kingdom", "holland": "Netherlands", "Turkey": "Türkiye", "USA": "United States",
    "south k": "South Korea", "england": "United Kingdom",
}  # fmt: skip


def test_what_people_call_a_country_finds_it_first(visit: Opener, untouched: str) -> None:
    page = visit(untouched, 1280, 900)
    settled(page)
    to_start(page, 1280)
    write(page, "What do you call this build?", "Far away")
    question = "In which country will the car be registered?"
    asked(page, question)
    for written, name in CALLED.items():
        page.get_by_role("combobox", name=question).fill(written)
        expect(page.get_by_role("option").first, written).to_have_text(re.compile(rf"^{name} \("))
