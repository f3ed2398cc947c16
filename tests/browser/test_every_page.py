"""Every page at every width, light and dark; an edit in a real grid; two windows on one build."""

from __future__ import annotations

import math
import re
import shutil
from contextlib import suppress
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from playwright.sync_api import TimeoutError as TimeoutError_

from forecast.dashboard import main
from forecast.ledger.folder import DEMOS, BuildFolder
from tests.browser.conftest import BEFORE, HALF_WAY, Dashboards, Opener, findings, keep, settled
from tests.browser.test_main_tasks import to

PAGES = {address: title for _, title, address in main.PAGES if address != "start"}
"""What a build that is open has, by address."""

TARGETS = """() => {
  const found = new Map();
  const all = 'button, a[href], input:not([type=hidden]):not([type=file]), textarea, select, summary, '
    + '[role=tab], [role=switch]';
  for (const one of document.querySelectorAll(all)) {
    // what cannot be touched: read by machines alone, or the sheet's own field, which is as large as its cell
    if (one.closest('[aria-hidden=true], .gdg-clip-region, [data-testid=stSkipToContent]')) continue;
    // what is touched where it is wider than itself: a field with its arrow, a box or switch with its words
    const field = one.closest('.react-aria-ComboBox > [role=group]');
    const area = field || (one.matches('input[type=checkbox], input[type=radio]') ? one.closest('label') : one);
    const {x, y, width, height} = area.getBoundingClientRect();
    if (width * height === 0 || x + width <= 0 || !area.checkVisibility({visibilityProperty: true})) continue;
    const name = (one.ariaLabel || one.innerText || one.outerHTML).trim().slice(0, 60);
    const over = area.closest('.st-key-phone-nav, .st-key-tray, .stSidebar');
    const inside = one.matches('button') && one.closest('label:has(input)');  // help beside a switch's own words
    found.set(area, {name, x, y, width, height, apart: !over && !inside});
  }
  return [...found.values()];
}"""
"""Gives all that a thumb can touch; `apart` is what scrolls with the page and so may lie on nothing else."""
LEAST = 44  # WCAG 2.2, success criterion 2.5.5, https://www.w3.org/TR/WCAG22/#target-size-enhanced, read 2026-11-27


def large_enough(page: Page, name: str) -> list[dict[str, Any]]:
    """Give all that a thumb can touch, none of it too small."""
    found: list[dict[str, Any]] = page.evaluate(TARGETS)
    assert len(found) > 8, name
    small = [one for one in found if min(one["width"], one["height"]) < LEAST - 0.5]
    assert small == [], f"too small for a thumb on {name}"
    return found


STILL = """() => new Promise(done => {
  let last = "", same = 0;
  const look = () => {
    const folds = [...document.querySelectorAll('.stMain details')];
    const now = folds.map(one => one.getBoundingClientRect()).map(({y, height}) => [y, height]).join();
    const moving = folds.some(one => one.getAnimations({subtree: true}).some(it => it.playState === "running"));
    same = now === last && !moving ? same + 1 : 0;
    last = now;
    same < 6 ? setTimeout(look, 50) : done(true);
  };
  look();
})"""
"""Waits until no fold opens any more and none moves: they open over some frames, on a busy machine slowly."""


def thumbs_hit(page: Page, name: str) -> None:
    """See that each target is of the size of a thumb, and that none lies on another; folds are opened first."""
    for shut in page.locator(".stMain details:not([open]) > summary").element_handles():
        shut.evaluate("one => one.click()")  # one after the other, as nobody can press two at once
    expect(page.locator(".stMain details:not([open])")).to_have_count(0)
    empty = page.locator(".stMain [data-testid=stExpanderDetails]").filter(
        has_not=page.get_by_test_id("stElementContainer")
    )
    expect(empty).to_have_count(0, timeout=15_000)  # what a fold holds is drawn once it is open
    page.evaluate(STILL)
    found = large_enough(page, name)
    over = [
        (one["name"], other["name"])
        for one, other in combinations([one for one in found if one["apart"]], 2)
        if min(one["x"] + one["width"], other["x"] + other["width"]) - max(one["x"], other["x"]) > 1
        and min(one["y"] + one["height"], other["y"] + other["height"]) - max(one["y"], other["y"]) > 1
    ]
    assert over == [], f"on one another on {name}"


def dots_counted(page: Page) -> None:
    """See that there are a hundred dots, each of a size to be seen, and that no two touch."""
    found = page.evaluate(
        "() => [...document.querySelectorAll('.mark-symbol path')].map(one => one.getBoundingClientRect())"
        ".map(({x, y, width}) => [x + width / 2, y + width / 2, width])"
    )
    assert len(found) == 100
    assert min(width for _, _, width in found) >= 8
    for (x, y, width), (other_x, other_y, other) in combinations(found, 2):
        assert math.hypot(x - other_x, y - other_y) > (width + other) / 2, "two dots touch"


LABELS = """() => [...document.querySelectorAll('.stVegaLiteChart svg')].filter(
  one => one.checkVisibility()).map(svg => {
  const box = svg.getBoundingClientRect();
  const labels = [...svg.querySelectorAll('text')].filter(
    one => one.textContent.trim() && one.getAttribute('opacity') !== '0').map(one => {
    const {left, right, top, bottom} = one.getBoundingClientRect(), lines = one.querySelectorAll('tspan').length || 1;
    const air = 0.22 * (bottom - top) / lines;  // above and below the letters
    return {text: one.textContent, left: left + 1, right: right - 1, top: top + air, bottom: bottom - air};
  });
  return {box: {left: box.left, right: box.right, top: box.top, bottom: box.bottom}, labels};
})"""
"""Gives each chart's edges, and where its labels are."""


def labels_stand_apart(page: Page, name: str) -> None:
    """See that no chart's label runs through another, and that none is cut off at an edge."""
    page.wait_for_timeout(400)  # charts are drawn after the run
    for chart in page.evaluate(LABELS):
        box, labels = chart["box"], chart["labels"]
        cut = [
            one["text"] for one in labels if one["left"] < box["left"] - 2 or one["right"] > box["right"] + 2
        ]
        assert cut == [], f"cut off on {name}"
        through = [
            (one["text"], other["text"])
            for one, other in combinations(labels, 2)
            if min(one["right"], other["right"]) > max(one["left"], other["left"])
            and min(one["bottom"], other["bottom"]) > max(one["top"], other["top"])
            # what stands on paper of its own is drawn twice, one on the other
            and (one["text"] != other["text"] or abs(one["left"] - other["left"]) > 3)
        ]
        assert through == [], f"one through the other on {name}"


@pytest.fixture
def before_ordering(tmp_path: Path) -> BuildFolder:
    shutil.copytree(DEMOS / BEFORE, tmp_path / BEFORE)
    return BuildFolder.at(tmp_path / BEFORE)


@pytest.mark.parametrize(
    ("width", "height", "look"),
    [(360, 740, "light"), (390, 844, "dark"), (1280, 900, "dark"), (1920, 1080, "light")],
)
def test_no_page_scrolls_sideways_each_has_one_heading_and_every_chart_its_finding_as_label(
    visit: Opener, copies: dict[str, str], axe: str, width: int, height: int, look: str
) -> None:
    page = visit(copies[HALF_WAY], width, height)
    page.emulate_media(color_scheme=look)  # type: ignore[arg-type]
    expect(page.get_by_role("heading", level=1)).to_be_visible(timeout=30_000)
    settled(page)
    for name, title in (("start", "Start or open a build"), *PAGES.items()):
        bar = page.locator(".st-key-phone-nav").get_by_role("link", name=title)
        if width < 640:
            bar.click()
            expect(page.get_by_role("heading", level=1, name=title)).to_be_visible(timeout=20_000)
            settled(page)
        else:
            expect(bar).to_be_hidden()
            to(page, title)
        expect(page.get_by_role("heading", level=1)).to_have_count(1)
        if name != "start":
            charts = page.locator("[role='graphics-document']")
            expect(charts.first).to_be_visible(timeout=20_000)
            for chart in charts.all():
                assert re.search(r"\d", chart.get_attribute("aria-label") or "")
        wide = page.evaluate(
            "() => { const m = document.querySelector('[data-testid=stMain]'); return m.scrollWidth - m.clientWidth; }"
        )
        assert wide <= 1, f"{name} scrolls sideways at {width}"
        cut: list[str] = page.evaluate(
            "() => [...document.querySelectorAll('.fc-scroll')].filter(t => t.scrollWidth > t.clientWidth + 1)"
            ".map(t => t.ariaLabel)"
        )
        assert cut == [], f"tables on {name} are cut off at {width}"
        keep(page, f"{name}-{look}-{width}")
        labels_stand_apart(page, f"{name} at {width}")
        if name == "cost" and width < 640:
            dots_counted(page)
        if width == 390:
            thumbs_hit(page, name)
        if (width, look) == (1280, "dark"):
            assert findings(page, axe) == [], name
    if width == 390:
        page.get_by_test_id("stExpandSidebarButton").click()
        side = page.get_by_test_id("stSidebarNav").get_by_role("link", name="Receipts")
        expect(side).to_be_in_viewport(ratio=1)
        large_enough(page, "the sidebar")


def type_into_high(page: Page, row: int, text: str) -> None:
    """Type into the column High of the grid, found by what stands in it; rows are 35 px high, the heading as well."""
    canvas = page.locator("[data-testid='stDataFrame'] canvas").first
    canvas.scroll_into_view_if_needed()
    high = canvas.locator("table tbody tr").nth(row).locator("td").nth(5).text_content()
    field = page.locator(".gdg-clip-region :is(input, textarea)")
    for x in range(480, 780, 30):
        # what scrolls lies over the canvas and takes the clicks for it
        canvas.dblclick(position={"x": x, "y": 35 * (row + 1) + 17}, force=True)
        with suppress(TimeoutError_):  # a column that nobody writes into
            if field.is_enabled(timeout=1_000) and field.input_value() == high:
                break
        page.keyboard.press("Escape")
    field.fill(text)
    field.press("Enter")
    page.mouse.move(5, 5)
    settled(page)


def test_a_range_is_changed_in_the_grid_kept_and_undone(visit: Opener, before_ordering: BuildFolder) -> None:
    page = visit(str(before_ordering.folder), 1600, 1000, at="lines")
    expect(page.locator("[data-testid='stDataFrame'] canvas").first).to_be_visible(timeout=20_000)
    old = before_ordering.build_file.read_text(encoding="utf-8")
    type_into_high(page, 0, "420000")
    expect(page.get_by_text("Not saved yet")).to_be_visible(timeout=20_000)
    assert before_ordering.build_file.read_text(encoding="utf-8") == old
    to(page, "What will it cost?")
    to(page, "The lines")
    expect(page.get_by_text("Not saved yet")).to_be_visible(timeout=20_000)
    page.get_by_role("button", name="Keep the changes").click()
    expect(page.get_by_role("button", name="Undo the last change")).to_be_visible(timeout=20_000)
    new = before_ordering.build_file.read_text(encoding="utf-8")
    assert "high = 420000" in new
    assert len(new) == len(old)
    keep(page, "lines-kept")
    page.get_by_role("button", name="Undo the last change").click()
    expect(page.get_by_role("button", name="Undo the last change")).to_have_count(0, timeout=20_000)
    assert before_ordering.build_file.read_text(encoding="utf-8") == old
    page.set_viewport_size({"width": 390, "height": 844})
    changed_in_a_card(page)


def test_a_row_is_read_in_full_where_the_pointer_rests(visit: Opener, before_ordering: BuildFolder) -> None:
    name = "Kit: two bumpers, four arches, skirts, and a name that no column has room for"
    text = before_ordering.build_file.read_text(encoding="utf-8")
    assert 'name = "Terminal, unpacking, papers"' in text
    before_ordering.build_file.write_text(
        text.replace('name = "Terminal, unpacking, papers"', f'name = "{name}"'), encoding="utf-8"
    )
    page = visit(str(before_ordering.folder), at="lines")
    grid = page.locator(".st-key-sheet-grid .dvn-scroller")
    expect(grid).to_be_visible(timeout=20_000)
    settled(page)
    assert grid.evaluate("one => one.scrollWidth - one.clientWidth") <= 0, "a column is out of sight"
    row = page.locator("[data-testid='stDataFrame'] canvas table tbody tr", has_text=name).first
    expect(row).to_be_attached(timeout=20_000)
    place = int(row.get_attribute("aria-rowindex") or 0) - 2  # the headings are the first
    high = grid.evaluate("one => one.scrollHeight") / int(
        page.locator("[data-testid='stDataFrame'] table[role=grid]").get_attribute("aria-rowcount") or 0
    )
    grid.hover(position={"x": 200, "y": high * (place + 1.5)})
    expect(grid).to_have_attribute("title", name)
    grid.hover(position={"x": 200, "y": high * (place - 0.5)})
    expect(grid).not_to_have_attribute("title", name)


def test_a_window_that_is_narrow_from_the_start_shows_cards(
    visit: Opener, before_ordering: BuildFolder
) -> None:
    page = visit(str(before_ordering.folder), 390, 844, at="lines")
    expect(page.locator(".st-key-line-cards button").first).to_be_visible(timeout=30_000)
    expect(page.locator(".st-key-sheet-grid")).to_be_hidden()
    expect(page.get_by_role("button", name="Show the lines as cards")).to_have_count(0)


def changed_in_a_card(page: Page) -> None:
    """On a narrow screen there are cards in place of the grid, with low, middle and high of a figure in sight."""
    expect(page.locator(".st-key-sheet-grid")).to_be_hidden()
    shown = page.locator(".st-key-sheet-cards")
    shown.locator(".st-key-cards-of button", has_text="Freight").click()
    card = shown.get_by_role("button", name=re.compile("Delivery with tail-lift"))
    expect(card).to_contain_text("amount €70 – €110 – €200", timeout=20_000)
    card.click()
    fields = [shown.get_by_role("textbox", name=name) for name in ("Low", "Middle", "High")]
    expect(fields[2]).to_be_visible(timeout=20_000)
    boxes = [box for field in fields if (box := field.bounding_box()) is not None]
    assert len({box["y"] for box in boxes}) == 1, "low, middle and high stand below one another"
    assert all(box["x"] >= 0 and box["x"] + box["width"] <= 390 for box in boxes)
    fields[2].fill("260")
    shown.get_by_role("button", name="Change it").click()
    expect(card).to_contain_text("€70 – €110 – €260 (was €70 – €110 – €200)", timeout=20_000)
    expect(page.get_by_text("Not saved yet")).to_be_visible(timeout=20_000)
    keep(page, "lines-card-390")


def test_a_receipt_entered_in_one_window_shows_in_the_other(
    visit: Opener, before_ordering: BuildFolder
) -> None:
    one = visit(str(before_ordering.folder), at="receipts")
    expect(one.locator(".st-key-answer")).to_contain_text("No receipts yet", timeout=30_000)
    settled(one)
    other = visit(str(before_ordering.folder), 390, 844, at="receipts")
    expect(other.get_by_role("heading", level=1, name="Receipts")).to_be_visible(timeout=30_000)
    settled(other)
    # the page one is on is in sight among the links at the foot, though they are wider than the screen
    here = other.locator(".st-key-phone-nav").get_by_role("link", name="Receipts")
    expect(here).to_be_in_viewport(ratio=1)
    # the sidebar is folded away, so the page says whose figures these are
    whose = "Wide-arch coupe, kit from Japan · All by yourself"
    expect(other.locator(".fc-paper-head")).to_have_text(whose, use_inner_text=True)
    told = other.context.new_cdp_session(other)
    found = told.send("Page.getInstallabilityErrors")["installabilityErrors"]
    assert {one["errorId"] for one in found} <= {"in-incognito"}  # as every window of a test is
    manifest = told.send("Page.getAppManifest")
    assert manifest["url"].endswith(".webmanifest")
    assert not manifest["errors"]
    other.get_by_role("combobox", name="For which line").first.fill("Tyres")
    other.get_by_role("option", name="Tyres", exact=True).click()
    other.keyboard.press("Escape")
    other.get_by_label("Supplier").fill("A tyre shop")
    other.get_by_label(re.compile("^Amount, in ")).fill("612.40")
    other.get_by_label(re.compile("^Amount, in ")).press("Tab")
    settled(other)
    other.get_by_role("button", name="Save receipt").click()
    news = other.get_by_test_id("stAlertContentSuccess")
    expect(news).to_contain_text("Saved: €612.40 to A tyre shop. P80 moved by", timeout=20_000)
    keep(other, "receipt-entered-390")
    # nobody touches the first window meanwhile
    expect(one.locator(".st-key-answer")).to_contain_text("€612.40 paid so far", timeout=20_000)
    text = before_ordering.build_file.read_text(encoding="utf-8")
    before_ordering.build_file.write_text(text.replace("budget = 13500", "budget = 13750"), encoding="utf-8")
    expect(one.locator(".st-key-answer")).to_contain_text("Your budget is €13,750", timeout=20_000)
    before_ordering.build_file.write_text(text.replace("[build]", "[bild]"), encoding="utf-8")
    # while the page is drawn anew both titles stand for a moment; in the end one does
    mending = one.get_by_role("heading", level=1, name="This build file needs mending")
    expect(mending).to_be_visible(timeout=20_000)
    expect(one.get_by_role("heading", level=1)).to_have_count(1)
    before_ordering.build_file.write_text(text, encoding="utf-8")
    expect(one.locator(".st-key-answer")).to_contain_text("Your budget is €13,500", timeout=20_000)


@pytest.mark.parametrize("locale", ["pl-PL", "de-DE"])
def test_an_axis_writes_money_as_the_page_does_in_any_browser(
    browser_: Browser, dashboards: Dashboards, tmp_path: Path, locale: str
) -> None:
    """A browser set to another language may not put its words for thousands, nor its marks, on an English page."""
    folder = tmp_path / "by-sea-poland"
    shutil.copytree(DEMOS / "by-sea-poland", folder)
    context = browser_.new_context(reduced_motion="reduce", locale=locale)
    try:
        page = context.new_page()
        for at in ("", "cost", "choose"):
            page.goto(f"{dashboards.opened(str(folder))}/{at}")
            expect(page.locator("svg text").first).to_be_attached(timeout=60_000)
            settled(page)
            written = page.locator("svg .role-axis-label text").all_text_contents()
            assert len(written) > 1
            assert [text for text in written if not re.fullmatch(r"\u2212?PLN\u00a0[\d,]+", text)] == []
    finally:
        context.close()
