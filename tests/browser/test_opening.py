"""Builds opened in every order: the selector names the scenario that the figures are of, a build's own first one."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from forecast import read_build, simulate
from forecast.words.money import about
from tests.browser.conftest import BEFORE, Opener, settled
from tests.browser.test_start import to_start, write

FIRST = "Where does it stand?"
COST = "What will it cost?"
# The ids are those of the demos, in another order; each scenario costs another sum that no other build comes to.
OWN = """\
[build]
name = "{name}"
currency = "EUR"
country = "IE"

[[line]]
id = "paint_self"
group = "finish"
package = "paint"
route = "self"
amount = {{ low = {a}, middle = {b}, high = {c} }}

[[line]]
id = "paint_shop"
group = "finish"
package = "paint"
route = "shop"
amount = {{ low = {d}, middle = {e}, high = {f} }}

{scenarios}
"""
FARMED = '[scenario.mixed]\nname = "Farmed out"\nall = "self"\npaint = "shop"\n'
ALONE = '[scenario.diy]\nname = "Alone"\nall = "self"\n'


@pytest.fixture
def own(tmp_path: Path) -> tuple[Path, Path]:
    """Two builds of one's own: what stands first in one stands second in the other."""
    found = []
    for number, (name, scenarios) in enumerate((("Pelican", FARMED + ALONE), ("Heron", ALONE + FARMED))):
        file = tmp_path / name.lower() / "build.toml"
        file.parent.mkdir()
        a, d = 1000 + 700 * number, 4000 + 900 * number
        sums = {"a": a, "b": a + 200, "c": a + 500, "d": d, "e": d + 300, "f": d + 900}
        file.write_text(OWN.format(name=name, scenarios=scenarios, **sums), encoding="utf-8")
        found.append(file)
    return found[0], found[1]


def to(page: Page, title: str) -> None:
    page.get_by_test_id("stSidebarNav").get_by_role("link", name=title).click()
    expect(page.get_by_role("heading", level=1, name=title)).to_be_visible(timeout=30_000)
    settled(page)


def begun(page: Page, title: str = FIRST) -> None:
    expect(page.get_by_role("heading", level=1, name=title)).to_be_visible(timeout=30_000)
    settled(page)


def to_open(page: Page) -> None:
    to(page, "Start or open a build")
    page.get_by_role("radio", name="Open a build").or_(
        page.get_by_role("button", name="Open a build")
    ).first.click()


def by_demo(page: Page) -> None:
    to_open(page)
    page.locator(f".st-key-start-demo-{BEFORE}").get_by_role("button").click()
    begun(page)


def by_path(page: Page, file: Path) -> None:
    to_open(page)
    field = page.get_by_label("Folder or build file on this machine")
    field.fill(str(file.parent))
    settled(page)
    page.get_by_role("button", name="Open it").click()
    begun(page)


def by_sidebar(page: Page, name: str) -> None:
    button = (
        page.get_by_test_id("stSidebar").get_by_role("button", name=name).first
    )  # lately opened stand first
    if not button.is_visible():
        page.get_by_test_id("stSidebar").get_by_text("Open another build").click()
    button.click()
    expect(page.get_by_test_id("stSidebar").get_by_text(name, exact=True).first).to_be_visible(timeout=20_000)
    settled(page)


def agrees(page: Page, file: Path, scenario: str | None = None) -> None:
    """See that the selector names a scenario, the build's first when none is said, and that the figures are its own."""
    build = read_build(file)
    wanted = scenario or next(iter(build.scenario))
    held = simulate(build, wanted).percentile(0.8)
    selector = page.get_by_test_id("stSidebar").get_by_role("combobox", name="Scenario")
    expect(selector).to_have_value(build.scenario[wanted].name, timeout=20_000)
    expect(page.locator(".st-key-answer")).to_contain_text(
        f"Hold {about(held.value, 'EUR', held.error)}:", timeout=20_000
    )


def round_of_pages(page: Page) -> None:
    for title in ("The lines", "Receipts", COST):
        to(page, title)


def choose(page: Page, name: str) -> None:
    page.get_by_test_id("stSidebar").get_by_role("combobox", name="Scenario").click()
    page.get_by_role("option", name=name, exact=True).click()
    settled(page)


def test_a_build_made_while_a_demo_is_open_keeps_its_own_first_scenario(
    visit: Opener, tmp_path: Path
) -> None:
    page = visit("")
    begun(page)
    by_demo(page)
    to_start(page, 1280)
    write(page, "What do you call this build?", "Kestrel")
    expect(page.get_by_text("Your answers so far")).to_be_visible(timeout=20_000)
    settled(page)
    settled(page)
    page.get_by_text("Your answers so far").click()
    expect(page.get_by_role("button", name="That is enough")).to_be_visible()
    settled(page)
    page.wait_for_timeout(600)  # the fold opens over some frames, and a click on its way there is lost
    page.get_by_role("button", name="That is enough").click()
    folder = page.get_by_role("textbox", name="Folder")
    expect(folder).to_be_visible(timeout=20_000)
    settled(page)
    folder.fill(str(tmp_path / "kestrel"))
    page.get_by_role("button", name="Create the build").click()
    begun(page)
    file = tmp_path / "kestrel" / "build.toml"
    agrees(page, file)
    to(page, "The lines")
    to(page, COST)
    agrees(page, file)
    page.reload()
    begun(page, COST)
    agrees(page, file)


@pytest.mark.parametrize("opened", ["by path", "from the sidebar"])
def test_two_builds_in_turn_keep_each_its_own(visit: Opener, own: tuple[Path, Path], opened: str) -> None:
    first, second = own
    page = visit("")
    begun(page)
    by_demo(page)
    by_path(page, first)
    agrees(page, first)
    to(page, "The lines")
    to(page, COST)
    agrees(page, first)
    by_path(page, second)
    agrees(page, second)
    for file, name in ((first, "Pelican"), (second, "Heron"), (first, "Pelican")):
        if opened == "by path":
            by_path(page, file)
        else:
            by_sidebar(page, name)
        agrees(page, file)
        round_of_pages(page)
        agrees(page, file)
    page.reload()
    begun(page, COST)
    agrees(page, first)


def test_what_was_chosen_of_a_build_stays_with_it(visit: Opener, own: tuple[Path, Path]) -> None:
    first, second = own
    page = visit("")
    begun(page)
    by_path(page, first)
    choose(page, "Alone")
    agrees(page, first, "diy")
    round_of_pages(page)
    agrees(page, first, "diy")
    by_path(page, second)
    agrees(page, second)
    round_of_pages(page)
    agrees(page, second)
    by_sidebar(page, "Pelican")
    agrees(page, first, "diy")
    choose(page, "Farmed out")
    agrees(page, first, "mixed")
    page.reload()
    begun(page, COST)
    agrees(page, first)


def test_a_scenarios_name_is_not_cut_off_in_its_field(visit: Opener, untouched: str) -> None:
    """The last letters of "The whole conversion farmed out" could not be read."""
    page = visit(untouched)
    settled(page)
    selector = page.get_by_test_id("stSidebar").get_by_role("combobox", name="Scenario")
    for scenario in read_build(Path(untouched)).scenario.values():
        choose(page, str(scenario.name))
        expect(selector).to_have_value(str(scenario.name), timeout=20_000)
        assert selector.evaluate("field => field.scrollWidth <= field.clientWidth"), scenario.name
