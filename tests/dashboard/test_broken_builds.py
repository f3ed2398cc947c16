"""A build that cannot be read, and a mistake of the program itself: the frame stays, and other builds open."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from forecast.dashboard import start_open, state
from forecast.errors import LedgerError
from forecast.ledger.folder import BuildFolder, remember
from tests.dashboard.conftest import PAGES, Run, words

LOOSE_QUOTES = """\
[build]
name = "Coupe"
currency = "EUR"
country = "IE"

[[line]]
id = "kit"
group = "kit"
quotes = [2400, 2600]
"""
OWN_MISTAKE = "The program made a mistake here, not you. What you have saved is as it was."


def written(tmp_path: Path, text: str) -> Path:
    file = tmp_path / "build.toml"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.mark.parametrize("page", PAGES)
def test_a_broken_build_is_told_and_others_stay_in_reach(
    run: Run, tmp_path: Path, before_ordering: BuildFolder, page: str
) -> None:
    remember(before_ordering)
    app = run(written(tmp_path, LOOSE_QUOTES), page)

    assert [title.value for title in app.title] == ["This build file needs mending"]
    assert "Write amount = { quotes = [2400, 2600] }." in words(app)
    offered = [button.label.replace("\\", "") for button in app.sidebar.button]
    assert before_ordering.read().name in offered

    app.sidebar.button[offered.index(before_ordering.read().name)].click().run()
    assert not app.exception
    assert app.title[0].value == PAGES[page]


def test_whatever_a_build_raises_the_frame_stays(
    run: Run,
    tmp_path: Path,
    before_ordering: BuildFolder,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    """Not only what the reader refuses: the lists of builds read the broken one too, and draw its name."""
    remember(before_ordering)
    file = written(tmp_path, LOOSE_QUOTES)
    parsed = state.parsed

    def raising(text: str, heading: str) -> object:
        if heading == str(file):
            message = "boom"
            raise IndexError(message)
        return parsed(text, heading)

    monkeypatch.setattr(state, "parsed", raising)
    monkeypatch.setattr(start_open, "parsed", raising)
    app = run(file, "cost")

    assert OWN_MISTAKE in words(app)
    assert "IndexError" in words(app)
    assert before_ordering.read().name in [button.label.replace("\\", "") for button in app.sidebar.button]
    app = run(file, "start")
    assert not app.exception
    assert app.title[0].value == "Start or open a build"
    caplog.clear()


@pytest.mark.parametrize(
    ("page", "broken"),
    [
        ("cost", "forecast.views.charts.dots_of_hundred"),
        ("watch", "forecast.dashboard.state.reforecast"),
        ("choose", "forecast.decide.made.ways_left"),
    ],
)
def test_a_mistake_on_a_page_leaves_its_frame(
    run: Run, half_way: BuildFolder, page: str, broken: str,
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, home: Path,
) -> None:  # fmt: skip
    def boom(*_: object, **__: object) -> object:
        raise ZeroDivisionError

    monkeypatch.setattr(broken, boom)
    text = half_way.build_file.read_text(encoding="utf-8")
    another = rf"middle = \g<1>.{len(page)}"  # of each page's own build no figure is kept yet
    other = re.sub(r"middle = (\d+)", another, text.replace('name = "', 'name = "Another ', 1), count=1)
    half_way.build_file.write_text(other, encoding="utf-8")
    app = run(half_way.build_file, page)

    assert OWN_MISTAKE in words(app)
    assert half_way.read().name in app.sidebar.markdown[0].value.replace("\\", "")
    assert app.sidebar.button
    assert "ZeroDivisionError" in (home / "mistake.txt").read_text(encoding="utf-8")
    caplog.clear()


def test_what_goes_wrong_in_a_button_is_told_on_the_page(
    run: Run, before_ordering: BuildFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: str) -> BuildFolder:
        message = "demos: No space left on device."
        raise LedgerError(message)

    app = run(before_ordering.build_file, "cost")
    monkeypatch.setattr("forecast.dashboard.main.open_demo", full)
    [button] = [item for item in app.sidebar.button if item.key == "demo-half-way-new-zealand"]
    button.click().run()

    assert not app.exception
    assert "demos: No space left on device." in words(app)
    assert app.title[0].value == PAGES["cost"]
    app.run()
    assert "No space left" not in words(app)
