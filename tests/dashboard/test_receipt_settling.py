"""Commitments, what is left, lines and events, and statements, on the page of receipts."""

from __future__ import annotations

import pytest

from forecast.ledger import Ledger
from forecast.ledger.folder import BuildFolder
from tests.dashboard.conftest import Run, words
from tests.dashboard.test_receipt_entry import field
from tests.dashboard.test_receipt_list import html, open_line, press, unfold


def test_a_commitment_is_entered_settled_and_called_off(run: Run, before_ordering: BuildFolder) -> None:
    app = unfold(run(before_ordering.build_file, "receipts"), "price")
    field(app, "selectbox", "For which line").set_value("tyres")  # type: ignore[attr-defined]
    field(app, "text_input", "With whom").set_value("A tyre shop")  # type: ignore[attr-defined]
    field(app, "text_input", "Price agreed").set_value("640")  # type: ignore[attr-defined]
    app = press(app.run(), "Save the price agreed")
    assert (
        app.success[0]
        .value.replace("\\", "")
        .startswith("Kept: €640.00 agreed with A tyre shop. P80 moved by")
    )
    assert "Kept: €640.00 agreed with A tyre shop for “Tyres”, a fixed price. The forecast" in words(app)
    assert "with extras in 10 of 100 builds. P80 moved by" in words(app)
    assert "**€640.00** is agreed and not yet paid, in 1 commitment." in words(app)
    assert "Nothing is paid yet, and **€640** is agreed.\nIn half of builds" in words(app)
    assert "No receipts yet" not in words(app)  # it was said beside how far the price moved the forecast
    assert "Nothing is paid yet, and **€640** is agreed. It ends at" in words(
        run(before_ordering.build_file, "stand")
    )
    app = press(open_line(app, "Tyres"), "It is off")
    assert "Commitment 1 is off." in words(app)
    ledger = before_ordering.ledger()
    assert [item.state for item in ledger.list_commitments(include_ended=True)] == ["cancelled"]
    app = press(unfold(app, "price"), "Save the price agreed")
    assert "No line is chosen" in words(app)


def test_a_price_agreed_is_read_by_what_its_line_was_thought_to_cost(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = unfold(run(before_ordering.build_file, "receipts"), "price")
    field(app, "selectbox", "For which line").set_value("tyres")  # type: ignore[attr-defined]
    field(app, "text_input", "With whom").set_value("A tyre shop")  # type: ignore[attr-defined]
    field(app, "text_input", "Price agreed").set_value("1.040")  # type: ignore[attr-defined]
    app = app.run()
    assert "1.040 read as €1,040.00" in [item.value for item in app.main.caption]
    press(app, "Save the price agreed")
    assert before_ordering.ledger().list_commitments()[0].amount_minor == 104_000


def test_the_same_price_agreed_again_is_asked_about(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "receipts")
    for _ in range(2):
        app = unfold(app, "price")
        field(app, "selectbox", "For which line").set_value("tyres")  # type: ignore[attr-defined]
        field(app, "text_input", "With whom").set_value("A tyre shop")  # type: ignore[attr-defined]
        field(app, "text_input", "Price agreed").set_value("640")  # type: ignore[attr-defined]
        app = press(app.run(), "Save the price agreed")
    assert "Price agreed no. 1 is the same: A tyre shop, " in words(app)
    ledger = before_ordering.ledger()
    assert len(ledger.list_commitments()) == 1
    field(app, "checkbox", "It is meant").set_value(True)  # type: ignore[attr-defined]
    app = press(app.run(), "Save the price agreed")
    assert len(ledger.list_commitments()) == 2
    assert "Save the price agreed" not in [button.label for button in app.main.button]  # the form is put away


def test_what_is_left_makes_a_part_bought_line_known(run: Run, half_way: BuildFolder) -> None:
    app = run(half_way.build_file, "receipts")
    app = open_line(app, next(line.title for line in half_way.read().line if line.id == "filler"))
    field(app, "text_input", "Left to buy, in NZD").set_value("-1")  # type: ignore[attr-defined]
    app = press(app.run(), "Save what is left")
    assert "must be zero or more" in words(app)
    field(app, "text_input", "Left to buy, in NZD").set_value("95.50")  # type: ignore[attr-defined]
    app = press(app.run(), "Save what is left")
    assert half_way.ledger().still_to_buy()["filler"].amount_minor == 9_550
    assert "NZ$95.50 still to buy." in words(app)


def test_lines_are_closed_and_opened_without_touching_those_of_another_window(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "receipts")
    app = field(app, "multiselect", "Lines").set_value(["tyres"]).run()  # type: ignore[attr-defined]
    phone = Ledger(before_ordering.receipts_db, currency="EUR")
    phone.close_line("wheels")
    app = press(app, "Close them")
    assert phone.closed_lines() == frozenset({"tyres", "wheels"})
    app = field(app, "multiselect", "Closed; open again").set_value(["tyres"]).run()  # type: ignore[attr-defined]
    app = press(app, "Open them again")
    assert phone.closed_lines() == frozenset({"wheels"})
    assert "More may come for “Tyres”." in words(app)


def test_own_work_is_said_to_be_done_where_lines_are_closed(run: Run, half_way: BuildFolder) -> None:
    app = run(half_way.build_file, "watch")
    said = words(app)
    assert (
        "none was said to be done. By how your bills stand to your estimates and what happened, all of it looks"
        in said
    )
    assert "Say what is done on the page Receipts, where lines are closed." in said
    app = run(half_way.build_file, "receipts")
    app = field(app, "multiselect", "Lines").set_value(["filler.own_hours"]).run()  # type: ignore[attr-defined]
    app = press(app, "Close them")
    assert "“Filler and stopper: own work” is done." in words(app)
    app = run(half_way.build_file, "watch")
    assert not app.exception
    assert "planned are left in the middle" in words(app)


def test_a_build_ends_only_after_the_page_has_asked_and_one_undo_takes_it_back(
    run: Run, before_ordering: BuildFolder
) -> None:
    ledger = before_ordering.ledger()
    ledger.add_receipt("2026-10-01", "Seller", 290_000, "EUR", [("kit", 290_000)])
    app = run(before_ordering.build_file, "receipts")
    press(app, "The build is done: close everything")
    asked = app.warning[0].value.replace("\\", "")
    assert "The build then cost what is paid: €2,900." in asked
    assert "One undo takes all of it back. Is the build done?" in asked
    assert not ledger.closed_lines()
    press(app, "No, leave it open")
    assert not app.warning
    assert not ledger.closed_lines()
    press(app, "The build is done: close everything")
    press(app, "Yes, close everything")
    closed = len(ledger.closed_lines())
    assert f"{closed} lines that were open are closed" in words(app)
    assert asked.startswith(f"{closed} open lines close")
    press(app, next(item.label for item in app.button if item.label.startswith("Take back what was said of")))
    assert not ledger.closed_lines()
    assert len(ledger.list_receipts()) == 1


def test_a_build_can_be_ended_where_it_ends_once_nearly_all_is_settled(
    run: Run, before_ordering: BuildFolder
) -> None:
    ledger = before_ordering.ledger()
    ledger.add_receipt("2026-10-01", "Seller", 290_000, "EUR", [("kit", 290_000)])
    done = "The build is done: close everything"
    app = run(before_ordering.build_file, "watch")
    assert done not in [item.label for item in app.button]
    lines = [line.id for line in before_ordering.read().line]
    for name in lines[:-2]:
        ledger.close_line(name)
    app = run(before_ordering.build_file, "watch")
    assert "lines are closed, or look settled. When the car is done, close all that is open." in words(app)
    press(app, done)
    assert "Is the build done?" in app.warning[0].value.replace("\\", "")
    app = press(app, "Yes, close everything")
    assert done not in [item.label for item in app.button]
    assert "were open are closed" in words(app) or "was open is closed" in words(app)


def test_closed_events_are_not_counted_as_lines(run: Run, half_way: BuildFolder) -> None:
    ledger = half_way.ledger()
    build = half_way.read()
    app = run(half_way.build_file, "receipts")
    before = next(part for part in words(app).split("\n") if "lines are closed" in part)
    ledger.close_line(build.event[0].id)
    assert before in words(app.run())


def test_the_opposite_of_what_was_said_asks_first(run: Run, before_ordering: BuildFolder) -> None:
    event = before_ordering.read().event[0]

    def choose(state: str) -> None:
        field(app, "selectbox", "Risk event").set_value(event.id)  # type: ignore[attr-defined]
        field(app, "selectbox", "What you know of it").set_value(state)  # type: ignore[attr-defined]

    app = run(before_ordering.build_file, "receipts")
    choose("cannot-happen")
    app = press(app.run(), "Save what is known")
    ledger = before_ordering.ledger()
    assert ledger.event_states()[event.id].state == "cannot-happen"
    assert f"“{event.title}” cannot happen any more: kept. P80 moved by" in words(app)
    choose("happened")
    app = app.run()
    assert f"you said that “{event.title}” cannot happen any more." in words(app).replace("\u00a0", " ")
    app = press(app, "Save what is known")
    assert "Tick that this was wrong, or leave it so." in words(app)
    assert ledger.event_states()[event.id].state == "cannot-happen"
    app = next(item for item in app.checkbox if item.label.startswith("That was wrong")).check().run()
    app = press(app, "Save what is known")
    assert ledger.event_states()[event.id].state == "happened"
    choose("open")
    app = press(app.run(), "Save what is known")
    assert [mark.state for _, mark in ledger.list_marks()] == ["cannot-happen", "open", "happened", "open"]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("Kit 2500\nCrate 150\nTotal 2650", "The lines add up to €2,650.00, and every stated sum agrees."),
        ("Kit 2500\nCrate 150\nTotal 2660", "The lines add up to €2,650.00; 1 stated sum does not agree."),
        ("Kit\nCrate x", "statement: 2 mistakes"),
    ],
)
def test_a_statement_is_added_up_again(run: Run, before_ordering: BuildFolder, typed: str, said: str) -> None:
    app = run(before_ordering.build_file, "receipts")
    area = next(item for item in app.text_area if item.label.startswith("Type it"))
    area.set_value(typed)
    app = press(app.run(), "Add it up")
    assert said in words(app)
    assert not before_ordering.has_ledger() or before_ordering.ledger().list_receipts() == ()


def test_a_statement_is_read_from_a_file(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "receipts")
    sent = next(item for item in app.file_uploader if item.label.startswith("Or a CSV"))
    sent.set_value(("s.csv", b"label,amount,kind\nkit,2500.00,\nall,2400.00,total\n", "text/csv"))
    app = press(app.run(), "Add it up")
    assert "Difference" in html(app)
    assert "−€100.00" in html(app)
