"""What a payment says, through the command line: is that all, lines closed at once, agreed prices, odd receipts."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from forecast.ledger.folder import BuildFolder
from forecast.views.cli import main
from forecast.watching.reforecast import LOOKS_SETTLED
from tests.watching.test_delivered import WAY, crate

BUILD = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
[currency.JPY]
rate = 0.006
[[line]]
id = "kit"
name = "Body kit"
group = "kit"
amount = { low = 2200, middle = 2900, high = 3900 }
[[line]]
id = "paint"
name = "Paint, two coats"
group = "finish"
amount = { low = 1500, middle = 2000, high = 3000 }
[[line]]
id = "filler"
group = "consumables"
amount = { low = 40, middle = 60, high = 120 }
[[event]]
id = "damage"
chance = 0.2
cost = { low = 50, middle = 200, high = 900 }
"""
DAY = "2026-05-04"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "home"))
    (tmp_path / "x").mkdir()
    (tmp_path / "x" / "build.toml").write_text(BUILD, encoding="utf-8")
    return str(tmp_path / "x")


def run(capsys: pytest.CaptureFixture[str], *words: str, expect: int = 0) -> str:
    code = main(list(words))
    told = capsys.readouterr()
    assert code == expect, told.err
    return told.out if expect == 0 else told.err


def add(
    capsys: pytest.CaptureFixture[str], folder: str, line: str, sum: str, *more: str, expect: int = 0
) -> str:
    entry = [
        "receipt",
        "add",
        folder,
        "--supplier",
        "a shop",
        "--line",
        line,
        "--amount",
        sum,
        "--date",
        DAY,
        *more,
    ]
    return run(capsys, *entry, expect=expect)


def watch(capsys: pytest.CaptureFixture[str], folder: str) -> dict[str, Any]:
    data: dict[str, Any] = json.loads(run(capsys, "watch", folder, "--trials", "1024", "--json"))
    return data | {"lines": {line["id"]: line for line in data["lines"]}}


def values(percentiles: dict[str, dict[str, float]]) -> list[float]:
    """Give P10, P50 and P90 of a line, as programs are told them."""
    return [percentiles[name]["value"] for name in ("P10", "P50", "P90")]


@pytest.fixture
def person(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Give what a person types, the first first; an empty list means that nobody may be asked."""
    typed: list[str] = []
    monkeypatch.setattr("forecast.views.commands.receipt_add.somebody_there", lambda: True)
    monkeypatch.setattr("builtins.input", lambda *_: typed.pop(0))
    return typed


# -- is that all


def test_nobody_is_asked_where_nobody_sits(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    told = add(capsys, folder, "kit", "2900")
    assert "closed" not in told
    assert BuildFolder.at(folder).ledger().list_marks() == ()
    assert watch(capsys, folder)["lines"]["kit"]["settled"]["value"] >= LOOKS_SETTLED["once"]


def test_all_and_more_to_come_are_said_in_the_same_breath(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    told = add(capsys, folder, "kit", "2900", "--all")
    assert "“Body kit” is closed: nothing more will be paid for it." in told
    told = add(capsys, folder, "paint", "500", "--more-to-come")
    assert "More is to come for “Paint, two coats”." in told
    lines = watch(capsys, folder)["lines"]
    assert lines["kit"]["state"] == "closed"
    assert values(lines["kit"]["now"]) == [2900, 2900, 2900]
    assert lines["paint"]["more_to_come"] is True
    assert lines["paint"]["settled"]["value"] == 0


def test_each_line_of_a_split_has_its_own_answer(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    parts = ["--line", "filler=50", "--all=kit", "--more-to-come=filler"]
    told = add(capsys, folder, "kit=2900", "2950", *parts)
    assert "“Body kit” is closed" in told
    assert "More is to come for “Filler”." in told
    assert "Name one of its lines" in add(capsys, folder, "kit", "9", "--all=paint", expect=2)
    assert "both are said of 'kit'" in add(capsys, folder, "kit", "9", "--all", "--more-to-come", expect=2)
    assert len(BuildFolder.at(folder).ledger().list_receipts()) == 1


def test_a_payment_on_a_closed_line_leaves_it_closed_and_says_so(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "kit", "2900", "--all")
    assert "“Body kit” was closed before and stays so." in add(capsys, folder, "kit", "40")
    assert values(watch(capsys, folder)["lines"]["kit"]["now"]) == [2940, 2940, 2940]
    assert "More is to come for “Body kit”." in add(capsys, folder, "kit", "60", "--more-to-come")
    assert watch(capsys, folder)["lines"]["kit"]["more_to_come"] is True


def test_a_deposit_says_that_more_is_to_come(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert "More is to come for “Body kit”." in add(capsys, folder, "kit", "900", "--deposit")


@pytest.mark.parametrize(
    ("line", "sum", "typed", "state"),
    [
        ("kit", "2900", ["y"], "closed"),
        ("kit", "2900", [""], "closed"),  # the likely answer is filled in
        ("kit", "2900", ["n"], "more"),
        ("kit", "2900", ["what", "d"], None),
        ("kit", "2900", ["?", "n"], "more"),  # it explains, and asks again
        ("damage", "200", ["?", "?", ""], None),
        ("kit", "700", [""], "more"),
        ("damage", "200", [""], None),  # an event is over when somebody says so
    ],
)
def test_a_person_is_asked_with_the_likely_answer_filled_in(
    folder: str, capsys: pytest.CaptureFixture[str], person: list[str], line: str, sum: str, typed: list[str],
    state: str | None,
) -> None:  # fmt: skip
    person.extend(typed)
    code = main(["receipt", "add", folder, "--supplier", "x", "--line", line, "--amount", sum, "--date", DAY])
    asked = capsys.readouterr().err
    assert code == 0
    assert f"Is that all for {'Body kit' if line == 'kit' else 'Damage'}?" in asked
    assert ("It looks so (9" in asked) is (sum == "2900")
    assert asked.count("Yes closes the line: it costs what was paid") == typed.count("?")
    assert asked.count("Is that all for") == asked.count("? explains]") == len(typed)
    marks = BuildFolder.at(folder).ledger().line_states()
    assert (marks[line].state if line in marks else None) == state
    assert person == []


def test_what_is_said_or_read_by_programs_is_not_asked(
    folder: str, capsys: pytest.CaptureFixture[str], person: list[str]
) -> None:
    for sum, more in (("400", "--all"), ("300", "--deposit"), ("200", "--refund"), ("100", "--json")):
        add(capsys, folder, "kit", sum, more)
    assert person == []


def test_undo_takes_receipt_and_state_back_in_one_step(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "kit", "2900", "--more-to-come")
    assert "receipt 1 of a shop, €2,900.00 and Body kit with more to come" in run(capsys, "undo", folder)
    assert "nothing was entered yet" in run(capsys, "undo", folder, expect=2)
    assert BuildFolder.at(folder).ledger().line_states() == {}


def test_a_void_opens_what_its_receipt_closed(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    add(capsys, folder, "kit", "2900", "--all")
    told = run(capsys, "receipt", "void", folder, "1", "--why", "typed wrong")
    assert "What was said with it of “Body kit” is taken back too." in told
    assert watch(capsys, folder)["lines"]["kit"]["state"] == "untouched"


# -- looks settled


def test_lines_that_look_settled_are_named_and_closed_at_once(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "kit", "2900")
    add(capsys, folder, "paint", "2000")
    add(capsys, folder, "filler", "12")
    told = run(capsys, "watch", folder, "--trials", "1024")
    assert (
        f"Looks settled: 2 lines, “Body kit” and “Paint, two coats”. To close them: forecast close {folder}"
        in told
    )
    assert told.count("likely all paid (9") == 2
    assert "part paid" in told
    data = watch(capsys, folder)
    assert data["looking_settled"] == ["kit", "paint"]

    told = run(capsys, "close", folder, "--looking-settled")
    assert "“Body kit” and “Paint, two coats” are closed: nothing more will be paid for them." in told
    assert "“Body kit”: €2,900.00 paid" in told
    assert watch(capsys, folder)["looking_settled"] == []
    assert "No open line looks settled" in run(capsys, "close", folder, "--looking-settled")
    assert "Looks settled" not in run(capsys, "watch", folder, "--trials", "1024")
    assert "Body kit closed and Paint, two coats closed" in run(capsys, "undo", folder)
    assert BuildFolder.at(folder).ledger().closed_lines() == frozenset()


def test_several_lines_are_closed_and_opened_by_one_command(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "kit", "2900")
    told = run(capsys, "close", folder, "kit", "paint", "--date", DAY)
    assert "“Paint, two coats” is not needed: nothing will be paid for it." in told
    assert "“Body kit” is closed: nothing more will be paid for it." in told
    assert "“Body kit” was closed already." in run(capsys, "close", folder, "kit")
    told = run(capsys, "reopen", folder, "kit", "paint", "--more-to-come")
    assert "More is to come for “Body kit” and “Paint, two coats”." in told
    assert watch(capsys, folder)["lines"]["kit"]["more_to_come"] is True
    assert "Name lines, or say --looking-settled" in run(capsys, "close", folder, expect=2)
    assert "Did you mean 'kit'" in run(capsys, "close", folder, "paint", "kitt", expect=2)
    assert BuildFolder.at(folder).ledger().closed_lines() == frozenset()


# -- agreed prices


def test_a_deposit_counts_against_the_price_agreed_and_paid_in_full_closes_it(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    agreed = ["agreed", folder, "kit", "--amount", "500000", "--currency", "JPY", "--expected", "3000"]
    told = run(capsys, *agreed, "--supplier", "A shop", "--date", DAY)
    assert "Kept: ¥500,000 agreed with A shop for “Body kit”, a fixed price." in told
    yen = ["--currency", "JPY", "--charged"]
    told = add(capsys, folder, "kit", "150000", *yen, "950", "--deposit")
    assert "It counts against the price agreed with A shop for “Body kit”: €2,100.00 is still to pay." in told
    assert "More is to come" not in told
    assert "1 open commitment, €2,100.00 still to pay." in run(capsys, "agreed", folder)
    told = add(capsys, folder, "kit", "350000", *yen, "2300")
    assert "It pays the price agreed with A shop for “Body kit” in full. “Body kit” is closed" in told
    assert "No agreed price is left to pay" in run(capsys, "agreed", folder)
    assert values(watch(capsys, folder)["lines"]["kit"]["now"]) == [3250, 3250, 3250]


def test_a_price_agreed_is_read_by_what_its_line_was_thought_to_cost(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    told = run(capsys, "agreed", folder, "paint", "--amount", "2.400", "--supplier", "A shop")
    assert "€2,400.00 agreed with A shop" in told


def test_the_same_price_agreed_again_is_asked_about(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    agreed = ["agreed", folder, "paint", "--amount", "2400", "--date", DAY]
    run(capsys, *agreed, "--supplier", "A shop")
    told = run(capsys, *agreed, "--supplier", "a shop", expect=2)
    assert "Price agreed no. 1 is the same: A shop, " in told
    assert (
        "€2,400.00 for “Paint, two coats”, and this comes on top. Is that meant? Nothing was entered." in told
    )
    assert "1 open commitment" in run(capsys, "agreed", folder)
    run(capsys, *agreed, "--supplier", "Another shop")  # told apart by who it is agreed with
    assert "3 open commitments" in run(capsys, *agreed, "--supplier", "A shop", "--sure")


def test_an_estimate_may_grow_more_often_than_a_fixed_price(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    means = []
    for kind in ([], ["--estimate"]):
        told = run(
            capsys, "agreed", folder, "paint", "--amount", "2400", "--supplier", "x", "--date", DAY, *kind
        )
        assert ("an estimate that may still grow" in told) is bool(kind)
        assert ("Estimate, may still grow" in run(capsys, "agreed", folder)) is bool(kind)
        means.append(watch(capsys, folder)["lines"]["paint"]["mean_now"])
        run(capsys, "undo", folder)
    assert 2400 < means[0] < means[1]


def test_a_payment_that_is_no_part_of_the_price_is_said_so(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, "agreed", folder, "paint", "--amount", "2400", "--supplier", "a shop", "--date", DAY)
    assert "counts against" not in add(capsys, folder, "paint", "100", "--apart")
    assert "€2,400.00 still to pay" in run(capsys, "agreed", folder)
    assert "Say one of them" in add(capsys, folder, "paint", "9", "--apart", "--against", "1", expect=2)


def test_what_was_paid_before_a_price_was_agreed_is_told(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "paint", "300", "--all")
    told = run(capsys, "agreed", folder, "paint", "--amount", "2400", "--supplier", "A Shop", "--date", DAY)
    assert "“Paint, two coats” was closed and is open again." in told
    assert "€300.00 was paid to A Shop for “Paint, two coats” before and comes on top of this price." in told


def test_what_was_paid_beyond_a_price_and_what_comes_back_are_said(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, "agreed", folder, "paint", "--amount", "2400", "--supplier", "a shop", "--date", DAY)
    add(capsys, folder, "paint", "400", "--deposit")
    assert "price agreed, part paid" in run(capsys, "watch", folder, "--trials", "1024")
    told = add(capsys, folder, "paint", "2150")
    assert (
        "It pays the price agreed with a shop for “Paint, two coats” in full, and €150.00 beyond it." in told
    )
    told = add(capsys, folder, "paint", "50", "--refund")
    assert told.startswith(
        "Receipt 3: €50.00 back from a shop on 4\u00a0May\u00a02026, for “Paint, two coats”."
    )


def test_a_closed_line_ends_what_was_agreed_for_it(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "agreed", folder, "paint", "--amount", "2400", "--supplier", "a shop", "--date", DAY)
    told = add(capsys, folder, "paint", "2350", "--all")
    assert (
        "With that ends the price agreed with a shop for “Paint, two coats”; €50.00 of it was not paid."
        in told
    )
    assert "No agreed price is left to pay" in run(capsys, "agreed", folder)


# -- a bank's file


def test_a_column_says_which_payments_are_all(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "list.csv"
    file.write_text(
        "Date,Payee,Amount,Line,Settled\n2026-05-09,Painter,1500.00,paint,yes\n2026-05-04,Painter,500.00,paint,no\n"
        "2026-05-05,Shop,30.00,filler,no\n2026-05-06,Maker,2900.00,kit,\n",
        encoding="utf-8",
    )
    told = run(capsys, "receipt", "import", folder, str(file))
    assert "settled from 'Settled'" in told
    assert "All?" in told
    told = run(capsys, "receipt", "import", folder, str(file), "--enter")
    assert "4 receipts entered" in told
    assert "“Paint, two coats” is closed: nothing more will be paid for it." in told
    assert "More is to come for “Filler”." in told.replace("“Paint, two coats” and ", "")
    lines = watch(capsys, folder)["lines"]
    assert (lines["paint"]["state"], lines["paint"]["paid"]) == ("closed", 2000)
    assert lines["filler"]["more_to_come"] is True
    assert lines["kit"]["settled"]["value"] >= LOOKS_SETTLED["once"]
    run(capsys, "undo", folder)
    assert BuildFolder.at(folder).ledger().line_states() == {}


def test_every_word_that_is_neither_is_named(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "list.csv"
    file.write_text(
        "Date,Payee,Amount,Line,Settled\n2026-05-09,Painter,1500.00,paint,maybe\n2026-05-04,Shop,5.00,fill,perhaps\n",
        encoding="utf-8",
    )
    told = run(capsys, "receipt", "import", folder, str(file), "--enter", expect=2)
    assert "row 2, column Settled: 'maybe'. Write yes" in told
    assert "row 3, column Settled: 'perhaps'. Write yes" in told
    assert "there is no line 'fill'" in told


def test_odd_rows_are_held_back_until_they_are_meant(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, "cannot-happen", folder, "damage", "--date", DAY)
    file = tmp_path / "list.csv"
    file.write_text(
        "Date,Payee,Amount,Line\n2026-05-05,Shop,-10.00,kit\n2026-05-06,Shop,30.00,filler\n"
        "2026-05-07,Shop,-30.00,filler\n2026-05-08,Shop,99.00,damage\n",
        encoding="utf-8",
    )
    bank = ["receipt", "import", folder, str(file), "--spending", "positive"]
    told = run(capsys, *bank)
    assert "more comes back for 'kit' than was paid" in told
    assert "on 4\u00a0May\u00a02026 you said that 'damage' cannot" in told
    assert "2 receipts entered; 2 held back" in run(capsys, *bank, "--enter")
    assert "2 receipts entered" in run(capsys, *bank, "--enter", "--accept", "2", "--accept", "5")


# -- what is odd


def test_odd_receipts_are_asked_about(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    told = add(capsys, folder, "filler", "20", "--refund", expect=2)
    assert "Nothing was paid for “Filler” so far, so nothing can come back. Is that meant?" in told
    add(capsys, folder, "filler", "20")
    told = add(capsys, folder, "filler", "20", expect=2)
    assert "Receipt 1 is the same: a shop, 4\u00a0May\u00a02026, €20.00 for “Filler”. Is that meant?" in told
    told = add(capsys, folder, "filler", "20.50", "--refund", expect=2)
    assert "More comes back for “Filler” than the €20.00 that was paid. Is that meant?" in told
    run(capsys, "cannot-happen", folder, "damage", "--date", DAY)
    told = add(capsys, folder, "damage", "300", expect=2)
    assert (
        "On 4\u00a0May\u00a02026 you said that “Damage” cannot happen, and with this receipt it happened."
        in told
    )
    assert "--sure" in told
    assert len(BuildFolder.at(folder).ledger().list_receipts()) == 1
    assert "“Damage” happened after all." in add(capsys, folder, "damage", "300", "--sure")
    assert "it can no longer" not in run(capsys, "watch", folder, "--trials", "1024")


def test_a_consignments_own_id_means_its_goods(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = BUILD.replace('id = "kit"', 'id = "seats"') + (
        '[[consignment]]\nid = "kit"\nprice = 900\nincoterm = "CIF"\nmode = "sea"\nfreight = 200\n'
        "boxes = [{ length = 200, width = 120, height = 60, weight = 45 }]\n"
    )
    (tmp_path / "build.toml").write_text(text, encoding="utf-8")
    told = json.loads(add(capsys, str(tmp_path), "kit", "900", "--json"))
    assert [split["line"] for split in told["receipt"]["splits"]] == ["kit.goods"]


def test_an_event_that_is_a_share_of_closed_lines_is_asked_about(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    event = 'id = "again"\nname = "Done again"\nchance = 0.3\npercent = 10\nof = ["paint", "filler"]\npaid_too = true\n'
    file = Path(folder) / "build.toml"
    file.write_text(f"{BUILD}[[event]]\n{event}", encoding="utf-8")
    add(capsys, folder, "paint", "2000", "--closes")
    assert watch(capsys, folder)["share_of_closed"] == []  # the filler is open
    add(capsys, folder, "filler", "60", "--closes")
    told = run(capsys, "watch", folder, "--trials", "1024")
    assert "“Done again” is a share of lines that are all closed: can it still happen?" in told
    assert f"If not: forecast cannot-happen {folder} again\n" in told
    run(capsys, "cannot-happen", folder, "again")
    assert watch(capsys, folder)["share_of_closed"] == []


def test_an_event_that_is_a_share_of_unpaid_bills_says_what_is_left_of_them(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    event = 'id = "overrun"\nname = "Shop overruns"\nchance = 0.3\npercent = 10\nof = ["paint", "filler"]\n'
    Path(folder, "build.toml").write_text(f"{BUILD}[[event]]\n{event}", encoding="utf-8")
    assert "is not paid yet" not in run(capsys, "watch", folder, "--trials", "1024")
    add(capsys, folder, "paint", "2000", "--closes")
    told = run(capsys, "watch", folder, "--trials", "1024")
    assert "“Shop overruns” counts on what is not paid yet: about €60 of €2,060.\n" in told
    add(capsys, folder, "filler", "60", "--closes")
    told = run(capsys, "watch", folder, "--trials", "1024")
    assert "“Shop overruns” counts no more: all that it is a share of is paid.\n" in told
    assert watch(capsys, folder)["share_of_unpaid"] == [
        {"id": "overrun", "kind": "event", "unpaid": 0, "of": 2060}
    ]
    assert watch(capsys, folder)["share_of_closed"] == []


def test_what_came_with_the_way_here_is_asked_about_with_the_commands_that_say_so(
    folder: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    late = '[[event]]\nid = "late_delivery"\nname = "Late"\nchance = 0.3\ncost = 90\n'
    Path(folder, "build.toml").write_text(BUILD + late + crate(), encoding="utf-8")
    for name in WAY:
        add(capsys, folder, name, "90", "--closes")
    monkeypatch.chdir(folder)
    told = run(capsys, "watch", "--trials", "1024")
    ruled_out = "forecast cannot-happen crate.storage crate.examination late_delivery"
    assert "Over by now: “Storage at the depot”, “Customs examine crate goods” and “Late”? If so: " in told
    assert f"If so: {ruled_out}\n" in told
    assert watch(capsys, folder)["over_by_now"] == ["crate.storage", "crate.examination", "late_delivery"]
    asked = ["crate.storage", "crate.examination", "late_delivery"]
    said = run(capsys, *ruled_out.split()[1:])
    assert "“Storage at the depot” cannot happen any more." in said
    assert watch(capsys, folder)["over_by_now"] == []
    run(capsys, "undo")  # one entry
    assert watch(capsys, folder)["over_by_now"] == asked
    run(capsys, *ruled_out.split()[1:])
    run(capsys, "cannot-happen", "crate.storage", "--withdraw")
    assert watch(capsys, folder)["lines"]["crate.storage"]["state"] != "closed"


def test_several_events_are_told_of_at_once_and_none_is_taken_for_a_file(
    folder: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    Path(folder, "build.toml").write_text(
        f'{BUILD}[[event]]\nid = "late"\nname = "Late"\nchance = 0.3\ncost = 90\n', encoding="utf-8"
    )
    monkeypatch.chdir(folder)  # FILE is left out
    told = run(capsys, "cannot-happen", "damage", "late", "--date", DAY)
    assert (
        "“Damage” cannot happen any more, as of 4\u00a0May\u00a02026. “Late” cannot happen any more" in told
    )
    states = BuildFolder.at(folder).ledger().event_states()
    assert {name: mark.state for name, mark in states.items()} == dict.fromkeys(
        ("damage", "late"), "cannot-happen"
    )
    run(capsys, "undo")  # one word takes both back
    assert BuildFolder.at(folder).ledger().event_states() == {}
    wrong = run(capsys, "cannot-happen", ".", "late", "hail", expect=2)
    assert "there is no event 'hail'" in wrong
    assert BuildFolder.at(folder).ledger().event_states() == {}  # all of them or none
    both = json.loads(run(capsys, "happened", folder, "late", "damage", "--date", DAY, "--json"))
    assert both["events"] == [
        {"event": name, "state": "happened", "date": DAY} for name in ("late", "damage")
    ]


def test_what_moved_blames_no_closed_line_for_what_an_open_one_did(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "filler", "80", "--closes")
    add(capsys, folder, "paint", "3900", "--more-to-come")
    told = run(capsys, "moved", folder).splitlines()[0]
    assert "Paint, two coats and filler" in told.replace("Filler", "filler")
    assert "paid at least in part: +" in told
    assert "came in dear" not in told


def test_left_alone_lists_what_was_said_and_how_to_say_it(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["left", folder]) == 0
    told = capsys.readouterr().out
    assert told.startswith("Nothing was said to be left to buy of any line.")
    assert "To say it: forecast left " in told
    assert main(["left", folder, "filler", "150"]) == 0
    capsys.readouterr()
    for asked in ([], ["filler"]):
        assert main(["left", folder, *asked]) == 0
        assert "\u201cFiller\u201d: €150.00 still to buy." in capsys.readouterr().out
    assert main(["close", folder, "filler"]) == 0
    capsys.readouterr()
    assert main(["left", folder]) == 0
    assert "Nothing was said to be left" in capsys.readouterr().out


def test_what_is_shared_out_is_told(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    lines = ["--line", "kit", "--line", "paint", "--evenly"]
    assert main(["receipt", "add", folder, "--amount", "99.99", "--supplier", "shop", *lines]) == 0
    told = capsys.readouterr().out
    assert "Shared out: \u201cBody kit\u201d €50.00, \u201cPaint, two coats\u201d €49.99." in told


@pytest.mark.parametrize("supplier", ["Arch Kits", "arch kits ltd.", "ARCH KITS LTD"])
def test_a_legal_form_left_out_makes_no_other_supplier(
    folder: str, capsys: pytest.CaptureFixture[str], supplier: str
) -> None:
    assert main(["agreed", folder, "kit", "--amount", "2900", "--supplier", "Arch Kits Ltd"]) == 0
    paid = ["receipt", "add", folder, "--line", "kit", "--amount", "600", "--deposit", "--supplier"]
    assert main([*paid, supplier]) == 0
    assert "€2,300.00 is still to pay" in capsys.readouterr().out


def test_a_payment_to_another_supplier_than_the_one_agreed_with_is_asked_about(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["agreed", folder, "kit", "--amount", "2900", "--supplier", "Arch Kits Ltd"]) == 0
    paid = ["receipt", "add", folder, "--line", "kit", "--amount", "600", "--supplier", "Freight desk"]
    assert main(paid) == 2
    told = capsys.readouterr().err
    assert (
        "A price for \u201cBody kit\u201d is agreed with Arch Kits Ltd, €2,900.00 of it still to pay" in told
    )
    assert main([*paid, "--apart"]) == 0
    assert main([*paid, "--against", "1", "--sure"]) == 0


def test_the_last_entry_says_what_became_of_a_line_and_not_that_it_was_closed_before(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(capsys, folder, "filler", "40", "--more-to-come")
    add(capsys, folder, "filler", "20")
    told = run(capsys, "undo", folder)
    assert "€20.00 and Filler no longer with more to come" in told
    assert "opened again" not in told
    run(capsys, "close", folder, "filler")
    run(capsys, "reopen", folder, "filler")
    assert "Filler opened again" in run(capsys, "undo", folder)


def test_a_refund_is_not_told_as_paid_in_part(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    add(capsys, folder, "filler", "60", "--more-to-come")
    told = add(capsys, folder, "filler", "20", "--refund")
    assert "Money came back for “Filler”." in told
    assert "paid in part" not in told


@pytest.mark.parametrize("name", ["De Vries", "VRIES", "spuiterij dé vries eindhoven"])
def test_a_supplier_called_as_the_one_with_whom_a_price_is_agreed_is_asked_about(
    folder: str, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    agreed = "Spuiterij De Vries"
    run(capsys, "agreed", folder, "paint", "--amount", "2800", "--supplier", agreed, "--date", DAY)
    paid = ["receipt", "add", folder, "--line", "paint", "--amount", "2800", "--date", DAY, "--supplier"]
    told = run(capsys, *paid, name, expect=2)
    assert f"do you mean {agreed}? From another {name} this comes on top" in told
    assert told.rstrip().endswith(f"If you mean {agreed}, type: --supplier '{agreed}'")
    ledger = BuildFolder.at(folder).ledger()
    assert ledger.list_receipts() == ()
    assert "in full" in run(capsys, *paid, agreed)
    run(capsys, *paid, "De Boer", "--sure")


def test_a_receipt_of_a_day_before_the_price_was_entered_says_so_and_how_it_counts(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    run(
        capsys,
        "agreed",
        folder,
        "paint",
        "--amount",
        "2800",
        "--supplier",
        "Auto Lak",
        "--date",
        "2026-05-20",
    )
    paid = ["receipt", "add", folder, "--line", "paint", "--amount", "2800", "--date", DAY, "--supplier"]
    told = run(capsys, *paid, "auto lak", expect=2)
    assert (
        "The price for “Paint, two coats” is agreed with Auto Lak since 20\u00a0May\u00a02026, which is after the day "
        "of this receipt. So it does not count against that price, €2,800.00 of which is still to pay, but comes on top"
    ) in told
    assert told.rstrip().endswith("To count it against that price: --against 1")
    assert "anybody else" not in told
    assert "in full" in run(capsys, *paid, "auto lak", "--against", "1", "--sure")
    assert "No agreed price is left to pay" in run(capsys, "agreed", folder)
    ledger = BuildFolder.at(folder).ledger()
    assert ledger.paid_by_line("2026-05-19") == {"paint": 280_000}  # a payment like any other until then
    assert ledger.list_commitments("2026-05-19") == ()
    assert json.loads(run(capsys, "watch", folder, "--as-of", "2026-05-19", "--trials", "1024", "--json"))
    run(capsys, "undo", folder)
    run(capsys, *paid, "auto lak", "--apart")  # said to be none of it: nothing to ask
    assert "€2,800.00 still to pay" in run(capsys, "agreed", folder)


SALE = """
[[line]]
id = "resale"
name = "Resale of removed parts"
group = "other"
bought = "BOUGHT"
chance = 0.8
quantity = -1
price = { low = 300, middle = 800, high = 1200 }
"""


@pytest.mark.parametrize("refund", [[], ["--refund"]])
@pytest.mark.parametrize(
    ("bought", "came", "counts", "told"),
    [
        ("once", "500", True, "€500.00 came in, and it counts as what it brings. Close it"),
        ("several", "1200", True, "€1,200.00 came in, and it counts as what it brings. Close it"),
        ("several", "200", False, "€200.00 came in, and it still counts as estimated. Close it"),
    ],
)
def test_what_a_line_of_income_brought_counts_however_it_was_entered(
    folder: str, capsys: pytest.CaptureFixture[str], refund: list[str], bought: str, came: str, counts: bool,
    told: str,
) -> None:  # fmt: skip
    with open(f"{folder}/build.toml", "a", encoding="utf-8") as file:
        file.write(SALE.replace("BOUGHT", bought))
    assert "0.00 from a shop on" in add(capsys, folder, "resale", came, *refund)
    found = watch(capsys, folder)
    shown = run(capsys, "watch", folder, "--trials", "1024")
    assert told in " ".join(shown.split())
    assert "more came back than was paid" not in shown
    assert (values(found["lines"]["resale"]["now"]) == [-float(came)] * 3) is counts


def test_a_sale_is_asked_whether_it_is_all_and_closed_in_words_of_what_comes_in(
    folder: str, capsys: pytest.CaptureFixture[str], person: list[str]
) -> None:
    with open(f"{folder}/build.toml", "a", encoding="utf-8") as file:
        file.write(SALE.replace("BOUGHT", "once"))
    person.append("y")
    closed = "“Resale of removed parts” is closed: nothing more will come in for it."
    assert closed in add(capsys, folder, "resale", "500", "--refund")
    assert person == []
    run(capsys, "reopen", folder, "resale")
    told = run(capsys, "close", folder, "resale", "kit")
    assert closed in told
    assert "“Body kit” is not needed: nothing will be paid for it." in told


def test_a_price_in_foreign_money_comes_to_what_was_planned_where_nothing_else_is_said(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["agreed", folder, "kit", "--amount", "400 000 JPY", "--supplier", "yard"]) == 0
    assert "€2,400.00 still to pay" in capsys.readouterr().out  # at 0.006


@pytest.mark.parametrize("paid_too", [False, True])
def test_a_bill_beyond_its_price_asks_whether_that_was_the_event(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], paid_too: bool
) -> None:
    """A share of what is not paid yet counts no part of the bill; a share of all would count it twice."""
    text = (
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[line]]\nid = "paint"\ngroup = "finish"\n'
        'amount = { low = 900, middle = 2000, high = 4500 }\n[[event]]\nid = "overrun"\nname = "Shop overruns"\n'
        'chance = 0.35\npercent = { low = 8, middle = 18, high = 45 }\nof = ["paint"]\n'
        f"paid_too = {str(paid_too).lower()}\n"
    )
    (tmp_path / "build.toml").write_text(text, encoding="utf-8")
    folder = str(tmp_path)
    asked = (
        "The bill is over the price agreed: “Shop overruns” may have happened, and what it cost is paid here. "
        "Then say that it cannot happen any more, else it counts twice."
        if paid_too
        else "The bill is over the price agreed. “Shop overruns” counts on what is not paid yet alone."
    )
    assert main(["agreed", folder, "paint", "--amount", "2000", "--supplier", "a shop", "--date", DAY]) == 0
    assert asked not in add(capsys, folder, "paint", "500")
    assert asked in add(capsys, folder, "paint", "1900")
    assert main(["happened", folder, "overrun"]) == 0
    assert (
        "If what it cost is in receipts of other lines, close it: nothing more comes"
        in capsys.readouterr().out
    )
    assert main(["happened", folder, "overrun"]) == 2
    assert "you said already that it happened. Nothing changed." in capsys.readouterr().err
    assert main(["close", folder, "overrun"]) == 0
    capsys.readouterr()
    assert main(["watch", folder, "--json"]) == 0
    lines = {line["id"]: line for line in json.loads(capsys.readouterr().out)["lines"]}
    assert lines["overrun"]["now"]["P90"]["value"] == 0


def test_a_price_agreed_says_once_why_it_has_a_range(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert "Extras may still come" not in run(capsys, "watch", folder, "--trials", "1024")
    told = run(capsys, "agreed", folder, "paint", "--supplier", "A shop", "--amount", "2000")
    assert "a fixed price. The forecast still counts with extras in 10 of 100 builds." in told
    told = run(capsys, "watch", folder, "--trials", "1024")
    assert told.count("Extras may still come on a price agreed: in 10 of 100 builds where it is fixed") == 1
    run(capsys, "close", folder, "paint")
    assert "Extras may still come" not in run(capsys, "watch", folder, "--trials", "1024")
