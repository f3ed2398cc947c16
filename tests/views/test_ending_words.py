"""What the end of a build says: reasons that add up to how far it is off P50, and a verdict chance seldom gives."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.ledger import Ledger
from forecast.record.finishing import finish, to_finish
from forecast.views.ending_words import at_least_by_chance, ending_sentences, verdict_sentence
from forecast.views.moves import entry_sentence, moved_sentence, written
from forecast.views.sentences import width_sentence
from forecast.views.settling_words import finish_question, finished_words
from forecast.views.watch_words import reason_rows
from forecast.watching.moved import moved_in_all, what_moved
from forecast.watching.reforecast import Reforecast, reforecast
from forecast.words.money import about, as_written

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


def sums(text: str) -> list[int]:
    return [int(re.sub(r"[^\d−]", "", one).replace("−", "-")) for one in re.findall(r"[+−]€[\d,]+", text)]


@pytest.mark.parametrize(
    ("number", "of", "chance"),
    [(14, 19, 16_664 / 524_288), (9, 9, 1 / 512), (0, 7, 1.0), (5, 5, 1 / 32), (7, 9, 46 / 512)],
)
def test_the_sign_test_is_the_tail_of_the_binomial_distribution(number: int, of: int, chance: float) -> None:
    assert at_least_by_chance(number, of) == chance


@pytest.mark.parametrize(
    ("paid", "said"),
    [
        ((80,) * 8, "Your estimates were high. 8 of 8 lines bought with a range of your own cost less than their "
                    "middle figure, €160 less in all."),
        ((130,) * 8, "Your estimates were low. 8 of 8 lines bought with a range of your own cost more than their "
                     "middle figure, €240 more in all."),
        ((80, 120, 80, 120, 80, 130), "Your estimates were neither high nor low on the whole. 3 of 6 lines bought "
                                      "with a range of your own cost less than their middle figure, €10 more in all."),
        ((90,) * 7 + (400,), "7 of 8 lines bought with a range of your own cost less than their middle figure, yet "
                             "€230 more in all. “Line7” alone cost €400 in place of €100."),
        ((80, 80, 80, 80), ""),
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
    assert width_sentence(watch).startswith("Of 8 lines bought and closed, 6 had a range of their own: ")
    assert verdict_sentence(watch).startswith("Your estimates were high. 6 of 6 lines bought")


def test_the_reasons_add_up_to_how_far_the_end_is_off_p50(tmp_path: Path) -> None:
    ledger, watch = ended(tmp_path, 80, 80, 80, 80, 80)
    moved = moved_in_all(BUILD, ledger)
    assert moved is not None
    start = watch.before.percentile(0.5)
    assert moved.start.p50 == round(100 * start.value)
    text = " ".join(ending_sentences(watch, moved))
    off = re.search(r"It ended €([\d,]+) under P50, \d+\u00a0% of it\.", text)
    assert off is not None
    assert sum(sums(text)) == -int(off[1].replace(",", ""))
    assert (
        int(off[1].replace(",", "")) == int(re.sub(r"\D", "", about(start.value, "EUR", start.error))) - 400
    )
    assert "nothing was paid for 3 lines, −€" in text
    assert "1 risk did not come, −€" in text
    assert "what was bought came in cheaper, −€" in text
    assert all(len(sentence.split()) <= 25 for sentence in re.split(r"(?<=\.) ", text))


def test_an_end_near_p50_has_no_reasons_and_an_open_build_says_nothing(tmp_path: Path) -> None:
    ledger, watch = ended(tmp_path, *(125,) * 8)
    moved = moved_in_all(BUILD, ledger)
    assert abs(watch.paid / watch.before.percentile(0.5).value - 1) < 0.05
    assert ending_sentences(watch, moved) == [verdict_sentence(watch)]
    early = reforecast(BUILD, ledger, as_of=DAY + dt.timedelta(days=3))
    assert ending_sentences(early, moved) == []


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
    assert "8 of 8 lines bought with a range of your own" in verdict_sentence(watch).replace("\u00a0", " ")
    assert " of 8 closed lines, each with a range of its own, " in width_sentence(watch)


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
    assert "given up" not in said


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
    assert ("given up" in said) == others
    assert "Old bumper" not in said.replace("sold on Old bumper", "")
    words = next(step.words for step in written(one).steps if step.part is part)
    assert words == ("Lines given up, and nothing sold" if others else "Nothing sold")


def test_an_end_counts_what_was_not_sold_among_no_lines_unpaid(tmp_path: Path) -> None:
    ledger, _ = ended(tmp_path, 130, 130, 130, build=LIVED)
    watch, one = reforecast(LIVED, ledger), moved_in_all(LIVED, ledger)
    assert one is not None
    text = " ".join(ending_sentences(watch, one)).replace("\u00a0", " ")
    assert "nothing was sold on 1 line, +€" in text
    paid_for_none = re.search(r"nothing was paid for (\d+) line", text)
    dropped = next(part for part in one.parts if part.kind == "scope dropped")
    assert paid_for_none is not None
    assert int(paid_for_none[1]) == len(dropped.because) - 1
    reasons = {row[0]: row[1] for row in reason_rows(watch, 50)}
    assert reasons["Old bumper"] == "nothing was sold"


def test_an_end_tells_risks_that_came_from_those_that_did_not(lived: Ledger, tmp_path: Path) -> None:
    _, watch = ended(tmp_path, 130, 130, 130, build=LIVED)
    one = moved_in_all(LIVED, lived)
    assert one is not None
    text = " ".join(ending_sentences(watch, one)).replace("\u00a0", " ")
    assert re.search(r"2 risks did not come, −€\d", text)
    assert re.search(r"2 risks came, [+−]€\d", text)
    assert "what was sold brought in €320 more than thought, −€" in text
    off = re.search(r"It ended €([\d,]+) under P50", text)
    assert off is not None
    assert sum(sums(text)) == -int(off[1].replace(",", ""))
    parts = {part.kind: part for part in one.parts}
    came = parts["events"].apart
    assert came is not None
    assert set(came.ids) == {"risk0", "risk1"}
    assert came.over == (900 - 500 - 500) * 100
    assert one.start.p50 + sum(part.change.p50 for part in one.parts) == one.end.p50
    told = moved_sentence(one)
    assert "given up" in told
    assert "Risk1" not in told.split("given up")[0].split(". ")[-1]
    assert all(len(sentence.split()) <= 25 for sentence in re.split(r"(?<=\.) ", text)), text


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
    text = " ".join(ending_sentences(watch, moved_in_all(LIVED, lived))).replace("\u00a0", " ")
    assert "nothing was paid for 6 lines, −€" in text
    assert "5 of those 6 lines were sure to be needed, €500 at their middle figures; " in text


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


def test_the_count_of_all_lines_bought_stands_beside_that_of_own_ranges(tmp_path: Path) -> None:
    text = LINES.replace("{ low = 60, middle = 100, high = 170 }", "100", 2)
    build = parse_build('[build]\nname = "Two firm"\ncurrency = "EUR"\ncountry = "IE"\n' + text)
    _, watch = ended(tmp_path, 130, 100, *(130,) * 6, build=build)
    said = verdict_sentence(watch).replace("\u00a0", " ")
    assert "6 of 6 lines bought with a range of your own cost more than their middle figure" in said
    assert said.endswith(" Of all 8 lines bought that have an estimate, 7 cost more than it.")


def test_a_risk_that_was_paid_for_is_not_said_to_be_impossible(tmp_path: Path) -> None:
    """Said to have happened it counted in full, so that a small bill lowered what it was to cost."""
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.mark_event("risk0", "happened", DAY)
    earlier = reforecast(LIVED, ledger)
    ledger.add_receipt(DAY, "A shop", 25_000, "EUR", [("risk0", 25_000)])
    ledger.close_line("risk0", DAY)
    now = reforecast(LIVED, ledger)
    change = now.now.percentile(0.8).value - earlier.now.percentile(0.8).value
    said = entry_sentence(earlier, now, as_written(change, "EUR"))
    assert said.startswith("“Risk0” cost less than thought: −€250.")
    assert "cannot happen" not in said
