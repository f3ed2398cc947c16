"""The page on where it ends: the same figures and words as the terminal, and sums that add up as they are written."""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil

import pytest
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import Selectbox

import forecast.watching.history as history_module
from forecast.dashboard import watch_sections
from forecast.dashboard.shelf import SHELF
from forecast.ledger.folder import BuildFolder
from forecast.record.finishing import finish
from forecast.views.ending_words import ending_sentences
from forecast.views.moves import moved_headline, step_sentences, written
from forecast.views.sentences import lesson_sentences, width_sentence
from forecast.views.watch_words import contingency_sentence, overrun_sentence, trials_sentence
from forecast.watching.history import history
from forecast.watching.moved import what_moved
from forecast.watching.reforecast import reforecast
from tests.dashboard.conftest import Run, charts, words

PAGE = "watch"


def chart(app: AppTest, begins: str) -> dict[str, object]:
    """Give the chart whose description begins so."""
    for spec in charts(app):
        found: dict[str, object] = json.loads(spec)
        if str(found["description"]).startswith(begins):
            return found
    raise AssertionError(begins)


def amounts(text: str) -> list[int]:
    """Give the sums of money in a text."""
    found = re.findall(r"([+\u2212]?)NZ\$([\d,]+)", text)
    return [int(digits.replace(",", "")) * (-1 if sign == "\u2212" else 1) for sign, digits in found]


def days(app: AppTest, label: str) -> Selectbox:
    return next(box for box in app.main.selectbox if box.label == label)


@pytest.fixture
def page(run: Run, half_way: BuildFolder) -> AppTest:
    return run(half_way.build_file, PAGE)


def test_it_says_what_the_terminal_says(page: AppTest, half_way: BuildFolder) -> None:
    build, ledger = half_way.read(), half_way.ledger()
    watch, moved = reforecast(build, ledger), what_moved(build, ledger)
    said = words(page)
    for sentence in (moved_headline(moved, "**"), *step_sentences(moved)):
        assert sentence in said
    assert contingency_sentence(watch, strong="**") in said
    assert overrun_sentence(watch) in said
    assert trials_sentence(watch) in said
    assert "work worth NZ$" not in said  # earned value is for the terminal
    assert width_sentence(watch).startswith(
        "Of 20 lines bought and closed, 14 had a range of their own: none came in outside it; 3 would be expected"
    )
    for sentence in (width_sentence(watch), *lesson_sentences(watch)):
        assert sentence in said


def test_what_a_total_is_made_of_is_rounded_as_the_total_is_and_adds_up(page: AppTest) -> None:
    (shown,) = [item.proto.body for item in page.main.get("html") if "Each total holds" in item.proto.body]
    assert not re.search(r"NZ\$[\d,]+\.\d\d", shown)
    beneath = [
        int(part.replace(",", ""))
        for part in re.findall(r"NZ\$([\d,]+)", shown.split("<caption>")[1].split("</caption>")[0])
    ]
    rows = re.findall(r"<tr class=\"\"><th scope=\"row\">([^<]+)</th>(.*?)</tr>", shown)
    assert [name for name, _ in rows] == ["Your budget", "P80", "P90"]
    for _, cells in rows:
        contingency, total = (int(part.replace(",", "")) for part in re.findall(r"NZ\$([\d,]+)", cells))
        assert sum(beneath) + contingency == total


def test_terminal_history_and_page_tell_moves_from_the_same_day(page: AppTest, half_way: BuildFolder) -> None:
    build, ledger = half_way.read(), half_way.ledger()
    moved, told = what_moved(build, ledger), history(build, ledger)
    assert moved.since == told.since == told.start.date == dt.date(2026, 6, 14)
    assert days(page, "From the end of").value == moved.since
    assert days(page, "To the end of").value == "now"
    assert round(100 * told.start.p80) == moved.start.p80
    assert round(100 * told.points[-1].p80) == moved.end.p80
    assert str(chart(page, "Forecast final cost")["description"]).startswith(
        "Forecast final cost from 14 June 2026 to 16 November 2026."
    )


def test_the_steps_add_up_as_they_are_written(page: AppTest) -> None:
    said = str(chart(page, "P80 moved by")["description"])
    whole, start, end = amounts(said.split(". ")[0])
    steps = amounts(said.split(" to now: ")[1].rsplit("; now", 1)[0])
    assert start + sum(steps) == start + whole == end
    assert len(steps) > 2


def test_the_steps_and_what_each_receipt_did_come_to_the_same(page: AppTest, half_way: BuildFolder) -> None:
    moved = what_moved(half_way.read(), half_way.ledger())
    (html,) = [
        item.proto.body for item in page.main.get("html") if "What P80 held for each line" in item.proto.body
    ]
    changes = [amounts(row)[-1] for row in re.findall(r"<tr class.*?</tr>", html, re.DOTALL)]
    assert sum(changes[:-1]) == changes[-1] == written(moved).change
    steps = [amounts(sentence)[-1] for sentence in step_sentences(moved)]
    assert sum(steps) == changes[-1]


def test_two_days_of_ones_own(page: AppTest, half_way: BuildFolder) -> None:
    since, until = dt.date(2026, 9, 18), dt.date(2026, 10, 30)
    days(page, "From the end of").set_value(since).run()
    days(page, "To the end of").set_value(until).run()
    assert not page.exception
    moved = what_moved(half_way.read(), half_way.ledger(), since, until)
    for sentence in (moved_headline(moved, "**"), *step_sentences(moved)):
        assert sentence in words(page)
    offered = days(page, "To the end of").options
    assert offered[0] == "now"
    assert "18 September 2026" not in offered
    assert amounts(str(chart(page, "P80 moved by")["description"]))[1] == written(moved).start_p80


def test_events_are_not_counted_as_lines(page: AppTest) -> None:
    said = words(page)
    assert "20 of 39 lines are closed" in said


def test_a_frozen_budget_shows_at_once(run: Run, half_way: BuildFolder) -> None:
    app = run(half_way.build_file, PAGE)
    assert "Your budget of NZ$37,000" in words(app)
    half_way.ledger().freeze_baseline(
        4_200_000, "NZD", fingerprint="", build_text="", seed=1, trials=16, base_by_line={}, scenario="mixed"
    )
    app.run()
    assert "Your budget of NZ$42,000" in words(app)


def test_remarks_stand_by_the_lines(run: Run, half_way: BuildFolder) -> None:
    ledger = half_way.ledger()
    ledger.add_receipt("2026-11-20", "somebody", 900_000, "NZD", [("primer", 900_000)])
    ledger.close_line("primer", "2026-11-20")
    ledger.add_receipt("2026-11-20", "somebody", 5_000, "NZD", [("lamps", 5_000)], kind="refund")
    ledger.add_receipt("2026-11-20", "somebody", 7_700, "NZD", [("winch", 7_700)])
    said = words(run(half_way.build_file, PAGE))
    assert "“Winch” is taken out of the build; NZ$77 was paid for it and counts." in said
    assert "Epoxy and filler primer came in above anything its stated range allows." in said
    assert "NZ$50.00 more came back than was paid" in said


def test_nothing_entered_yet(run: Run, before_ordering: BuildFolder) -> None:
    said = words(run(before_ordering.build_file, PAGE))
    assert "Nothing is paid yet: it ends where your ranges say. In half of builds" in said
    for name in ("(P50)", "(P80)", "(P90)"):
        assert said.count(name) == 1
    assert "Your budget of €" in said
    ledger = before_ordering.ledger()
    ledger.close_line(before_ordering.read().line[0].id)
    assert "Nothing is paid yet. In half of builds" in words(run(before_ordering.build_file, PAGE))


def test_a_build_without_a_budget(run: Run, half_way: BuildFolder) -> None:
    text = half_way.build_file.read_text(encoding="utf-8")
    half_way.build_file.write_text(re.sub(r"(?m)^budget = .*\n", "", text), encoding="utf-8")
    for name in ("receipts.csv", "receipts.db", "receipts.db-wal", "receipts.db-shm"):
        (half_way.folder / name).unlink(missing_ok=True)
    shutil.rmtree(
        half_way.folder / "backups"
    )  # nothing was ever entered: a ledger that is gone is said to be
    half_way.ledger().add_receipt("2026-11-20", "somebody", 90_000, "NZD", [("tyres", 90_000)])
    said = words(run(half_way.build_file, PAGE))
    assert "Set a budget to see the chance of overrunning" in said
    assert "Beyond what is paid and the middle figures of what is open" in said
    assert "It is drawn from the day on which a budget is set." in said


def test_at_its_end_the_page_says_why_it_ended_there_and_how_good_the_estimates_were(
    run: Run, half_way: BuildFolder
) -> None:
    build, ledger = half_way.read(), half_way.ledger()
    finish(ledger, build)
    told = ending_sentences(reforecast(build, ledger))
    assert told[0].startswith("The 25 lines that you bought cost NZ$")
    assert told[-1].startswith("So it ended about NZ$")
    app = run(half_way.build_file, "watch")
    assert not app.exception
    said = words(app).replace("\u00a0", " ")
    for sentence in told:
        assert sentence.replace("\u00a0", " ") in said


def test_at_its_end_nothing_is_said_to_be_paid_so_far(run: Run, half_way: BuildFolder) -> None:
    assert "paid so far" in words(run(half_way.build_file, "receipts"))
    finish(half_way.ledger(), half_way.read())
    app = run(half_way.build_file, "receipts")
    assert not app.exception
    assert "so far" not in words(app)
    assert "**NZ$21,106.37** paid in all, in 25 receipts." in words(app)


def test_the_table_of_shared_causes_says_which_lines_show_each(run: Run, half_way: BuildFolder) -> None:
    """Its last column was headed "Told by"."""
    app = run(half_way.build_file, PAGE)
    tables = "\n".join(item.proto.body for item in app.main.get("html"))
    assert '<th scope="col">Lines that show it</th>' in tables


def test_a_large_build_shows_few_days_first_and_the_others_on_a_tap(
    run: Run, half_way: BuildFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    SHELF.forget()  # of the same build all days may be kept
    monkeypatch.setattr(watch_sections, "_MANY_ROWS", 10)
    monkeypatch.setattr(history_module, "_ROWS_AND_DAYS", 800)
    app = run(half_way.build_file, "watch")
    assert not app.exception
    app = next(item for item in app.button if item.label == "Show the other days too").click().run()
    assert not app.exception
    assert "Show the other days too" not in [item.label for item in app.button]
