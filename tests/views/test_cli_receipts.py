"""Receipts and what belongs to them on the command line."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path

import pytest
from openpyxl import load_workbook

from forecast.ledger.folder import BuildFolder
from forecast.views.after_entry import after_entry
from forecast.views.commands import common, effect, receipt_import
from forecast.watching.reforecast import reforecast
from forecast.words.day_words import short_day
from forecast.words.money import about
from tests.views.saying import why_it_moved
from tests.views.test_cli import BUILD, run

DEAR = ("--amount", "4000", "--supplier", "Maker", "--line", "kit", "--all", "--sure")
JPEG = b"\xff\xd8\xff\xe0 a photo"


@pytest.fixture
def folder(tmp_path: Path) -> str:
    (tmp_path / "build.toml").write_text(BUILD, encoding="utf-8")
    return str(tmp_path)


def add(capsys: pytest.CaptureFixture[str], folder: str, *more: str, expect: int = 0) -> str:
    return run(
        capsys, "receipt", "add", folder, "--amount", "100", "--supplier", "Shop", *more, expect=expect
    )


def test_a_date_ahead_is_refused_in_words(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    day = dt.date.today() + dt.timedelta(days=40)
    ahead = day.isoformat()
    text = add(capsys, folder, "--line", "kit", "--date", ahead, expect=2)
    assert f"date of the receipt: {short_day(day)} lies ahead of today, {short_day(dt.date.today())}." in text
    assert not re.search(r"\d{4}-\d\d-\d\d", text)
    assert "What is agreed and not paid yet is entered as a price agreed." in text
    for command in (("close", "kit"), ("agreed", "kit", "--amount", "5", "--supplier", "x")):
        name, *rest = command
        assert "lies ahead of today" in run(capsys, name, folder, *rest, "--date", ahead, expect=2)
    assert BuildFolder.at(folder).ledger().list_marks() == ()
    assert BuildFolder.at(folder).ledger().list_commitments() == ()


def test_given_parts_stay_and_the_rest_is_shared(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    def parts(*more: str) -> dict[str, int]:
        data = json.loads(add(capsys, folder, *more, "--json", "--sure"))
        return {split["line"]: split["amount_minor"] for split in data["receipt"]["splits"]}

    assert parts("--line", "kit=70", "--line", "filler") == {"kit": 7_000, "filler": 3_000}
    assert parts("--line", "kit=70", "--line", "filler", "--line", "fee", "--evenly") == {
        "kit": 7_000, "filler": 1_500, "fee": 1_500,
    }  # fmt: skip
    assert parts("--line", "kit=70", "--line", "filler", "--line", "fee", "--by-estimate") == {
        "kit": 7_000, "filler": 1_500, "fee": 1_500,
    }  # fmt: skip
    assert "One line alone may go without" in add(
        capsys, folder, "--line", "kit", "--line", "fee", "--line", "filler=5", expect=2
    )
    assert "Say one of them" in add(capsys, folder, "--line", "kit", "--evenly", "--by-estimate", expect=2)


def test_a_photo_goes_in_with_the_receipt_or_neither(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo, sheet = tmp_path / "a.jpg", tmp_path / "b.jpg"
    photo.write_bytes(JPEG)
    sheet.write_text("a,b\n", encoding="utf-8")
    text = add(capsys, folder, "--line", "kit", "--attach", str(photo), "--attach", str(sheet), expect=2)
    assert "b.jpg: is neither a picture nor a PDF by its content" in text
    ledger = BuildFolder.at(folder).ledger()
    assert ledger.list_receipts() == ()
    add(capsys, folder, "--line", "kit", "--attach", str(photo))
    assert [item.name for item in ledger.attachments(1)] == ["a.jpg"]
    assert "neither a picture" in run(capsys, "receipt", "attach", folder, "1", str(sheet), expect=2)


def test_a_deposit_is_paid_against_its_commitment(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "agreed", folder, "kit", "--amount", "2600", "--supplier", "Maker")
    add(capsys, folder, "--line", "kit", "--deposit", "--against", "1")
    data = json.loads(run(capsys, "agreed", folder, "--json"))
    assert data["outstanding_minor"] == 250_000
    assert [item["outstanding_minor"] for item in data["commitments"]] == [250_000]
    other = ["--line", "kit", "--against", "7", "--sure"]
    assert "there is no commitment 7" in add(capsys, folder, *other, expect=2)


def test_what_was_taken_back_is_listed_but_not_counted(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "--line", "kit")
    add(capsys, folder, "--line", "filler")
    run(capsys, "receipt", "void", folder, "1", "--why", "entered twice")
    assert run(capsys, "receipts", folder).startswith("1 receipt, €100.00 paid.\n")
    text = run(capsys, "receipts", folder, "--voided")
    assert text.startswith("1 receipt, €100.00 paid. 1 taken back.\n")
    assert "taken back by 3" in text
    assert "takes back 1: entered twice" in text
    data = json.loads(run(capsys, "receipts", folder, "--voided", "--json"))
    assert (data["count"], data["paid_minor"], len(data["receipts"])) == (1, 10_000, 3)


def test_what_was_undone_is_listed_with_the_day_of_that(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "--line", "kit")
    run(capsys, "undo", folder)
    assert run(capsys, "receipts", folder).startswith("No receipts yet.")
    text = run(capsys, "receipts", folder, "--voided")
    assert text.startswith("0 receipts, €0.00 paid. 1 taken back.\n")
    add(capsys, folder, "--line", "filler")
    run(capsys, "receipt", "void", folder, "2", "--why", "entered twice")
    run(capsys, "undo", folder)  # the void is undone, not the receipt
    text = run(capsys, "receipts", folder, "--voided")
    assert text.startswith("1 receipt, €100.00 paid. 1 taken back.\n")
    assert f"undone on {short_day(dt.date.today())}" in text
    data = json.loads(run(capsys, "receipts", folder, "--voided", "--json"))
    assert [one["receipt"]["id"] for one in data["undone"]] == [1]
    assert data["undone"][0]["undone_at"].startswith("20")
    assert json.loads(run(capsys, "receipts", folder, "--json"))["undone"] == []


def test_what_ends_in_an_abbreviation_is_told_with_one_full_stop(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    file = Path(folder) / "build.toml"
    file.write_text(
        file.read_text("utf-8").replace('id = "kit"', 'id = "kit"\nname = "Kit etc."', 1), "utf-8"
    )
    BuildFolder.at(folder).ledger().say_still_to_buy("kit", 5_000)
    assert run(capsys, "undo", folder, "--look") == "Entered last: €50.00 left to buy of Kit etc.\n"
    assert run(capsys, "undo", folder).startswith("Taken back: €50.00 left to buy of Kit etc. P80 ")


def test_undo_says_what_it_took_back(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert "Nothing was entered yet" in run(capsys, "undo", folder, "--look")
    add(capsys, folder, "--line", "kit", "--closes")
    run(capsys, "happened", folder, "transit_damage")
    assert run(capsys, "undo", folder, "--look") == "Entered last: “Transit damage” happened.\n"
    assert "Taken back: “Transit damage” happened." in run(capsys, "undo", folder)
    assert "Taken back: receipt 1 of Shop, €100.00 and Kit closed." in run(capsys, "undo", folder)
    assert "nothing was entered yet, or all of it is taken back" in run(capsys, "undo", folder, expect=2)
    ledger = BuildFolder.at(folder).ledger()
    assert ledger.list_receipts() == ()
    assert ledger.closed_lines() == frozenset()


def test_a_word_that_changes_nothing_is_refused(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    add(capsys, folder, "--line", "filler", "--closes")
    assert "filler is closed since" in run(capsys, "left", folder, "filler", "50", expect=2)
    run(capsys, "reopen", folder, "filler")
    yesterday = (dt.date.today() - dt.timedelta(days=1)).isoformat()
    assert "would change nothing now" in run(capsys, "close", folder, "filler", "--date", yesterday, expect=2)
    assert "“Filler” is closed" in run(capsys, "close", folder, "filler")


def test_the_receipts_become_a_spreadsheet(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "--line", "kit=60", "--line", "filler=40")
    target = tmp_path / "receipts.xlsx"
    assert "The receipts are in" in run(capsys, "receipt", "export", folder, str(target))
    sheet = load_workbook(target)["Receipts"]
    assert [row[5].value for row in sheet.iter_rows(min_row=2)] == [60, 40]


def test_the_spreadsheet_names_what_comes_in_a_consignment_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    parcel = (
        '[[consignment]]\nid = "box"\nname = "The box"\nprice = 300\nincoterm = "DAP"\nmode = "courier"\n'
    )
    (tmp_path / "build.toml").write_text(BUILD + parcel, encoding="utf-8")
    add(capsys, str(tmp_path), "--line", "box.goods", "--sure")
    target = tmp_path / "receipts.xlsx"
    run(capsys, "receipt", "export", str(tmp_path), str(target))
    row = next(load_workbook(target)["Receipts"].iter_rows(min_row=2, values_only=True))
    assert "The box" in row
    assert "box.goods" not in row


def test_an_export_writes_over_nothing_that_was_not_meant(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "--line", "kit")
    before = {path: path.read_bytes() for path in (tmp_path / "build.toml", tmp_path / "receipts.db")}
    for path in before:
        for more in ((), ("--replace",)):
            text = run(capsys, "receipt", "export", folder, str(path), *more, expect=2)
            assert "is one of the build's own files" in text
    assert {path: path.read_bytes() for path in before} == before
    target = str(tmp_path / "out.csv")
    assert "The ledger is in" in run(capsys, "receipt", "export", folder, target)
    assert "is there already. Add --replace" in run(capsys, "receipt", "export", folder, target, expect=2)
    assert "The ledger is in" in run(capsys, "receipt", "export", folder, target, "--replace")


def test_an_exported_ledger_is_imported_as_what_it_is(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "--line", "kit", "--closes", "--note", "=HYPERLINK(1)")
    run(capsys, "agreed", folder, "filler", "--amount", "50", "--supplier", "Shop")
    run(capsys, "freeze", folder, "--budget", "9000", "--sure")
    text = str(tmp_path / "ledger.csv")
    run(capsys, "receipt", "export", folder, text)
    (tmp_path / "receipts.db").unlink()
    enter = ("receipt", "import", folder, text, "--enter")
    assert "receipts.db: is gone. Its last copy" in run(capsys, *enter, expect=2)
    (tmp_path / "backups").rename(tmp_path / "before")  # to begin anew, as it says
    assert "a whole ledger" in (shown := run(capsys, "receipt", "import", folder, text))
    assert "with 1 receipt. Nothing was entered yet: add --enter" in shown
    assert not (tmp_path / "receipts.db").exists()
    assert "1 receipt is new; the ledger holds 1" in run(capsys, "receipt", "import", folder, text, "--enter")
    assert "0 receipts are new" in run(capsys, "receipt", "import", folder, text, "--enter")
    ledger = BuildFolder.at(folder).ledger()
    assert ledger.list_receipts()[0].note == "=HYPERLINK(1)"
    assert ledger.closed_lines() == {"kit"}
    assert len(ledger.list_commitments()) == len(ledger.list_baselines()) == 1


def test_columns_are_said_by_hand_once(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "odd.csv"
    file.write_text("When,Whom,How much\n2026-05-14,Shop,1.50\n", encoding="utf-8")
    arguments = ("receipt", "import", folder, str(file), "--rest", "filler", "--enter")
    assert "no column says when it was paid" in run(capsys, *arguments, expect=2)
    mapped = ("--column", "date=When", "--column", "supplier=Whom", "--column", "amount=How much")
    assert "1 receipt entered" in run(capsys, *arguments, *mapped)
    assert "1 was there already" in run(capsys, *arguments)  # the account's layout is remembered
    assert "Did you mean 'date'" in run(capsys, *arguments, "--column", "dat=When", expect=2)


def test_a_row_of_another_build_is_refused_by_its_number(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "card.csv"
    file.write_text("Date,Payee,Amount,Line\n2026-05-14,Shop,1.50,filer\n", encoding="utf-8")
    text = run(capsys, "receipt", "import", folder, str(file), "--enter", expect=2)
    assert "row 2, column Line: there is no line 'filer' in the build. Did you mean 'filler'?" in text


def test_a_sum_far_above_its_line_is_asked_about_first(
    folder: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    entry = [
        "receipt",
        "add",
        folder,
        "--amount",
        "9999999999",
        "--supplier",
        "a shop",
        "--line",
        "filler",
    ]
    agreed = ["agreed", folder, "filler", "--amount", "9999999", "--supplier", "a shop"]

    for command in (entry, agreed):
        told = run(capsys, *command, expect=2)
        assert re.search(
            r"for Filler: the most you expected was about €\d+. Is that meant\? Nothing was entered", told
        )
        assert "--sure" in told
    assert "No receipts yet" in run(capsys, "receipts", folder)
    run(capsys, *entry, "--sure")
    run(capsys, *agreed, "--sure")
    assert "€9,999,999,999.00" in run(capsys, "receipts", folder)


@pytest.mark.parametrize(("said", "entered"), [("y", True), ("", False), ("no", False)])
def test_the_question_is_put_where_a_person_can_answer(
    folder: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, said: str, entered: bool
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda *_: said)
    entry = ["receipt", "add", folder, "--amount", "99999", "--supplier", "a shop", "--line", "filler"]

    run(capsys, *entry, expect=0 if entered else 2)
    assert ("No receipts yet" in run(capsys, "receipts", folder)) is not entered


def test_a_usual_sum_is_not_asked_about(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Five times the middle is the limit: a filler of 5 kg at 12 comes to 60."""
    add = ["receipt", "add", folder, "--supplier", "a shop", "--line", "filler", "--amount"]
    run(capsys, *add, "300")
    run(capsys, *add, "300.01", expect=2)


def test_a_row_far_above_its_line_is_held_back_by_an_import(
    folder: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    bank = tmp_path / "bank.csv"
    bank.write_text(
        "Date,Description,Amount\n2026-05-31,Paint counter,-25.50\n2026-06-01,Paint counter,-99999.00\n",
        encoding="utf-8",
    )
    start = ["receipt", "import", folder, str(bank), "--rest", "filler", "--enter"]

    assert "1 receipt entered" in run(capsys, *start)
    assert "the most you expected for Filler was about 108" in run(capsys, *start[:-1])
    assert "1 receipt entered" in run(capsys, *start, "--accept", "3")


def test_a_receipt_says_what_p80_did_as_its_page_does(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    own = BuildFolder.at(folder)
    before = reforecast(own.read(), own.ledger())
    data = json.loads(run(capsys, "receipt", "add", folder, *DEAR, "--json"))
    now = reforecast(own.read(), own.ledger())
    was, is_ = before.percentile(0.8), now.percentile(0.8)
    assert data["moved"] == {
        "before": {"P80": {"value": was.value, "standard_error": was.error}},
        "now": {"P80": {"value": is_.value, "standard_error": is_.error}},
    }
    assert is_.value > was.value + 500
    run(capsys, "undo", folder)
    text = run(capsys, "receipt", "add", folder, *DEAR)
    over = now.chance_of_overrun
    told = after_entry(was, before, is_, now, "EUR", None if over is None else 1 - over.value, "").whole
    assert told in text
    assert f"from {about(was.value, 'EUR', was.error)} to {about(is_.value, 'EUR', is_.error)}" in told
    assert why_it_moved(before, now, round(is_.value, -1) - round(was.value, -1)) in told


def test_a_price_agreed_says_what_p80_did(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Before, the next receipt told of a move from where no answer had been."""
    agree = ["agreed", folder, "kit", "--amount", "3900", "--supplier", "a seller"]
    own = BuildFolder.at(folder)
    before = reforecast(own.read(), own.ledger()).percentile(0.8)
    text = run(capsys, *agree)
    now = reforecast(own.read(), own.ledger()).percentile(0.8)
    assert now.value != before.value
    assert f"to {about(now.value, 'EUR', max(now.error, before.error))}." in text.split("\n\n")[0]
    run(capsys, "undo", folder)
    moved = json.loads(run(capsys, *agree, "--json"))["moved"]
    assert (moved["before"]["P80"]["value"], moved["now"]["P80"]["value"]) == (before.value, now.value)
    assert json.loads(run(capsys, "agreed", folder, "--json"))["moved"] is None


def test_what_is_likely_all_is_not_said_to_be_a_part(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    own = BuildFolder.at(folder)
    for sum_, likely in (("100", False), ("4000", True)):
        text = run(
            capsys,
            "receipt",
            "add",
            folder,
            "--amount",
            sum_,
            "--supplier",
            "Maker",
            "--line",
            "kit",
            "--sure",
        )
        line = next(one for one in reforecast(own.read(), own.ledger()).lines if one.id == "kit")
        assert line.looks_settled == likely
        assert "is paid in part" not in text or not likely
        assert ("What is paid for “Kit” is likely all" in text) == likely
        run(capsys, "undo", folder)


def test_a_bill_that_nobody_told_of_is_held_against_the_build_without_its_line(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    text = add(capsys, folder, "--line", "Towing", "--new-line", "--sure")
    assert "P80 moved by +€100, from" in text


def test_a_large_build_does_not_wait_for_what_a_receipt_did(
    folder: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(effect, "MOST_SIMULATED", 2)
    text = add(capsys, folder, "--line", "kit")
    assert text.rstrip().endswith("Paid so far: €100.00. 'forecast watch' shows where it ends now.")
    assert json.loads(add(capsys, folder, "--line", "filler", "--json", "--sure"))["moved"] is None


def test_whatever_is_said_without_money_moving_says_what_it_did_to_p80(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each step's figure before is the step's before it, as `watch` has them."""
    add(capsys, folder, "--line", "kit", "--more-to-come")
    at = BuildFolder.at(folder)
    for command in (
        ("close", folder, "kit"),
        ("reopen", folder, "kit"),
        ("happened", folder, "damage"),
        ("happened", folder, "damage", "--withdraw"),
        ("cannot-happen", folder, "damage"),
        ("undo", folder),
        ("receipt", "void", folder, "1", "--why", "mistyped"),
    ):
        before = reforecast(at.read(), at.ledger()).percentile(0.8)
        said = run(capsys, *command)
        now = reforecast(at.read(), at.ledger()).percentile(0.8)
        error = max(before.error, now.error)
        was, is_ = about(before.value, "EUR", error), about(now.value, "EUR", error)
        assert (f"from {was} to {is_}." if was != is_ else f"P80 stays at {is_}.") in said, command
        assert was != is_ or command[0] in ("reopen", "undo", "receipt"), command
    moved = json.loads(run(capsys, "undo", folder, "--json"))["moved"]
    assert moved["before"]["P80"]["value"] == pytest.approx(now.value)
    assert moved["now"]["P80"]["value"] == pytest.approx(before.value)


def test_a_line_made_for_a_bill_that_is_taken_back_is_said_to_stay(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "--line", "Towing", "--new-line", "--sure")
    assert "“Towing” stays in the build file, where it counts nothing until something is paid" in run(
        capsys, "undo", folder
    )
    add(capsys, folder, "--line", "filler", "--sure")
    assert "stays in the build file" not in run(capsys, "undo", folder)


def test_suppliers_in_a_banks_file_called_like_one_with_a_price_agreed_are_asked_about_once(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run(capsys, "agreed", folder, "kit", "--amount", "2500", "--supplier", "Maker", "--date", "2026-05-01")
    file = tmp_path / "bank.csv"
    file.write_text(
        "Date,Payee,Amount\n2026-05-14,MAKER 0042,-900.00\n2026-05-15,MAKER 0043,-600.00\n", encoding="utf-8"
    )
    words = ("receipt", "import", folder, str(file), "--rest", "kit")
    said = run(capsys, *words, "--enter")
    assert said.startswith("0 receipts entered; 2 held back.") or "2 held back" in said
    assert "Rows 2 and 3 are of MAKER 0042 and MAKER 0043: a price for “Kit” is agreed with Maker" in said
    assert "If so, add --same-as Maker." in said
    assert "no row is of a supplier called like" in run(capsys, *words, "--same-as", "Nobody", expect=2)
    for module in (common, receipt_import):
        monkeypatch.setattr(module, "somebody_there", lambda: True)
    monkeypatch.setattr("builtins.input", lambda: "y")
    assert "2 receipts entered" in run(capsys, *words, "--enter")
    assert [one.supplier for one in BuildFolder.at(folder).ledger().list_receipts()] == ["Maker", "Maker"]
