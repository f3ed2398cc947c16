"""What the end of a build says: reasons that add up to how far it is off P50, and a verdict chance seldom gives."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.engine.forecast import simulate
from forecast.ledger import Ledger
from forecast.record.finishing import finish, to_finish
from forecast.views.ending_words import at_least_by_chance, bought, ending_sentences, verdict_sentence
from forecast.views.moves import moved_sentence, written
from forecast.views.off_estimate import off_in_all
from forecast.views.sentences import watch_sentence, width_sentence
from forecast.views.settling_words import finish_question, finished_words
from forecast.views.watch_words import estimate_rows, held_rows
from forecast.watching.moved import what_moved
from forecast.watching.reforecast import Reforecast, reforecast
from forecast.words.money import about, as_written
from tests.views.saying import why_it_moved

DAY = dt.date(2026, 3, 2)
LINES = "".join(
    f"""
[[line]]
id = "line{number}"
group = "hardware"
bought = "once"
amount = {{ low = 60, middle = 100, high = 170 }}
"""
    for number in range(8)
)
EVENT = """
[[event]]
id = "damage"
chance = 0.4
cost = { low = 200, middle = 500, high = 900 }
"""
BUILD = parse_build('[build]\nname = "Eight lines"\ncurrency = "EUR"\ncountry = "IE"\n' + LINES + EVENT)


def ended(folder: Path, *sums: int, build: Build = BUILD) -> tuple[Ledger, Reforecast]:
    ledger = Ledger(folder / "receipts.db", currency="EUR")
    for number, paid in enumerate(sums):
        line = f"line{number}"
        ledger.add_receipt(DAY + dt.timedelta(days=number), "A shop", 100 * paid, "EUR", [(line, 100 * paid)])
    finish(ledger, build, day=DAY + dt.timedelta(days=30))
    return ledger, reforecast(build, ledger)


@pytest.mark.parametrize(
    ("number", "of", "chance"),
    [(14, 19, 16_664 / 524_288), (9, 9, 1 / 512), (0, 7, 1.0), (5, 5, 1 / 32), (7, 9, 46 / 512)],
)
def test_the_sign_test_is_the_tail_of_the_binomial_distribution(number: int, of: int, chance: float) -> None:
    assert at_least_by_chance(number, of) == chance


@pytest.mark.parametrize(
    ("paid", "said"),
    [
        ((80,) * 8, "The 8 lines that you bought cost €640, €160 less than their middle figures. 8 of them cost less: "
                    "the estimates were high."),
        ((130,) * 8, "The 8 lines that you bought cost €1,040, €240 more than their middle figures. 8 of them cost "
                     "more: the estimates were low."),
        ((80, 120, 80, 120, 80, 130), "The 6 lines that you bought cost €610, €10 more than their middle figures: "
                                      "3 cost more, 3 less."),
        ((90,) * 7 + (400,), "The 8 lines that you bought cost €1,030, €230 more than their middle figures: 1 cost "
                             "more, 7 less. “Line7” alone cost €400 in place of €100."),
        ((80, 80, 80, 80), "The 4 lines that you bought cost €320, €80 less than their middle figures: none cost "
                           "more, 4 less."),
        ((100,), "The line that you bought cost €100, as much as its middle figure."),
    ],
)  # fmt: skip
def test_estimates_are_called_high_or_low_only_where_number_and_money_bear_it(
    tmp_path: Path, paid: tuple[int, ...], said: str
) -> None:
    _, watch = ended(tmp_path, *paid)
    assert verdict_sentence(watch).replace("\u00a0", " ") == said


def test_a_bill_that_nobody_told_of_is_no_estimate_to_judge(tmp_path: Path) -> None:
    text = '[build]\nname = "Bills"\ncurrency = "EUR"\ncountry = "IE"\n' + LINES.replace(
        "{ low = 60, middle = 100, high = 170 }", "0", 2
    )
    _, watch = ended(tmp_path, 300, 300, 80, 80, 80, 80, 80, 80, build=parse_build(text))
    assert len(watch.closed_with_range) == len(watch.judged_lines) == 6
    assert width_sentence(watch).startswith(
        "None of 6 lines bought and closed, each with a range, came in outside it"
    )
    assert verdict_sentence(watch).startswith("The 6 lines that you bought cost €480, €120 less than")
    assert "€600 went on 2 bills that nobody foresaw." in ending_sentences(watch)


def read(text: str) -> float:
    return float(re.sub(r"[^\d.−]", "", text).replace("−", "-"))


def test_the_end_of_half_a_dozen_prices_over_their_middles_is_told_in_one_direction(tmp_path: Path) -> None:
    """It said "neither high nor low", "€1,480 more in all", "17 prices in place of ranges, −€300" in one paragraph."""
    extra = "".join(
        f'[[line]]\nid = "spare{number}"\ngroup = "other"\namount = {{ low = 200, middle = 300, high = 600 }}\n'
        for number in range(20)
    )
    maybe = '[[line]]\nid = "lamps"\nchance = 0.5\ngroup = "other"\namount = { low = 90, middle = 150, high = 300 }\n'
    bill = '[[line]]\nid = "surcharge"\ngroup = "other"\namount = 0\n'
    build = parse_build(
        '[build]\nname = "Lived"\ncurrency = "EUR"\ncountry = "IE"\n' + LINES + EVENT + extra + maybe + bill
    )
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.add_receipt(DAY, "Port", 85_20, "EUR", [("surcharge", 85_20)])
    _, watch = ended(tmp_path, 130, 120, 145, 130, 110, 95, build=build)
    told = " ".join(ending_sentences(watch))
    assert told.startswith(
        "The 6 lines that you bought cost €730, €130 more than their middle figures: 5 cost more, 1 less. "
        "€85.20 went on 1 bill that nobody foresaw. "
        "Nothing was paid for 23 lines: 22 sure to be needed, €6,200 at their middle figures, and 1 perhaps. "
        "P50 had counted about €"
    )
    half, eight = (as_written(one.value, "EUR", one.error) for one in watch.before.percentile_set((0.5, 0.8)))
    counted, under, below = (
        read(re.findall(pattern, told)[0])
        for pattern in (
            r"had counted about (€[\d,]+) for them, 1 risk",
            r"about (€[\d,]+) under P50",
            r"about (€[\d,]+) under P80",
        )
    )
    assert under == half - as_written(watch.paid, "EUR")
    assert below == eight - as_written(watch.paid, "EUR")
    assert counted - under == pytest.approx(
        130 + 85.20, abs=6
    )  # what is counted less what was over: the one end
    assert off_in_all(bought(watch), "EUR") == 130
    assert "range" not in told
    assert all(len(sentence.split()) <= 25 for sentence in re.split(r"(?<=\.) ", told)), told
    moved = moved_sentence(what_moved(build, ledger))
    assert "6 lines settled €130 over their estimates, in part allowed for: +€" in moved


def test_an_open_build_says_nothing(tmp_path: Path) -> None:
    ledger, watch = ended(tmp_path, *(125,) * 8)
    assert ending_sentences(watch)[0] == verdict_sentence(watch)
    assert ending_sentences(reforecast(BUILD, ledger, as_of=DAY + dt.timedelta(days=3))) == []


def test_nothing_is_said_to_have_been_learnt_of_what_is_over(tmp_path: Path) -> None:
    """Bills that came cheap lowered what was open, and giving that up then took away less: one thing told twice."""
    ledger, _ = ended(tmp_path, 80, 80, 80, 80, 80)
    moved = what_moved(BUILD, ledger)
    parts = {part.kind: part.change for part in moved.parts}
    assert (parts["learning"].p50, parts["learning"].p80) == (0, 0)
    assert moved.start.p50 + sum(part.p50 for part in parts.values()) == moved.end.p50 == 40_000
    assert "still open" not in moved_sentence(moved)
    early = what_moved(BUILD, ledger, until=DAY + dt.timedelta(days=8))
    assert {part.kind: part.change.p50 for part in early.parts}["learning"] < 0


def test_both_verdicts_count_the_same_lines(tmp_path: Path) -> None:
    """An event that came and was paid has a range too, and is no line."""
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.add_receipt(DAY, "A shop", 60_000, "EUR", [("damage", 60_000)])
    _, watch = ended(tmp_path, *(80,) * 8)
    assert [line.kind for line in watch.closed_with_range].count("event") == 1
    assert verdict_sentence(watch).startswith("The 8 lines that you bought cost ")
    assert " of 8 lines bought and closed, each with a range, " in width_sentence(watch)
    assert "1 risk came and cost €600, €100 more than thought." in ending_sentences(watch)


SOLD = """
[[line]]
id = "resale"
name = "Old bumper"
group = "other"
bought = "several"
quantity = -1
price = { low = 260, middle = 880, high = 2600 }
chance = 0.8
"""
RISKS = "".join(EVENT.replace("damage", f"risk{number}") for number in range(4))
LIVED = parse_build(
    '[build]\nname = "All of it"\ncurrency = "EUR"\ncountry = "IE"\n' + LINES + SOLD + RISKS
    + '[[line]]\nid = "spare"\ngroup = "other"\nchance = 0.6\namount = { low = 200, middle = 300, high = 600 }\n'
)  # fmt: skip


@pytest.fixture
def lived(tmp_path: Path) -> Ledger:
    """What was sold brought more than thought, one risk was paid dear, and one happened without a receipt."""
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.add_receipt(DAY, "A buyer", 120_000, "EUR", [("resale", 120_000)], kind="refund")
    ledger.add_receipt(DAY, "A shop", 90_000, "EUR", [("risk0", 90_000)])
    ledger.mark_event("risk1", "happened", DAY)
    return ledger


def test_what_was_sold_is_money_that_came_in_and_no_line_given_up(lived: Ledger) -> None:
    lived.close_line("resale", DAY)
    one = what_moved(LIVED, lived)
    parts = {part.kind: part for part in one.parts}
    assert not parts["scope dropped"].because
    assert parts["scope dropped"].change.p50 == 0
    sold = parts["receipts"].apart
    assert sold is not None
    assert (sold.ids, sold.over) == (("resale",), -32_000)
    assert parts["receipts"].settled == 0
    assert sold.change == parts["receipts"].change
    said = moved_sentence(one)
    assert "Old bumper brought in €320 more than thought" in said
    assert "not needed" not in said


@pytest.mark.parametrize("others", [False, True])
def test_what_was_not_sold_is_told_as_that_and_as_no_line_given_up(tmp_path: Path, *, others: bool) -> None:
    """Nothing comes in for it, so the build costs more; giving up what was to be bought makes it cost less."""
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.close_line("resale", DAY)
    if others:
        ledger.close_line("spare", DAY)
    one = what_moved(LIVED, ledger)
    part = next(part for part in one.parts if part.kind == "scope dropped")
    assert part.apart is not None
    assert (part.apart.ids, part.apart.over) == (("resale",), 88_000)
    assert part.apart.change.mean > 0
    if others:
        assert part.change.mean < part.apart.change.mean  # the spare one saves something
    else:
        assert part.change == part.apart.change
    said = moved_sentence(one)
    assert re.search(r"Nothing was sold on Old bumper: \+€\d", said)
    assert ("not needed" in said) == others
    assert "Old bumper" not in said.replace("sold on Old bumper", "")
    words = next(step.words for step in written(one).steps if step.part is part)
    assert words == ("Lines not needed, and nothing sold" if others else "Nothing sold")


def test_an_end_counts_what_was_not_sold_among_no_lines_unpaid(tmp_path: Path) -> None:
    _, watch = ended(tmp_path, 130, 130, 130, build=LIVED)
    text = " ".join(ending_sentences(watch))
    assert (
        "Nothing was paid for 6 lines: 5 sure to be needed, €500 at their middle figures, and 1 perhaps."
        in text
    )
    assert "4 risks that did not come, 1 line on which nothing was sold and" in text
    reasons = {row[0]: row[1] for row in held_rows(watch, 50)}
    assert reasons["Old bumper"] == "nothing was sold"


def test_an_end_tells_risks_that_came_from_those_that_did_not(lived: Ledger, tmp_path: Path) -> None:
    _, watch = ended(tmp_path, 130, 130, 130, build=LIVED)
    text = " ".join(ending_sentences(watch))
    assert "2 risks came and cost €900, €100 less than thought." in text
    assert "What you sold brought in €320 more than thought." in text
    assert "2 risks that did not come" in text
    assert all(len(sentence.split()) <= 25 for sentence in re.split(r"(?<=\.) ", text)), text
    one = what_moved(LIVED, lived)
    parts = {part.kind: part for part in one.parts}
    came = parts["events"].apart
    assert came is not None
    assert set(came.ids) == {"risk0", "risk1"}
    assert came.over == (900 - 500 - 500) * 100
    assert one.start.p50 + sum(part.change.p50 for part in one.parts) == one.end.p50
    told = moved_sentence(one)
    assert "not needed" in told
    assert "Risk1" not in told.split("not needed")[0].split(". ")[-1]


def test_lines_that_nothing_was_paid_for_are_one_count(lived: Ledger, tmp_path: Path) -> None:
    """The question counts those sure to be needed, the end all of them: both are said beside one another."""
    for number in range(3):
        line = f"line{number}"
        lived.add_receipt(DAY, "A shop", 13_000, "EUR", [(line, 13_000)])
    asked = to_finish(lived, LIVED)
    assert len(asked.never_paid) == 5
    question = finish_question(asked, "EUR").replace("\u00a0", " ")
    assert "5 lines that were sure to be needed: " in question
    assert "“Risk1” happened, and nothing was paid for it." in question
    assert "“Risk1” happened, and nothing was paid for it." in finished_words(asked)
    _, watch = ended(tmp_path, build=LIVED)
    assert "Nothing was paid for 6 lines: 5 sure to be needed, €500 at" in " ".join(ending_sentences(watch))


def test_a_risk_that_cost_more_than_thought_is_not_said_to_have_cost_less(tmp_path: Path) -> None:
    """A wide range lies above its middle figure on average: P80 falls as it goes, though more was paid."""
    text = (
        '[build]\nname = "Rust"\ncurrency = "EUR"\ncountry = "IE"\n'
        + LINES
        + '[[event]]\nid = "rust"\nchance = 0.9\ncost = { low = 600, middle = 2200, high = 9000 }\n'
    )
    build = parse_build(text)
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.add_receipt(DAY, "A shop", 290_000, "EUR", [("rust", 290_000)])
    ledger.close_line("rust", DAY)
    one = what_moved(build, ledger)
    assert next(part for part in one.parts if part.kind == "events").change.p80 < 0
    assert "Rust happened, yet less can vary: −€" in moved_sentence(one)


def test_a_firm_figure_counts_among_what_was_bought(tmp_path: Path) -> None:
    text = LINES.replace("{ low = 60, middle = 100, high = 170 }", "100", 2)
    build = parse_build('[build]\nname = "Two firm"\ncurrency = "EUR"\ncountry = "IE"\n' + text)
    _, watch = ended(tmp_path, 130, 100, *(130,) * 6, build=build)
    assert verdict_sentence(watch).endswith("7 of them cost more: the estimates were low.")


def test_a_risk_that_was_paid_for_is_not_said_to_be_impossible(tmp_path: Path) -> None:
    """Said to have happened it counted in full, so that a small bill lowered what it was to cost."""
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.mark_event("risk0", "happened", DAY)
    earlier = reforecast(LIVED, ledger)
    ledger.add_receipt(DAY, "A shop", 25_000, "EUR", [("risk0", 25_000)])
    ledger.close_line("risk0", DAY)
    now = reforecast(LIVED, ledger)
    change = now.now.percentile(0.8).value - earlier.now.percentile(0.8).value
    said = why_it_moved(earlier, now, as_written(change, "EUR"))
    assert said.startswith("“Risk0” cost less than thought: −€250.")
    assert "cannot happen" not in said


def test_a_line_closed_with_nothing_paid_is_called_not_needed(tmp_path: Path) -> None:
    """It was called closed, as what was paid for is."""
    _, watch = ended(tmp_path, *(130,) * 6)
    states = {row[0]: row[-1] for row in estimate_rows(watch)}
    assert "not needed" in states.values()
    assert {line.title for line in watch.lines if states[line.title] == "not needed"} == {
        line.title for line in watch.lines if line.kind == "line" and not line.paid
    }
    assert all(states[line.title] == "closed" for line in watch.lines if line.paid)


def test_an_end_is_held_against_what_was_frozen_though_a_range_was_put_right_since(tmp_path: Path) -> None:
    """A quote put in half-way changed what "was to be" at the start by 260, and the estimate it was judged by."""
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\nbudget = 900\n' + "".join(
        f'[[line]]\nid = "line{n}"\ngroup = "other"\namount = {{ low = 70, middle = 100, high = 150 }}\n'
        for n in range(5)
    )
    first = parse_build(text)
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.freeze_baseline(
        900_00, "EUR", fingerprint=first.fingerprint(), build_text=text, seed=1, trials=16_384, base_by_line={},
        date=DAY,
    )  # fmt: skip
    other = parse_build(text.replace("middle = 100, high = 150 }", "middle = 140, high = 180 }", 1))
    for n in range(5):
        ledger.add_receipt(DAY + dt.timedelta(days=n + 1), "A shop", 130_00, "EUR", [(f"line{n}", 130_00)])
    finish(ledger, other, day=DAY + dt.timedelta(days=30))
    watch = reforecast(other, ledger)
    eight = simulate(first).percentile(0.8)
    assert watch.before.percentile(0.8).value > eight.value + 10
    assert watch.at_first.percentile(0.8) == eight
    assert f"and {about(eight.value, 'EUR', eight.error)} in 80 of 100 (P80)" in watch_sentence(watch)
    assert [row[1] for row in estimate_rows(watch)] == ["€100"] * 5
    assert "The 5 lines that you bought cost €650, €150 more than their middle figures" in " ".join(
        ending_sentences(watch)
    )
    moved = what_moved(other, ledger)
    assert written(moved).start_p80 == as_written(eight.value, "EUR", eight.error)
