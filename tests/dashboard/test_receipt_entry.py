"""Entering, splitting, taking back; and what the page says of it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecast.dashboard.receipt_form import NOT_LISTED, split_parts
from forecast.engine.plan import compile_plan
from forecast.errors import LedgerError
from forecast.ledger.folder import BuildFolder
from forecast.start import create_build, read_answers
from forecast.views.cli import main
from forecast.watching.reforecast import reforecast
from forecast.words.day_words import short_day
from forecast.words.money import about, as_written, signed
from tests.dashboard.conftest import Run, words


def field(app: AppTest, kind: str, label: str) -> object:
    """Give a field by its label; that of a sum also bears its currency."""
    return next(item for item in getattr(app, kind) if label in (item.label, item.label.split(", in ")[0]))


def fill(app: AppTest, lines: list[str], supplier: str, amount: str) -> AppTest:
    if app.session_state["entering"] != "receipt":
        app = next(item for item in app.button if item.key == "enter-receipt").click().run()
    field(app, "multiselect", "For which line").set_value(lines)  # type: ignore[attr-defined]
    field(app, "text_input", "Supplier").set_value(supplier)  # type: ignore[attr-defined]
    field(app, "text_input", "Amount").set_value(amount)  # type: ignore[attr-defined]
    return app.run()


def save(app: AppTest) -> AppTest:
    return next(item for item in app.button if item.label == "Save receipt").click().run()


def test_a_receipt_is_kept_to_the_cent_and_the_page_says_what_it_moved(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "receipts")
    assert "No receipts yet" in words(app)
    build = before_ordering.read()
    app = save(fill(app, ["tyres"], "A tyre shop", "1,234.50"))
    assert not app.exception
    ledger = before_ordering.ledger()
    (receipt,) = ledger.list_receipts()
    assert (receipt.supplier, receipt.amount_minor, receipt.currency) == ("A tyre shop", 123_450, "EUR")
    watch = reforecast(build, ledger)
    was, now = watch.before.percentile(0.8), watch.percentile(0.8)
    said = words(app)
    closed = "“Tyres” is closed: nothing more will be paid for it."
    before, after = (as_written(level.value, "EUR", level.error) for level in (was, now))
    move = signed(after - before, "EUR")  # what stands between the two that are shown
    entered = f"Receipt 1: €1,234.50 to A tyre shop on {short_day(receipt.date)}, for “Tyres”."
    assert f"{entered} {closed} P80 moved by **{move}**" in said
    assert f"to **{about(now.value, 'EUR', now.error)}**" in said
    assert "**€1,234.50** paid so far, in 1 receipt." in said
    (news,) = (item.value for item in app.success)
    assert (
        news.replace("\\", "")
        .replace("\u2060", "")
        .startswith(f"Saved: €1,234.50 to A tyre shop. {closed} P80 moved by **{move}**")
    )
    assert entered not in news
    assert len(news.split()) <= 60
    assert [item.label for item in app.expander][:1] == ["What was entered, and all that it did"]
    assert entered not in words(app.run())


def test_what_an_undo_did_is_not_called_an_entry(run: Run, before_ordering: BuildFolder) -> None:
    app = save(fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A shop", "1,234.50"))
    app = next(item for item in app.button if item.label.startswith("Take back")).click().run()
    (news,) = (item.value.replace("\\", "") for item in app.success)
    assert news.startswith("Taken back: ")
    assert "What was entered, and all that it did" not in [item.label for item in app.expander]
    assert [item.label for item in app.expander][:1] == ["What was taken back, and all that this did"]


def test_what_was_saved_is_said_first_and_one_tap_opens_the_form_for_another(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = save(fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A shop", "700"))
    order = [
        (item.type, item.value if item.type == "success" else item.label)
        for item in app.main
        if item.type in ("success", "button")
    ]
    (news, said), *buttons = order
    assert news == "success"
    assert said.replace("\\", "").startswith(
        "Saved: €700.00 to A shop. “Tyres” is closed: nothing more will be paid for it. P80 moved by "
    )
    assert buttons[:4] == [
        ("button", label)
        for label in ("Enter another", "A price agreed", "A bank's file", "Take back €700.00 to A shop")
    ]
    assert not [item for item in app.button if item.label == "Save receipt"]
    app = next(item for item in app.button if item.label == "Enter another").click().run()
    assert field(app, "text_input", "Amount").value == ""  # type: ignore[attr-defined]
    assert [item.label for item in app.button][:1] == ["Enter a receipt"]


def test_what_is_typed_stays_when_the_button_that_opened_the_form_is_pressed_again(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A shop", "700")
    app = app.button(key="enter-receipt").click().run()
    assert field(app, "text_input", "Amount").value == "700"  # type: ignore[attr-defined]
    app = next(item for item in app.button if item.label == "Put the form away").click().run()
    assert not {"Save receipt", "Put the form away"} & {item.label for item in app.button}
    app = app.button(key="enter-receipt").click().run()
    assert field(app, "text_input", "Amount").value == "700"  # type: ignore[attr-defined]


@pytest.mark.parametrize("kind", ["one line", "two lines", "agreed", "elsewhere", "document"])
def test_page_and_terminal_say_the_same_of_a_receipt(
    run: Run,
    before_ordering: BuildFolder,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    kind: str,
) -> None:
    lines, supplier, options = ["tyres"], "A tyre shop", list[str]()
    if kind == "two lines":
        lines, options = ["tyres", "wheels"], ["--by-estimate"]
    elif kind == "agreed":
        before_ordering.ledger().add_commitment("2026-05-04", supplier, "tyres", 90_000, "EUR")
    elif kind == "elsewhere":
        lines = [next(iter(compile_plan(before_ordering.read(), None).absent))]
    twin = BuildFolder.at(shutil.copytree(before_ordering.folder, tmp_path / "twin"))
    app = fill(run(before_ordering.build_file, "receipts"), lines, supplier, "700")
    if kind == "document":
        bill = tmp_path / "bill.pdf"
        bill.write_bytes(b"%PDF-1.4 x")
        options += ["--attach", str(bill)]
        sent = field(app, "file_uploader", "Photo or PDF of it")
        app = sent.set_value([(bill.name, bill.read_bytes(), "application/pdf")]).run()  # type: ignore[attr-defined]
    said = words(save(app))
    ledger = before_ordering.ledger()
    said_of = {"closed": "--all", "more": "--more-to-come"}
    options += [f"{said_of[mark.state]}={line}" for line, mark in ledger.line_states().items()]
    options += [part for line in lines for part in ("--line", line)]
    add = ["receipt", "add", str(twin.folder), "--amount", "700", "--supplier", supplier, *options, "--sure"]
    assert main(add) == 0
    told, _, _ = capsys.readouterr().out.partition(" Paid so far:")
    assert told.startswith("Receipt 1: ")
    assert f"{told} P80" in said


def test_a_bill_that_nobody_told_of_is_entered_on_the_page(run: Run, before_ordering: BuildFolder) -> None:
    """It gets a line of its own, as by the command, and counts wherever lines are counted."""
    build, page = before_ordering.read(), run(before_ordering.build_file, "receipts")
    app = save(fill(page, [NOT_LISTED], "The port", "185"))
    assert "What was it for? Nothing stands there yet." in words(app)
    field(app, "text_input", "What was it for?").set_value("Tyres")  # type: ignore[attr-defined]
    assert "there is a line “Tyres” already" in words(save(app.run()))
    assert before_ordering.read().fingerprint() == build.fingerprint()
    field(app, "text_input", "What was it for?").set_value("Tyres and skip")  # type: ignore[attr-defined]
    app = save(app.run())
    assert "“Tyres and skip” sounds like “Tyres”, which stands open and unpaid" in words(app)
    assert [item.label for item in app.checkbox] == ["It is meant"]
    assert before_ordering.read().fingerprint() == build.fingerprint()
    field(app, "text_input", "What was it for?").set_value("Port bill")  # type: ignore[attr-defined]
    field(app, "selectbox", "Group").set_value("import")  # type: ignore[attr-defined]
    app = app.run()
    answers = next(item for item in app.get("button_group") if "for Port bill?" in item.label)
    answers.set_value("yes").run()  # type: ignore[attr-defined]
    app = save(app)
    assert not app.exception
    line = before_ordering.read().line[-1]
    assert (line.id, line.title, line.group) == ("port_bill", "Port bill", "import")
    assert before_ordering.ledger().paid_by_line() == {"port_bill": 18_500}
    lines = len(compile_plan(before_ordering.read()).costing) + 1
    said = words(app).replace("**", "")
    assert "New in the build file: “Port bill”." in said
    assert "“Port bill” was not foreseen" in said
    assert f"1 of {lines} lines is closed" in said
    assert any("**Port bill**" in button.label and "`€185.00`" in button.label for button in app.button)
    told = words(run(before_ordering.build_file, "watch"))
    assert "Not foreseen: “Port bill”, €185." in told


def test_saving_twice_without_a_new_form_enters_once(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "receipts")
    key = app.session_state["receipt_form"]
    app = save(fill(app, ["tyres"], "A tyre shop", "100"))
    app.session_state["receipt_form"] = key  # as a second press on the same form would
    app = save(fill(app.run(), ["tyres"], "A tyre shop", "100"))
    assert len(before_ordering.ledger().list_receipts()) == 1


def test_several_lines_share_a_receipt_and_the_empty_one_takes_the_rest(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres", "wheels"], "A shop", "1000")
    part = next(item for item in app.text_input if item.label == "Tyres (EUR)")
    app = save(part.set_value("420.10").run())
    (receipt,) = before_ordering.ledger().list_receipts()
    assert {split.line_id: split.amount_minor for split in receipt.splits} == {
        "tyres": 42_010,
        "wheels": 57_990,
    }


def test_a_closed_line_costs_what_was_paid(run: Run, before_ordering: BuildFolder) -> None:
    app = save(fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A shop", "700"))
    assert "“Tyres” is closed: nothing more will be paid for it." in words(app)
    ledger = before_ordering.ledger()
    assert ledger.closed_lines() == {"tyres"}
    line = next(line for line in reforecast(before_ordering.read(), ledger).lines if line.id == "tyres")
    assert line.now == (700, 700, 700)
    assert "**1 of" in words(app)


def test_paid_in_another_currency_asks_what_was_charged(run: Run, before_ordering: BuildFolder) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["kit_panels"], "The maker", "260000")
    app = field(app, "selectbox", "Currency").set_value("JPY").run()  # type: ignore[attr-defined]
    app = save(app)
    assert "Say what left your account in EUR for these ¥260,000, under the amount." in words(app)
    assert before_ordering.ledger().list_receipts() == ()
    app = save(field(app, "text_input", "Charged to you in EUR").set_value("1,512.33").run())  # type: ignore[attr-defined]
    (receipt,) = before_ordering.ledger().list_receipts()
    assert (receipt.amount_minor, receipt.currency, receipt.paid_minor) == (260_000, "JPY", 151_233)


def test_a_line_priced_abroad_proposes_its_currency_and_one_chosen_by_hand_stays(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "receipts")
    assert field(app, "text_input", "Amount").label == "Amount, in EUR"  # type: ignore[attr-defined]
    lines = field(app, "multiselect", "For which line")
    app = lines.set_value(["kit_panels"]).run()  # type: ignore[attr-defined]
    assert field(app, "text_input", "Amount").label == "Amount, in JPY"  # type: ignore[attr-defined]
    assert field(app, "selectbox", "Currency").value == "JPY"  # type: ignore[attr-defined]
    assert field(app, "text_input", "Charged to you in EUR")
    app = field(app, "multiselect", "For which line").set_value(["tyres"]).run()  # type: ignore[attr-defined]
    assert field(app, "selectbox", "Currency").value == "EUR"  # type: ignore[attr-defined]
    app = field(app, "multiselect", "For which line").set_value(["kit_panels"]).run()  # type: ignore[attr-defined]
    app = field(app, "selectbox", "Currency").set_value("EUR").run()  # type: ignore[attr-defined]
    app = field(app, "multiselect", "For which line").set_value(["tail_lip"]).run()  # type: ignore[attr-defined]
    assert field(app, "text_input", "Amount").label == "Amount, in EUR"  # type: ignore[attr-defined]


def test_an_amount_that_stands_there_keeps_its_money_whatever_line_is_chosen(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "receipts")
    app = field(app, "text_input", "Amount").set_value("688.42").run()  # type: ignore[attr-defined]
    app = field(app, "multiselect", "For which line").set_value(["kit_panels"]).run()  # type: ignore[attr-defined]
    assert field(app, "text_input", "Amount").label == "Amount, in EUR"  # type: ignore[attr-defined]
    assert "This line is priced in JPY. If the paper is too, choose JPY under" in words(app)
    app = field(app, "multiselect", "For which line").set_value(["tyres"]).run()  # type: ignore[attr-defined]
    assert "This line is priced in" not in words(app)


def test_what_a_state_charges_is_paid_in_its_own_money(run: Run, tmp_path: Path) -> None:
    create_build(tmp_path / "build", read_answers({"country": "CA", "origin": "JP"}))
    app = run(tmp_path / "build" / "build.toml", "receipts")
    lines = field(app, "multiselect", "For which line")
    for line, money in (("kit.duty", "CAD"), ("kit.tax", "CAD"), ("kit.goods", "JPY")):
        app = lines.set_value([line]).run()  # type: ignore[attr-defined]
        assert field(app, "text_input", "Amount").label == f"Amount, in {money}", line  # type: ignore[attr-defined]
        lines = field(app, "multiselect", "For which line")


def test_a_deposit_leaves_more_to_come_before_all_of_it_is_typed(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "receipts")
    app = field(app, "multiselect", "For which line").set_value(["kit_panels"]).run()  # type: ignore[attr-defined]
    question = next(item for item in app.button_group if item.label.startswith("Is that all for"))
    app = question.set_value("yes").run()
    app = field(app, "button_group", "Kind").set_value("deposit").run()  # type: ignore[attr-defined]
    question = next(item for item in app.button_group if item.label.startswith("Is that all for"))
    assert question.value == "no"


def test_the_currency_beside_the_amount_is_the_one_of_the_form(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["kit_panels"], "The maker", "48 000 THB")
    assert field(app, "selectbox", "Currency").value == "THB"  # type: ignore[attr-defined]
    app = save(app)
    assert "Say what left your account in EUR for these THB\u00a048,000.00, under the amount." in words(app)
    field(app, "text_input", "Charged to you in EUR").set_value("1,212.33")  # type: ignore[attr-defined]
    app = save(app.run())
    (receipt,) = before_ordering.ledger().list_receipts()
    assert (receipt.amount_minor, receipt.currency, receipt.paid_minor) == (4_800_000, "THB", 121_233)


def test_a_currency_chosen_after_the_amount_was_typed_stays(run: Run, before_ordering: BuildFolder) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["kit_panels"], "The maker", "48 000 THB")
    app = field(app, "selectbox", "Currency").set_value("EUR").run()  # type: ignore[attr-defined]
    assert field(app, "selectbox", "Currency").value == "EUR"  # type: ignore[attr-defined]
    assert "is in THB, but EUR is counted here" in words(save(app))
    app = fill(app, ["kit_panels"], "The maker", "100")
    assert field(app, "selectbox", "Currency").value == "EUR"  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("lines", "supplier", "amount", "complaint"),
    [
        ([], "A shop", "100", "No line is chosen"),
        (["tyres"], "A shop", "", "amount: empty"),
        (["tyres"], "", "100", "no supplier"),
        (["tyres"], "A shop", "12.345.6", "has digits that are not grouped in threes"),
        (["tyres"], "A shop", "-5", "If it came back, enter 5.00 EUR as a refund"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_entered(
    run: Run, before_ordering: BuildFolder, lines: list[str], supplier: str, amount: str, complaint: str
) -> None:
    app = save(fill(run(before_ordering.build_file, "receipts"), lines, supplier, amount))
    assert complaint in words(app)
    assert field(app, "text_input", "Amount").value == amount  # type: ignore[attr-defined]
    assert not before_ordering.has_ledger() or before_ordering.ledger().list_receipts() == ()


def test_a_receipt_is_taken_back_with_a_reason_and_stays_in_the_history(
    run: Run, half_way: BuildFolder
) -> None:
    app = field(run(half_way.build_file, "receipts"), "button_group", "Show").set_value("By day").run()  # type: ignore[attr-defined]
    ledger = half_way.ledger()
    last = ledger.list_receipts()[-1]
    app = app.button(key=f"row-receipt-{last.id}").click().run()
    take = next(item for item in app.button if item.label == "Take it back")
    app = take.click().run()
    assert "for a reason that stays beside it" in words(app)
    field(app, "text_input", "Why").set_value("cancelled")  # type: ignore[attr-defined]
    app = next(item for item in app.button if item.label == "Take it back").click().run()
    assert f"Receipt {last.id} is taken back. P80 stays at" in words(app)
    assert last.id not in {receipt.id for receipt in ledger.list_receipts()}
    assert last.id in {receipt.id for receipt in ledger.list_receipts(include_void=True)}


def test_parts_add_up_to_the_cent() -> None:
    assert split_parts((("a", "1.10"), ("b", "")), 330, "EUR") == [("a", 110), ("b", 220)]
    assert split_parts((("a", ""), ("b", "")), 331, "EUR") == [("a", 166), ("b", 165)]
    assert split_parts((("a", ""), ("b", "")), 330, "EUR", "by estimate", {"a": 10, "b": 20}) == [
        ("a", 110), ("b", 220),
    ]  # fmt: skip
    with pytest.raises(LedgerError, match="nothing is left for 'b'"):
        split_parts((("a", "3.30"), ("b", "")), 330, "EUR")


def test_a_sum_far_above_its_line_is_asked_about_first(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "receipts")
    app = save(fill(app, ["tyres"], "A tyre shop", "99,999,999"))
    assert not app.exception
    assert not before_ordering.has_ledger() or before_ordering.ledger().list_receipts() == ()
    assert "the most you expected was about €" in words(app)
    assert "Is that meant? Nothing is entered yet." in words(app)
    app = save(app)
    assert not before_ordering.has_ledger() or before_ordering.ledger().list_receipts() == ()

    next(item for item in app.checkbox if item.label == "It is meant").check()
    app = save(app)
    (receipt,) = before_ordering.ledger().list_receipts()
    assert receipt.amount_minor == 9_999_999_900
    app = save(fill(app, ["tyres"], "A tyre shop", "12"))
    assert "Is that meant?" not in words(app)
    assert len(before_ordering.ledger().list_receipts()) == 2


def test_a_question_goes_with_the_sum_that_it_was_about(run: Run, before_ordering: BuildFolder) -> None:
    app = save(fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A tyre shop", "99,999,999"))
    assert "Is that meant?" in words(app)
    app = fill(app, ["tyres"], "A tyre shop", "612.40")
    assert "Is that meant?" not in words(app)
    assert [item.label for item in app.checkbox] == []
    save(app)
    assert before_ordering.ledger().list_receipts()[0].amount_minor == 61_240


def test_what_is_on_no_line_is_one_tap_away_whatever_is_typed_into_the_list(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = next(
        item for item in run(before_ordering.build_file, "receipts").button if item.key == "enter-receipt"
    )
    app = app.click().run()
    app = next(item for item in app.button if item.label == "It is on no line of mine").click().run()
    assert field(app, "multiselect", "For which line").value == [NOT_LISTED]  # type: ignore[attr-defined]
    assert field(app, "text_input", "What was it for?").value == ""  # type: ignore[attr-defined]
    assert "It is on no line of mine" not in [item.label for item in app.button]


def test_another_sum_is_asked_about_anew(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "receipts")
    app = save(fill(app, ["tyres"], "A tyre shop", "99,999,999"))
    next(item for item in app.checkbox if item.label == "It is meant").check()
    app = save(fill(app, ["tyres"], "A tyre shop", "999,999,999"))
    assert before_ordering.ledger().list_receipts() == ()


def test_a_sum_that_can_mean_two_is_asked_about_and_nothing_is_entered_before(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = save(fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A tyre shop", "9.000"))
    assert not app.exception
    assert "'9.000' can mean 9000 or 9. Choose which is meant, at its field." in words(app)
    assert before_ordering.ledger().list_receipts() == ()
    which = next(item for item in app.main.radio if "'9.000' can mean" in item.label)
    assert list(which.options) == ["9000", "9"]
    app = save(which.set_value("9000").run())
    next(item for item in app.checkbox if item.label == "It is meant").check()  # far over its estimate
    app = save(app)
    (receipt,) = before_ordering.ledger().list_receipts()
    assert receipt.amount_minor == 900_000


def test_a_bill_of_several_times_the_estimate_is_read_as_one_and_asked_about_as_unusual(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A tyre shop", "1.900")
    assert "1.900 read as €1,900.00" in [item.value for item in app.main.caption]
    assert not any("can mean" in item.label for item in app.main.radio)
    assert "Is that meant?" in words(save(app))


def test_a_lines_estimate_decides_what_a_sum_means_and_the_reading_is_shown(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A tyre shop", "1.250")
    assert not any("can mean" in item.label for item in app.main.radio)
    assert "1.250 read as €1,250.00" in [item.value for item in app.main.caption]
    app = save(app)
    (receipt,) = before_ordering.ledger().list_receipts()
    assert receipt.amount_minor == 125_000


def test_without_a_line_and_for_money_back_a_sum_that_can_mean_two_is_asked_about(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), [], "A tyre shop", "1.250")
    which = next(item for item in app.main.radio if "'1.250' can mean" in item.label)
    app = which.set_value("1.25").run()  # what was said stays, whatever line is chosen then
    app = fill(app, ["tyres"], "A tyre shop", "1.250")
    assert not any("read as" in item.value for item in app.main.caption)
    assert next(item for item in app.main.radio if "'1.250' can mean" in item.label).value == "1.25"


def test_all_for_a_tenth_of_the_estimate_is_asked_about(run: Run, before_ordering: BuildFolder) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A tyre shop", "53")
    app = (
        next(item for item in app.main.get("button_group") if item.label == "Is that all for Tyres?")
        .set_value("yes")
        .run()
    )
    app = save(app)
    assert "€53 is all for Tyres" in words(app)
    assert "ten times this bill would fit. Is that meant? Nothing is entered yet." in words(app)
    assert not before_ordering.has_ledger() or before_ordering.ledger().list_receipts() == ()
    next(item for item in app.checkbox if item.label == "It is meant").check()
    save(app)
    assert len(before_ordering.ledger().list_receipts()) == 1
