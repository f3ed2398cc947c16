"""The list of receipts by line: what was entered last, what is not needed, what it comes to, and the end of a build."""

from __future__ import annotations

import re

from streamlit.testing.v1 import AppTest

from forecast.ledger.folder import BuildFolder
from tests.dashboard.conftest import Run, words
from tests.dashboard.test_receipt_entry import field, fill, save
from tests.dashboard.test_receipt_list import open_line, press, unfold
from tests.dashboard.test_settling import folder as folder  # a fixture


def rows(app: AppTest) -> list[str]:
    """Give the rows of lines, each with its sign, name, state and sum."""
    return [item.label for item in app.button if str(item.key).startswith("row-line-")]


def test_what_was_just_saved_stays_in_sight_and_open(run: Run, folder: BuildFolder) -> None:
    app = save(fill(run(folder.build_file, "receipts"), ["kit"], "A shop", "2900"))
    assert "kit" in folder.ledger().closed_lines()
    assert rows(app) == ["*▾* **Body kit** closed `€2,900.00`"]
    assert any(item.label == "Open it again" for item in app.button)
    assert not any(item.key == "row-closed" for item in app.button)  # it is in one place alone
    app = save(fill(run(folder.build_file, "receipts"), ["filler"], "A shop", "20"))
    closed = [item.label for item in app.button if item.key == "row-closed"]
    assert closed == ["*▸* **1 closed line** `€2,900.00`"]
    sums = [re.findall(r"€([\d,.]+)", label)[-1] for label in (*rows(app), *closed)]
    assert sum(float(one.replace(",", "")) for one in sums) == 2_920  # none is in two places
    assert "**Together** `€2,920.00`" in words(app)


def test_a_line_without_payment_is_not_needed_by_its_own_button(run: Run, folder: BuildFolder) -> None:
    folder.ledger().add_receipt("2026-05-01", "A shop", 290_000, "EUR", [("kit", 290_000)])
    app = run(folder.build_file, "receipts")
    assert not any("**Filler**" in row for row in rows(app))
    app = next(item for item in app.button if item.key == "row-untouched").click().run()
    app = press(open_line(app, "Filler"), "Not needed")
    assert folder.ledger().closed_lines() == {"filler"}
    assert "“Filler” is not needed: nothing will be paid for it." in words(app)
    app = next(item for item in app.button if item.key == "row-closed").click().run()
    assert "*▸* **Filler** not needed `€0`" in rows(app)
    assert "**Together** `€2,900.00`" in words(app)


def test_what_was_paid_for_is_closed_and_never_called_not_needed(run: Run, folder: BuildFolder) -> None:
    folder.ledger().add_receipt("2026-05-01", "A shop", 2_000, "EUR", [("filler", 2_000)])
    app = open_line(run(folder.build_file, "receipts"), "Filler")
    assert not any(item.label == "Not needed" and item.key == "close-line" for item in app.button)
    app = press(app, "Close it: nothing more will come")
    assert "“Filler” is closed: nothing more will be paid for it." in words(app)


def test_where_several_are_closed_those_never_paid_are_not_needed(run: Run, folder: BuildFolder) -> None:
    folder.ledger().add_receipt("2026-05-01", "A shop", 2_000, "EUR", [("filler", 2_000)])
    app = run(folder.build_file, "receipts")
    app = field(app, "multiselect", "Lines").set_value(["filler", "paint"]).run()  # type: ignore[attr-defined]
    assert app.button(key="close-not-needed").disabled
    app = field(app, "multiselect", "Lines").set_value(["paint"]).run()  # type: ignore[attr-defined]
    app = app.button(key="close-not-needed").click().run()
    assert "“Paint, two coats” is not needed" in words(app)


def test_a_form_can_be_emptied(run: Run, folder: BuildFolder) -> None:
    app = fill(run(folder.build_file, "receipts"), ["kit"], "A shop", "2900")
    app = press(app, "Put the form away")
    app = unfold(app, "receipt")
    assert field(app, "text_input", "Amount").value == "2900"  # type: ignore[attr-defined]
    app = press(app, "Empty the form")
    assert field(app, "text_input", "Amount").value == ""  # type: ignore[attr-defined]
    assert folder.ledger().list_receipts() == ()


def test_the_end_has_a_button_once_most_is_paid_and_its_result_stands_at_the_top(
    run: Run, folder: BuildFolder
) -> None:
    folder.ledger().add_receipt("2026-05-01", "A shop", 2_000, "EUR", [("filler", 2_000)])
    app = run(folder.build_file, "receipts")
    assert not any(item.key == "enter-done" for item in app.button)
    folder.ledger().add_receipt("2026-05-02", "A shop", 450_000, "EUR", [("kit", 450_000)])
    app = press(run(folder.build_file, "receipts"), "The build is done")
    assert "Is the build done?" in app.warning[0].value
    app = press(press(app, "No, leave it open"), "The build is done")
    app = press(app, "Yes, close everything")
    assert not app.exception
    assert "It cost **€4,520** in all" in app.success[0].value.replace("\\", "")
    assert not any(item.key == "enter-done" for item in app.button)
    stand = run(folder.build_file, "stand")
    assert "Nothing now." not in words(stand)
    assert any(item.label == "See how good they were" for item in stand.button)
