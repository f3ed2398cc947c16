"""Whether a payment is all for its line, on the pages: asked with the likely answer, closed when it looks settled."""

from __future__ import annotations

import datetime as dt
import time
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecast.ledger import Ledger
from forecast.ledger.folder import BuildFolder
from forecast.watching.settling import agree
from tests.dashboard.conftest import Run, words
from tests.dashboard.test_receipt_entry import field, fill, save
from tests.dashboard.test_receipt_list import html, open_line, press, unfold
from tests.views.test_cli_settling import BUILD


@pytest.fixture
def folder(tmp_path: Path) -> BuildFolder:
    (tmp_path / "x").mkdir()
    (tmp_path / "x" / "build.toml").write_text(BUILD, encoding="utf-8")
    return BuildFolder.at(tmp_path / "x")


def asked(app: AppTest, line: str) -> object:
    return field(app, "button_group", f"Is that all for {line}?")


def marks(folder: BuildFolder) -> dict[str, str]:
    return {line: mark.state for line, mark in folder.ledger().line_states().items()}


def pay(ledger: Ledger, line: str, minor: int, day: str = "2026-05-04") -> None:
    ledger.add_receipt(day, "a shop", minor, "EUR", [(line, minor)])


@pytest.mark.parametrize(("amount", "likely"), [("2900", "yes"), ("500", "no")])
def test_the_likely_answer_is_filled_in(run: Run, folder: BuildFolder, amount: str, likely: str) -> None:
    app = fill(run(folder.build_file, "receipts"), ["kit"], "A shop", amount)
    assert asked(app, "Body kit").value == likely  # type: ignore[attr-defined]
    told = "\n".join(item.value for item in app.caption)
    assert ("Likely all paid (9" in told) is (likely == "yes")
    app = save(app)
    assert marks(folder) == {"kit": "closed" if likely == "yes" else "more"}


def test_the_answer_follows_the_sum_until_one_is_chosen(run: Run, folder: BuildFolder) -> None:
    app = fill(run(folder.build_file, "receipts"), ["kit"], "A shop", "2900")
    app = fill(app, ["kit"], "A shop", "500")
    assert asked(app, "Body kit").value == "no"  # type: ignore[attr-defined]
    app = asked(app, "Body kit").set_value("unsure").run()  # type: ignore[attr-defined]
    app = fill(app, ["kit"], "A shop", "2900")
    assert asked(app, "Body kit").value == "unsure"  # type: ignore[attr-defined]
    save(app)
    assert marks(folder) == {}


def test_an_answer_that_came_up_with_the_tap_that_saves_is_not_taken(
    run: Run, folder: BuildFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("forecast.dashboard.receipt_form._SEEN", 0.2)
    agree(folder.ledger(), dt.date(2026, 5, 1), "Painter", "paint", 240_000, "EUR")
    for line, amount in (("kit", "2900"), ("paint", "2400")):
        app = fill(run(folder.build_file, "receipts"), [line], "Painter", "")
        field(app, "text_input", "Amount").set_value(amount)  # type: ignore[attr-defined]
        app = save(app)
        assert "is closed: nothing" not in words(app)
        assert "closed" not in marks(folder).values()
    app = fill(run(folder.build_file, "receipts"), ["filler"], "A shop", "2900")
    field(app, "button_group", "Kind").set_value("balance")  # type: ignore[attr-defined]
    app = app.run()
    assert asked(app, "Filler").value == "yes"  # type: ignore[attr-defined]
    time.sleep(0.25)
    app = save(app)
    if any(item.label == "It is meant" for item in app.checkbox):
        app = save(next(item for item in app.checkbox if item.label == "It is meant").check().run())
    assert marks(folder) == {"filler": "closed"}


def test_a_balance_says_itself_that_it_is_all_before_its_sum_is_typed(run: Run, folder: BuildFolder) -> None:
    app = fill(run(folder.build_file, "receipts"), ["kit"], "A shop", "")
    assert asked(app, "Body kit").value is None  # type: ignore[attr-defined]
    app = field(app, "button_group", "Kind").set_value("balance").run()  # type: ignore[attr-defined]
    assert asked(app, "Body kit").value == "yes"  # type: ignore[attr-defined]
    app = save(fill(app, ["kit"], "A shop", "2900"))
    assert marks(folder) == {"kit": "closed"}
    for item in app.success:
        assert "“Body kit” is closed: nothing more will be paid for it." in item.value.replace("\\", "")


def test_who_cannot_say_closes_nothing_though_the_price_agreed_is_paid(run: Run, folder: BuildFolder) -> None:
    agree(folder.ledger(), dt.date(2026, 5, 1), "Painter", "paint", 240_000, "EUR")
    app = fill(run(folder.build_file, "receipts"), ["paint"], "painter", "2400")
    assert asked(app, "Paint, two coats").value == "yes"  # type: ignore[attr-defined]
    app = asked(app, "Paint, two coats").set_value("unsure").run()  # type: ignore[attr-defined]
    save(app)
    assert marks(folder) == {}


def test_each_line_of_a_split_is_asked_about(run: Run, folder: BuildFolder) -> None:
    app = fill(run(folder.build_file, "receipts"), ["kit", "filler"], "A shop", "2910")
    app = next(item for item in app.text_input if item.label == "Filler (EUR)").set_value("10").run()
    assert asked(app, "Body kit").value == "yes"  # type: ignore[attr-defined]
    app = asked(app, "Filler").set_value("no").run()  # type: ignore[attr-defined]
    app = save(app)
    assert marks(folder) == {"kit": "closed", "filler": "more"}
    assert "More is to come for “Filler”." in words(app)
    press(app, "Take back €2,910.00 to A shop")
    assert marks(folder) == {}
    assert folder.ledger().list_receipts() == ()


def test_a_supplier_called_as_the_one_with_whom_it_is_agreed_is_asked_about(
    run: Run, folder: BuildFolder
) -> None:
    folder.ledger().add_commitment("2026-05-04", "Spuiterij De Vries", "paint", 200_000, "EUR")
    app = save(fill(run(folder.build_file, "receipts"), ["paint"], "De Vries", "500"))
    assert (
        "agreed with Spuiterij De Vries, €2,000.00 of it still to pay. Is De Vries the same shop?"
        in words(app)
    )
    assert not [box for box in app.main.checkbox if box.label == "It is meant"]
    assert folder.ledger().list_receipts() == ()
    app = press(app, "The same shop")
    (receipt,) = folder.ledger().list_receipts()
    assert (receipt.supplier, receipt.commitment_id) == ("Spuiterij De Vries", 1)
    assert "the same shop?" not in words(app)
    app = press(save(fill(app, ["paint"], "De Vries", "300")), "Another shop")
    receipt = folder.ledger().list_receipts()[-1]
    assert (receipt.supplier, receipt.commitment_id) == ("De Vries", None)


def test_what_else_is_odd_is_asked_once_it_is_told_which_shop_it_is(run: Run, folder: BuildFolder) -> None:
    folder.ledger().add_commitment("2026-05-04", "Spuiterij De Vries", "paint", 200_000, "EUR")
    app = save(fill(run(folder.build_file, "receipts"), ["paint"], "De Vries", "90000"))
    app = press(app, "Another shop")
    assert "the same shop?" not in words(app)
    assert folder.ledger().list_receipts() == ()
    next(box for box in app.main.checkbox if box.label == "It is meant").check()
    save(app.run())
    assert folder.ledger().list_receipts()[0].supplier == "De Vries"


def test_a_payment_towards_an_agreed_price_is_said_and_can_be_kept_apart(
    run: Run, folder: BuildFolder
) -> None:
    agree(folder.ledger(), dt.date(2026, 5, 1), "Painter", "paint", 240_000, "EUR")
    app = fill(run(folder.build_file, "receipts"), ["paint"], "painter", "400")
    told = (
        "It counts against the price agreed with Painter for Paint, two coats, of which €2,400.00 is to pay."
    )
    assert told in words(app)
    assert asked(app, "Paint, two coats").value == "no"  # type: ignore[attr-defined]
    app = save(app)
    assert "for “Paint, two coats”: €2,000.00 is still to pay." in words(app)
    app = fill(app, ["paint"], "painter", "90")
    app = next(item for item in app.checkbox if item.label == "It is no part of that price").check().run()
    save(app)
    assert [receipt.commitment_id for receipt in folder.ledger().list_receipts()] == [1, None]
    app = save(fill(app, ["paint"], "Painter", "2000"))
    assert "It pays the price agreed with Painter for “Paint, two coats” in full." in words(app)
    assert marks(folder)["paint"] == "closed"


def test_the_kind_of_price_is_asked(run: Run, folder: BuildFolder) -> None:
    app = unfold(run(folder.build_file, "receipts"), "price")
    next(item for item in app.selectbox if item.label == "For which line").set_value("paint")
    field(app, "text_input", "With whom").set_value("Painter")  # type: ignore[attr-defined]
    field(app, "text_input", "Price agreed").set_value("2400")  # type: ignore[attr-defined]
    app = field(app, "button_group", "That price is").set_value("estimate").run()  # type: ignore[attr-defined]
    app = press(app, "Save the price agreed")
    assert "€2,400.00 agreed with Painter for “Paint, two coats”, an estimate that may still grow." in words(
        app
    )
    assert folder.ledger().list_commitments()[0].kind == "estimate"
    assert "Estimate, may still grow: €2,400.00" in words(open_line(app, "Paint, two coats"))


@pytest.mark.parametrize("page", ["stand", "receipts"])
def test_lines_that_look_settled_are_closed_by_one_button(run: Run, folder: BuildFolder, page: str) -> None:
    ledger = folder.ledger()
    for line, minor in (("kit", 290_000), ("paint", 200_000), ("filler", 900)):
        pay(ledger, line, minor)
    app = run(folder.build_file, page)
    assert "Looks settled: 2 lines, “Body kit” and “Paint, two coats”. Close them?" in words(app)
    boxes = [item for item in app.checkbox if "likely all paid" in item.label]
    assert [box.value for box in boxes] == [True, True]
    assert "€2,900.00, likely all paid (9" in boxes[0].label
    app = boxes[0].uncheck().run()
    app = press(app, "Close 1 line")
    assert marks(folder) == {"paint": "closed"}
    assert "“Paint, two coats” is closed: nothing more will be paid for it. P80 moved by" in words(app)
    assert "Looks settled: 1 line, “Body kit”. Close it?" in words(app)
    app = press(app, "Close 1 line")
    assert "Looks settled" not in words(app)
    assert marks(folder) == {"paint": "closed", "kit": "closed"}


def test_the_page_says_how_each_line_stands(run: Run, folder: BuildFolder) -> None:
    ledger = folder.ledger()
    pay(ledger, "kit", 290_000)
    pay(ledger, "filler", 900)
    ledger.expect_more("filler")
    app = run(folder.build_file, "watch")
    shown = html(app)
    assert "likely all paid (9" in shown
    assert "more to come" in shown
    assert "part-bought" not in shown


def test_more_is_to_come_is_said_on_the_page_of_receipts(run: Run, folder: BuildFolder) -> None:
    pay(folder.ledger(), "kit", 290_000)
    app = run(folder.build_file, "receipts")
    app = field(app, "multiselect", "Lines").set_value(["kit"]).run()  # type: ignore[attr-defined]
    app = press(app, "More is to come for them")
    assert marks(folder) == {"kit": "more"}
    assert "More is to come for “Body kit”." in words(app)


def test_taking_a_receipt_back_opens_what_it_closed(run: Run, folder: BuildFolder) -> None:
    app = save(fill(run(folder.build_file, "receipts"), ["kit"], "A shop", "2900"))
    field(app, "text_input", "Why").set_value("typed wrong")  # type: ignore[attr-defined]
    app = press(app, "Take it back")
    assert "What was said with it of “Body kit” is taken back too." in words(app)
    assert marks(folder) == {}


def test_odd_receipts_are_asked_about_first(run: Run, folder: BuildFolder) -> None:
    pay(folder.ledger(), "filler", 2_000)
    folder.ledger().mark_event("damage", "cannot-happen", "2026-05-01")
    app = save(fill(run(folder.build_file, "receipts"), ["damage"], "A shop", "300"))
    assert "you said that “Damage” cannot happen, and with this receipt it happened. Is that meant?" in words(
        app
    )
    assert len(folder.ledger().list_receipts()) == 1
    next(item for item in app.checkbox if item.label == "It is meant").check()
    app = save(app)
    assert "“Damage” happened after all." in words(app)
    assert len(folder.ledger().list_receipts()) == 2


def test_how_a_line_is_paid_for_is_changed_on_the_page_of_lines(run: Run, folder: BuildFolder) -> None:
    app = run(folder.build_file, "lines")
    line = next(item for item in app.selectbox if item.key == "paid-which")
    assert "Filler: in several goes" in line.options
    app = line.set_value("filler").run()
    app = next(item for item in app.selectbox if item.key == "paid-how").set_value("once").run()
    app = press(app, "Change it")
    app = press(app, "Keep the changes")
    assert next(one for one in folder.read().line if one.id == "filler").bought == "once"
    app = next(item for item in app.selectbox if item.key == "paid-which").set_value("filler").run()
    app = next(item for item in app.selectbox if item.key == "paid-how").set_value("several").run()
    press(press(app, "Change it"), "Keep the changes")
    assert "bought" not in folder.build_file.read_text(encoding="utf-8")  # as is usual for its group


def test_a_line_of_ones_own_says_how_it_is_paid_for(run: Run, folder: BuildFolder) -> None:
    app = run(folder.build_file, "lines")
    field(app, "text_input", "Name").set_value("Hire of a lift")  # type: ignore[attr-defined]
    next(item for item in app.text_input if item.label.startswith("Middle")).set_value("90")
    how = next(
        item for item in app.selectbox if item.label == "How is it paid for?" and item.key != "paid-how"
    )
    how.set_value("running")
    app = press(app, "Add the line")
    press(app, "Keep the changes")
    assert folder.read().line[-1].bought == "running"
