"""What an entry did to P80 is never without a reason, and what a price is off its estimate is its true difference."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.engine import condition
from forecast.engine.statistics import Estimate
from forecast.ledger import Ledger, NewReceipt
from forecast.ledger.undoing import undo_last
from forecast.views.after_entry import AfterEntry, after_entry
from forecast.views.charts.line_charts import LineStanding, estimate_paid_forecast
from forecast.views.moves import EntryReason
from forecast.views.off_estimate import off_in_all
from forecast.views.watch_words import estimate_rows, held_rows, line_figures
from forecast.watching.reasons import moved_by_width
from forecast.watching.reforecast import Reforecast, reforecast
from forecast.watching.settling import enter_receipt, likely_answers
from forecast.words.money import apart, as_written, difference, estimated
from tests.views.saying import why_it_moved

DAY = "2026-05-02"
BUILD = parse_build(
    """\
[build]
name = "Cents"
currency = "EUR"
country = "IE"
estimating = 0.3
[[line]]
id = "kit"
group = "kit"
amount = { low = 500, middle = 695.17, high = 1200 }
[[line]]
id = "clips"
group = "hardware"
amount = { low = 20, middle = 26.38, high = 60 }
[[line]]
id = "filler"
group = "consumables"
bought = "several"
amount = { low = 60, middle = 116, high = 400 }
[[line]]
id = "lamps"
group = "other"
chance = 0.4
amount = { low = 100, middle = 190, high = 300 }
[[line]]
id = "paint"
group = "finish"
bought = "several"
amount = { low = 1500, middle = 2200, high = 4200 }
"""
)


def paid(folder: Path, **sums: int) -> Reforecast:
    """Pay lines in full: minor units by line."""
    ledger = Ledger(folder / "receipts.db", currency="EUR")
    for name, minor in sums.items():
        enter_receipt(ledger, BUILD, NewReceipt(DAY, "A shop", minor, "EUR", ((name, minor),)), {name: True})
    return reforecast(BUILD, ledger, trials=2048)


def read(text: str) -> float:
    return float(re.sub(r"[^0-9.\-]", "", text.replace("\u2212", "-")))


def test_how_far_a_price_is_off_is_the_difference_to_the_cent_everywhere(tmp_path: Path) -> None:
    """Once 739.62 was said to be €39.62 over 695.17, and 30 to be at 26.38."""
    watch = paid(tmp_path, kit=739_62, clips=30_00)
    kit, clips, *_ = watch.lines
    assert line_figures(kit, "EUR")[0] == "€695.17"
    assert line_figures(kit, "EUR")[4] == "+€44.45"
    assert line_figures(clips, "EUR")[0] == "€26.38"
    assert line_figures(clips, "EUR")[4] == "+€3.62"
    for _, estimate, _, ends, _, off, _ in estimate_rows(watch):
        assert not off or read(off) == pytest.approx(read(ends) - read(estimate), abs=0.001)
    assert difference(off_in_all((kit, clips), "EUR"), "EUR") == "+€48.07"
    items = [
        LineStanding(one.id, one.title, one.group, one.estimate, one.paid, *one.now, one.state == "closed")
        for one in (kit, clips)
    ]
    drawn = estimate_paid_forecast(items, "EUR").to_dict()
    assert "2 of them cost more than estimated" in str(drawn["title"])
    assert "€695.17" in str(drawn["datasets"])


def test_the_message_after_a_receipt_has_the_true_difference(tmp_path: Path) -> None:
    before, now = paid(tmp_path, clips=30_00), paid(tmp_path, kit=739_62)
    text = after_entry(before.percentile(0.8), before, now.percentile(0.8), now, "EUR", None, "").whole
    assert "“Kit” came in €44.45 over its middle estimate, rounded: +€40." in text


@pytest.mark.parametrize("sum_of", ["P10", "middle", "P90", "1.1"])
@pytest.mark.parametrize("closed", [True, False])
def test_whatever_is_entered_its_move_has_a_reason(tmp_path: Path, sum_of: str, *, closed: bool) -> None:
    """€128.40 for what was to cost 116 once moved P80 by −€160 without a word of why."""
    start = paid(tmp_path)
    for line in start.lines:
        middle = line.base if line.if_needed is None else line.if_needed
        sums = {"P10": line.before[0], "middle": middle, "P90": line.before[2], "1.1": 1.1 * middle}
        minor = round(100 * sums[sum_of])
        if minor <= 0:
            continue
        ledger = Ledger(tmp_path / f"{line.id}.db", currency="EUR")
        receipt = NewReceipt(DAY, "A shop", minor, "EUR", ((line.id, minor),))
        likely = likely_answers(BUILD, ledger, receipt)
        answers = {line.id: True if closed else likely[line.id].answer}
        enter_receipt(ledger, BUILD, receipt, answers)
        now = reforecast(BUILD, ledger, trials=2048)
        was, is_ = start.percentile(0.8), now.percentile(0.8)
        text = after_entry(was, start, is_, now, "EUR", None, "").whole
        headline, _, why = text.partition(". ")
        assert all(len(sentence.split()) <= 25 for sentence in re.split(r"(?<=\.) ", text)), text
        if "stays at" in headline:
            continue
        told = re.findall(r"(?:^|(?<=\d\. ))([^:]+): ([+−]€[0-9,]+)\.", why)
        assert "“" in why, text
        moved = read(re.findall(r"[+−]€[0-9,]+", headline)[0])
        given = sum(read(amount) for words, amount in told if words != "Rounding")
        assert not told or abs(moved) <= 10 or given / moved >= 0.5, text
        off = minor / 100 - middle
        if off >= 0 and not answers[line.id]:
            assert "is paid in part" not in why, text


def test_what_the_forecast_had_already_is_said_as_that(tmp_path: Path) -> None:
    """It was told as "came in €20 under its middle estimate, where €20 under was expected by then"."""
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    for name, minor in (("kit", 1_390_00), ("paint", 3_900_00)):
        earlier = reforecast(BUILD, ledger, trials=2048)
        receipt = NewReceipt(DAY, "A shop", minor, "EUR", ((name, minor),))
        enter_receipt(ledger, BUILD, receipt, {name: True})
        now = reforecast(BUILD, ledger, trials=2048)
    text = after_entry(earlier.percentile(0.8), earlier, now.percentile(0.8), now, "EUR", None, "").whole
    assert re.search(
        r"“Paint” came in €1,700 over its middle estimate; the forecast had it €\d+ over already: \+€", text
    )
    assert "by then" not in text


def test_a_price_over_its_estimate_that_moves_little_says_what_was_forecast_by_then(tmp_path: Path) -> None:
    """€254 over its middle moved P80 by €50 alone, as it was told to be nearly so dear: that was left out."""
    build = parse_build(
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[line]]\nid = "filler"\ngroup = "consumables"\n'
        'bought = "several"\namount = { low = 60, middle = 116, high = 400 }\n'
    )
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    ledger.add_receipt(DAY, "A shop", 380_00, "EUR", [("filler", 380_00)])
    ledger.expect_more("filler", DAY)
    earlier = reforecast(build, ledger, trials=2048)
    ledger.add_receipt(DAY, "A shop", 90_00, "EUR", [("filler", 90_00)])
    ledger.close_line("filler", DAY)
    now = reforecast(build, ledger, trials=2048)
    own = now.lines[0].now[1] - earlier.lines[0].now[1]
    said = why_it_moved(earlier, now, as_written(own, "EUR"))
    assert said.startswith("“Filler” came in €354 over its middle estimate; the forecast had it €"), said


@pytest.mark.parametrize(("was_error", "is_error"), [(40.0, 120.0), (120.0, 40.0)])
def test_both_levels_of_a_move_read_as_they_read_in_every_other_place(
    was_error: float, is_error: float
) -> None:
    """Each was rounded by the larger error of the two, so that one page showed P80 as €14,340 and as €14,300."""
    was, is_ = Estimate(14_287.0, was_error), Estimate(14_342.0, is_error)
    told = after_entry(was, None, is_, None, "EUR", None, "")
    assert f"from {estimated(was, 'EUR')} to {estimated(is_, 'EUR')}." in told.whole
    assert told.change == as_written(14_342.0, "EUR", is_error) - as_written(14_287.0, "EUR", was_error)


def test_the_rows_of_why_p80_moved_end_in_the_difference_of_both_levels_as_written(tmp_path: Path) -> None:
    watch = paid(tmp_path, kit=739_62)
    was, now = watch.before.percentile(0.8), watch.percentile(0.8)
    change = as_written(now.value, "EUR", now.error) - as_written(was.value, "EUR", was.error)
    assert was.error > 100 > now.error or was.error != now.error
    assert read(held_rows(watch)[-1][4]) == change


def test_what_p80_is_over_a_budget_is_the_difference_of_both_as_written() -> None:
    """P80 of €14,300 was said to be €700 over a budget of €13,550 in one place and €750 in another."""
    assert apart(Estimate(14_287.0, 120.0), 13_550.0, "EUR") == "€750"
    assert apart(Estimate(14_287.0, 40.0), 14_550.0, "EUR") == "€260"


@pytest.mark.parametrize(("name", "minor", "again"), [
    ("kit", 1_390_00, "“Kit” counts at its estimate again: −€"),
    ("kit", 520_00, "“Kit” counts at its estimate again: +€"),
    ("lamps", 290_00, "“Lamps” counts at its estimate again: −€"),
])  # fmt: skip
def test_what_is_taken_back_says_why_p80_moved(tmp_path: Path, name: str, minor: int, again: str) -> None:
    """Closing and reopening a line said why; taking its receipt back said only how far."""
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    earlier = reforecast(BUILD, ledger, trials=2048)
    enter_receipt(ledger, BUILD, NewReceipt(DAY, "A shop", minor, "EUR", ((name, minor),)), {name: True})
    entered = reforecast(BUILD, ledger, trials=2048)
    undo_last(ledger)
    back = reforecast(BUILD, ledger, trials=2048)
    was, is_ = entered.percentile(0.8), back.percentile(0.8)
    told = after_entry(was, entered, is_, back, "EUR", None, "", undone=True)
    assert again in told.whole, told.whole
    assert sum(one.amount for one in told.reasons) == told.change
    assert told.change == -after_entry(earlier.percentile(0.8), earlier, was, entered, "EUR", None, "").change
    assert "came in" not in told.reasons[0].sentence


def test_shortly_is_how_far_what_it_was_and_the_reason_that_moved_it_most() -> None:
    reasons = (
        EntryReason("“Kit” came in over its middle estimate: +€10.", 10.0),
        EntryReason("Your estimates so far came in low, so the open ones are raised: +€400.", 400.0),
        EntryReason("Less can vary now: −€500.", -500.0),
    )
    move = "P80 moved by −€90, from €100 to €10."
    told = AfterEntry(move, -90.0, reasons, "Your budget is now enough.", "EUR")
    first = "“Kit” came in over its middle estimate: +€10."
    raised = "Your estimates so far came in low, so the open ones are raised: +€400."
    assert told.shortly == f"{move} {first} Less can vary now: −€500. {raised}"
    more = replace(told, reasons=(*reasons, EntryReason("“Tax” follows, reckoned from it: +€20.", 20.0)))
    assert more.shortly == f"{move} {first} Less can vary now: −€500. 2 other reasons: +€420."
    assert told.whole.endswith("Your budget is now enough.")
    assert AfterEntry("P80 stays at €10.").shortly == "P80 stays at €10."


def test_a_risk_that_is_open_again_is_all_the_reason_there_is(tmp_path: Path) -> None:
    build = parse_build(
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[line]]\nid = "kit"\ngroup = "kit"\n'
        "amount = { low = 500, middle = 700, high = 1200 }\n"
        '[[event]]\nid = "rust"\nchance = 0.3\ncost = { low = 200, middle = 400, high = 900 }\n'
    )
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    ledger.mark_event("rust", "cannot-happen", DAY)
    earlier = reforecast(build, ledger, trials=2048)
    undo_last(ledger)
    back = reforecast(build, ledger, trials=2048)
    was, is_ = earlier.percentile(0.8), back.percentile(0.8)
    told = after_entry(was, earlier, is_, back, "EUR", None, "", undone=True)
    assert told.change > 0
    assert [one.sentence for one in told.reasons] == ["“Rust” may happen as before."]


def test_what_is_reckoned_from_a_bill_and_from_what_is_open_follows_the_bill_alone(tmp_path: Path) -> None:
    """A tax on kit and freight moved with what a dear freight says of the kit, and no word said that it follows."""
    build = parse_build(
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
        + "".join(
            f'[[line]]\nid = "{name}"\nname = "{name.capitalize()}"\ngroup = "other"\n'
            f"amount = {{ low = {middle * 0.7}, middle = {middle}, high = {middle * 1.6} }}\n"
            for name, middle in (("kit", 3000), ("freight", 1500), ("paint", 4000))
        )
        + '[[line]]\nid = "tax"\nname = "Tax"\ngroup = "import"\npercent = 20\nof = ["kit", "freight"]\n'
    )
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    earlier = reforecast(build, ledger, trials=2048)
    ledger.add_receipt(DAY, "A carrier", 2_500_00, "EUR", [("freight", 2_500_00)])
    ledger.close_line("freight", DAY)
    now = reforecast(build, ledger, trials=2048)
    said = why_it_moved(
        None, now, as_written(now.percentile(0.8).value - earlier.percentile(0.8).value, "EUR")
    )
    assert "“Freight” came in over its middle estimate: +€1,000." in said
    assert "“Tax” follows, reckoned from it: +€200." in said  # a fifth of what the freight is dearer


def test_a_bill_that_ends_a_price_agreed_is_held_against_that_price(tmp_path: Path) -> None:
    """A bill €140 over a fixed price was told as €70 under an estimate that stands between two quotes."""
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.add_commitment(DAY, "A painter", "paint", 1_900_00, "EUR")
    earlier = reforecast(BUILD, ledger, trials=2048)
    ledger.add_receipt(DAY, "A painter", 2_040_00, "EUR", [("paint", 2_040_00)])
    ledger.close_line("paint", DAY)
    now = reforecast(BUILD, ledger, trials=2048)
    moved = as_written(now.percentile(0.8).value, "EUR") - as_written(earlier.percentile(0.8).value, "EUR")
    said = why_it_moved(earlier, now, moved)
    assert said.startswith("“Paint” came in €140 over the price agreed"), said
    assert "estimate" not in said.partition(".")[0]


def test_how_ranges_count_is_told_apart_from_what_can_come_no_dearer(tmp_path: Path) -> None:
    """A price agreed over its middle figure moved P80 by −€1,020, all put down to what three closed lines say."""
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\nestimating = 0.1\n' + "".join(
        f'[[line]]\nid = "l{n}"\ngroup = "other"\namount = {{ low = 500, middle = 1000, high = 2100 }}\n'
        for n in range(16)
    )
    build = parse_build(text)
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    for n in range(5):
        ledger.add_receipt(DAY, "A shop", 1_010_00, "EUR", [(f"l{n}", 1_010_00)])
        ledger.close_line(f"l{n}", DAY)
    earlier = reforecast(build, ledger, trials=4096)
    ledger.add_receipt(DAY, "A shop", 1_020_00, "EUR", [("l5", 1_020_00)])
    ledger.close_line("l5", DAY)
    now = reforecast(build, ledger, trials=4096)
    # against the same draws and facts, with ranges that count as they did before
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(condition, "_width", lambda *_: earlier.width)
        anew = parse_build(f"{text}# what was learnt is kept by the build\n")
        kept = reforecast(anew, ledger, trials=4096)
    moved = now.percentile(0.8).value - kept.percentile(0.8).value
    assert moved < -20
    assert moved_by_width(earlier.now, now.now) == pytest.approx(moved, rel=0.2)
    change = as_written(now.percentile(0.8).value, "EUR") - as_written(earlier.percentile(0.8).value, "EUR")
    said = why_it_moved(earlier, now, change)
    assert "All 6 prices paid lie inside their ranges, so the open ranges count narrower: −€" in said
    assert "It can come no dearer now: −€" in said


@pytest.mark.parametrize(
    ("paid", "said"),
    [
        (
            (1_010, 1_010, 1_010, 2_400, 1_000, 1_000),
            "5 of 6 prices paid lie inside their ranges, so the open",
        ),
        ((2_900, 300, 2_700, 320, 2_800, 2_900), "6 of 6 prices paid lie outside their ranges, so the open"),
    ],
)
def test_how_prices_lie_in_their_ranges_is_counted_where_it_says_why(
    paid: tuple[int, ...], said: str, tmp_path: Path
) -> None:
    build = parse_build(
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\nestimating = 0.1\n'
        + "".join(
            f'[[line]]\nid = "l{n}"\ngroup = "other"\namount = {{ low = 500, middle = 1000, high = 2100 }}\n'
            for n in range(16)
        )
    )
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    earlier = None
    for n, euros in enumerate(paid):
        earlier = reforecast(build, ledger, trials=4096)
        ledger.add_receipt(DAY, "A shop", euros * 100, "EUR", [(f"l{n}", euros * 100)])
        ledger.close_line(f"l{n}", DAY)
    assert earlier is not None
    now = reforecast(build, ledger, trials=4096)
    change = as_written(now.percentile(0.8).value, "EUR") - as_written(earlier.percentile(0.8).value, "EUR")
    assert said in why_it_moved(earlier, now, change)


def test_what_a_price_that_is_taken_back_had_said_of_the_others_is_told(tmp_path: Path) -> None:
    """A fixed price at twice the estimate was taken back, and P80 fell as "less can vary now"."""
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.add_commitment(DAY, "A painter", "paint", 4_900_00, "EUR")
    agreed = reforecast(BUILD, ledger, trials=2048)
    undo_last(ledger)
    back = reforecast(BUILD, ledger, trials=2048)
    told = after_entry(
        agreed.percentile(0.8), agreed, back.percentile(0.8), back, "EUR", None, "", undone=True
    )
    assert "What it said of the other lines counts no more: \u2212€" in told.whole, told.whole
    assert sum(one.amount for one in told.reasons) == told.change
