"""What moved between two days: each kind by itself, and all of them adding up."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import simulate
from forecast.ledger import Ledger
from forecast.views.moves import frozen_late_sentence, step_sentences
from forecast.watching.history import history
from forecast.watching.moved import ORDER, Figures, Moved, what_moved
from forecast.watching.reforecast import reforecast
from forecast.words.day_words import long_day
from tests.watching.test_known import BUILD as KNOWN_BUILD
from tests.watching.test_known import DAY, ENTRIES, enter

HEAD = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
estimating = 0
estimating_size = 0
learn_ranges = false
budget = 500
[[cause]]
id = "fit"
[currency.USD]
rate = 0.5
volatility = 0
margin = 0
"""
KIT = '[[line]]\nid = "kit"\ngroup = "kit"\namount = {{ low = {}, middle = 100, high = 150{} }}\n'
FILLER = '[[line]]\nid = "filler"\ngroup = "consumables"\namount = {{ low = 30, middle = 60, high = 90{} }}\n'
DAMAGE = '[[event]]\nid = "damage"\nchance = 0.4\ncost = { low = 20, middle = 50, high = 100 }\n'
SEATS = '[[line]]\nid = "seats"\ngroup = "other"\namount = 70\n'
PLAIN = HEAD + KIT.format(80, "") + FILLER.format("") + DAMAGE
WITH_FIT = ', causes = { fit = "strong" }'
SHARED = HEAD + KIT.format(80, WITH_FIT) + FILLER.format(WITH_FIT) + DAMAGE
BUILD = parse_build(PLAIN)
BEFORE = DAY - timedelta(days=1)
TRIALS = 2048


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR")


def buy(ledger: Ledger, line: str, minor: int, usd: int | None = None) -> None:
    if usd is None:
        ledger.add_receipt(DAY, "somebody", minor, "EUR", [(line, minor)])
    else:
        ledger.add_receipt(DAY, "somebody", usd, "USD", [(line, minor)], paid=(minor, "EUR"))
    ledger.close_line(line, DAY)


def mean_of(text: str, line: str) -> int:
    return next(
        round(100 * one.mean) for one in simulate(parse_build(text), trials=TRIALS).lines if one.id == line
    )


def change(moved: Moved, kind: str) -> Figures:
    return next(part.change for part in moved.parts if part.kind == kind)


def check_sum(moved: Moved) -> None:
    figures = moved.start
    for part in moved.parts:
        figures = figures + part.change
    assert figures == moved.end


def others_are_nothing(moved: Moved, *kinds: str) -> None:
    for part in moved.parts:
        if part.kind not in kinds:
            assert part.change == Figures(0, 0, 0, 0), part


def test_a_dear_receipt_without_shared_causes_moves_its_own_line_only(ledger: Ledger) -> None:
    buy(ledger, "kit", 14_000)
    moved = what_moved(BUILD, ledger, BEFORE, trials=TRIALS)
    assert abs(change(moved, "receipts").mean - (14_000 - mean_of(PLAIN, "kit"))) <= 1
    others_are_nothing(moved, "receipts")
    check_sum(moved)
    assert moved.parts[0].because == (("kit", "Kit"),)


def test_a_worse_rate_than_planned_is_the_currencys_part(ledger: Ledger) -> None:
    buy(ledger, "kit", 14_000, usd=20_000)  # 200 dollars at 0.70, where 0.50 was planned
    moved = what_moved(BUILD, ledger, BEFORE, trials=TRIALS)
    assert change(moved, "currency") == Figures(4_000, 4_000, 4_000, 4_000)
    assert abs(change(moved, "receipts").mean - (10_000 - mean_of(PLAIN, "kit"))) <= 1
    others_are_nothing(moved, "receipts", "currency")
    check_sum(moved)


def test_what_shares_a_cause_moves_as_learning(ledger: Ledger) -> None:
    buy(ledger, "kit", 16_000)
    moved = what_moved(parse_build(SHARED), ledger, BEFORE, trials=TRIALS)
    assert change(moved, "learning").mean > 800
    assert next(part.because for part in moved.parts if part.kind == "learning") == (("fit", "Fit"),)
    assert abs(change(moved, "receipts").mean - (16_000 - mean_of(SHARED, "kit"))) <= 1
    others_are_nothing(moved, "receipts", "learning")
    check_sum(moved)


def test_how_wide_ranges_should_have_been_moves_as_learning(ledger: Ledger) -> None:
    others = "".join(KIT.format(80, "").replace('id = "kit"', f'id = "{name}"') for name in ("hood", "wing"))
    learning = parse_build(PLAIN.replace("learn_ranges = false", "learn_ranges = true") + others)
    for line in ("kit", "hood", "wing"):
        buy(
            ledger, line, 18_000
        )  # far above: the open range, which shares no cause with them, was too narrow as well
    moved = what_moved(learning, ledger, BEFORE, trials=TRIALS)
    assert change(moved, "learning").p90 > 100
    others_are_nothing(moved, "receipts", "learning")
    check_sum(moved)


def test_an_event_that_cannot_happen_takes_its_mean_away(ledger: Ledger) -> None:
    ledger.mark_event("damage", "cannot-happen", DAY)
    moved = what_moved(BUILD, ledger, BEFORE, trials=TRIALS)
    assert abs(change(moved, "events").mean + mean_of(PLAIN, "damage")) <= 1
    others_are_nothing(moved, "events")
    check_sum(moved)


def test_a_line_given_up_is_scope_dropped_and_taken_up_again_scope_added(ledger: Ledger) -> None:
    ledger.close_line("filler", DAY)
    moved = what_moved(BUILD, ledger, BEFORE, trials=TRIALS)
    assert abs(change(moved, "scope dropped").mean + mean_of(PLAIN, "filler")) <= 1
    others_are_nothing(moved, "scope dropped")
    ledger.reopen_line("filler", DAY + timedelta(days=1))
    back = what_moved(BUILD, ledger, DAY, trials=TRIALS)
    assert change(back, "scope added").mean == -change(moved, "scope dropped").mean
    others_are_nothing(back, "scope added")


def test_money_outside_the_estimate_is_scope_added(ledger: Ledger) -> None:
    ledger.add_receipt(DAY, "somebody", 4_321, "EUR", [("winch", 4_321)])
    moved = what_moved(BUILD, ledger, BEFORE, trials=TRIALS)
    assert change(moved, "scope added") == Figures(4_321, 4_321, 4_321, 4_321)
    others_are_nothing(moved, "scope added")


def test_a_changed_build_file_is_told_apart_from_prices(ledger: Ledger) -> None:
    """A line gone, a line new and a range changed since the start, one of them paid in part."""
    before = parse_build(PLAIN + SEATS)
    now = parse_build(
        HEAD + KIT.format(90, "") + DAMAGE + '[[line]]\nid = "winch"\ngroup = "other"\namount = 55\n'
    )
    ledger.add_receipt(DAY, "somebody", 2_000, "EUR", [("seats", 2_000)])
    moved = what_moved(now, ledger, BEFORE, trials=TRIALS, before=before)
    assert [part.kind for part in moved.parts] == list(ORDER)
    assert change(moved, "scope added") == Figures(5_500, 5_500, 5_500, 5_500)
    assert abs(change(moved, "scope dropped").mean + 5_000 + mean_of(PLAIN, "filler")) <= 1
    wider = mean_of(HEAD + KIT.format(90, "") + DAMAGE, "kit") - mean_of(PLAIN, "kit")
    assert abs(change(moved, "estimates").mean - wider) <= 1
    named = {part.kind: [name for name, _ in part.because] for part in moved.parts}
    assert named["scope dropped"] == ["filler", "seats"]
    assert named["estimates"] == ["kit"]
    assert named["scope added"] == ["winch"]
    others_are_nothing(moved, "scope dropped", "estimates", "scope added")
    check_sum(moved)


def test_since_the_freeze_compares_with_the_build_as_it_was_frozen(ledger: Ledger) -> None:
    ledger.freeze_baseline(
        50_000, "EUR", fingerprint="f", build_text=PLAIN, seed=1, trials=16, base_by_line={}, date=BEFORE,
    )  # fmt: skip
    buy(ledger, "kit", 14_000)
    moved = what_moved(parse_build(PLAIN + SEATS), ledger, trials=TRIALS)
    assert moved.since == BEFORE - timedelta(days=1)
    assert change(moved, "scope added").p80 == 7_000
    assert change(moved, "estimates") == Figures(0, 0, 0, 0)
    check_sum(moved)


def test_of_two_frozen_budgets_the_last_one_is_the_start(ledger: Ledger) -> None:
    """The seats were in the build when the budget was frozen again: they are no scope added since."""
    for text, day in ((PLAIN, BEFORE), (PLAIN + SEATS, DAY)):
        ledger.freeze_baseline(
            50_000, "EUR", fingerprint="f", build_text=text, seed=1, trials=16, base_by_line={}, date=day,
        )  # fmt: skip
    moved = what_moved(parse_build(PLAIN + SEATS), ledger, trials=TRIALS)
    assert moved.since == BEFORE
    others_are_nothing(moved)
    assert moved.start == moved.end


def test_what_is_paid_on_the_day_of_the_freeze_has_moved_it(ledger: Ledger) -> None:
    ledger.freeze_baseline(
        50_000, "EUR", fingerprint="f", build_text=PLAIN, seed=1, trials=16, base_by_line={}, date=DAY,
    )  # fmt: skip
    buy(ledger, "kit", 14_000)
    moved = what_moved(BUILD, ledger, trials=TRIALS)
    assert moved.since == BEFORE
    assert abs(change(moved, "receipts").mean - (14_000 - mean_of(PLAIN, "kit"))) <= 1
    told = history(BUILD, ledger, trials=TRIALS)
    assert (told.start.date, round(100 * told.start.p80)) == (moved.since, moved.start.p80)


def test_the_same_start_said_in_full_gives_the_same_answer(ledger: Ledger) -> None:
    ledger.freeze_baseline(
        50_000, "EUR", fingerprint="f", build_text=PLAIN + SEATS, seed=1, trials=16, base_by_line={}, date=DAY,
    )  # fmt: skip
    buy(ledger, "kit", 14_000)
    assert what_moved(BUILD, ledger, BEFORE, trials=TRIALS) == what_moved(BUILD, ledger, trials=TRIALS)


def test_a_freeze_after_buying_began_makes_nothing_unmoved(ledger: Ledger) -> None:
    """Measured before: frozen a day after the kit was bought dear, P80 "did not move"."""
    buy(ledger, "kit", 14_000)
    plain = what_moved(BUILD, ledger, trials=TRIALS)
    ledger.freeze_baseline(
        50_000, "EUR", fingerprint="f", build_text=PLAIN, seed=1, trials=16, base_by_line={},
        date=DAY + timedelta(days=1),
    )  # fmt: skip
    late = what_moved(BUILD, ledger, trials=TRIALS)
    assert late == replace(plain, frozen_late=DAY + timedelta(days=1))
    assert change(late, "receipts").p80 > 1_000
    assert frozen_late_sentence(late).endswith(f"told from the end of {long_day(DAY)}.")
    since = what_moved(BUILD, ledger, DAY, trials=TRIALS)
    others_are_nothing(since)
    assert frozen_late_sentence(since) == ""
    ledger.freeze_baseline(
        60_000, "EUR", fingerprint="f", build_text=PLAIN, seed=1, trials=16, base_by_line={}, date=BEFORE,
    )  # fmt: skip
    assert what_moved(BUILD, ledger, trials=TRIALS).since == BEFORE - timedelta(days=1)


def test_a_move_that_ends_before_the_freeze_starts_before_anything_was_entered(ledger: Ledger) -> None:
    buy(ledger, "kit", 14_000)
    ledger.freeze_baseline(
        50_000, "EUR", fingerprint="f", build_text=PLAIN, seed=1, trials=16, base_by_line={},
        date=DAY + timedelta(days=20),
    )  # fmt: skip
    assert what_moved(BUILD, ledger, until=DAY + timedelta(days=3), trials=TRIALS).since == BEFORE


def test_what_pushed_hardest_stands_first(ledger: Ledger) -> None:
    """The middle figures are 60 for filler and 100 for the kit: 20 cheap and 50 dear."""
    buy(ledger, "filler", 4_000)
    buy(ledger, "kit", 15_000, usd=20_000)
    moved = what_moved(BUILD, ledger, BEFORE, trials=TRIALS)
    named = {part.kind: (part.because, part.pushes) for part in moved.parts}
    assert named["receipts"] == ((("kit", "Kit"), ("filler", "Filler")), (5_000, -2_000))
    assert named["currency"] == ((("USD", "USD"),), (5_000,))  # at the rate planned it was 100


def test_what_prices_come_to_beside_their_estimates_is_counted(ledger: Ledger) -> None:
    """A line that may not be needed stands in no sum before it is: only what it is over its estimate counts."""
    build = parse_build(
        PLAIN.replace("learn_ranges = false\n", "") + SEATS.replace("amount", "chance = 0.4\namount")
    )
    buy(ledger, "filler", 4_000)
    buy(ledger, "seats", 7_500)
    ledger.add_commitment(DAY, "somebody", "kit", 12_000, "EUR")
    moved = what_moved(build, ledger, trials=TRIALS)
    receipts, learning = (
        next(one for one in moved.parts if one.kind == kind) for kind in ("receipts", "learning")
    )
    assert (receipts.settled, receipts.agreed, receipts.over) == (3, 1, -2_000 + 500 + 2_000)
    assert dict(zip((name for name, _ in receipts.because), receipts.pushes, strict=True))["seats"] == 500
    assert learning.closed == 1  # seats are a sum without a range, and the kit is only agreed
    assert moved.begun == DAY
    assert moved.frozen is None


def test_a_sum_paid_that_is_likely_all_counts_in_number_and_sum_alike(ledger: Ledger) -> None:
    buy(ledger, "filler", 4_000)
    ledger.add_receipt(DAY, "somebody", 12_000, "EUR", [("kit", 12_000)])
    build = parse_build(PLAIN.replace('id = "kit"', 'id = "kit"\nbought = "once"'))
    moved = what_moved(build, ledger, trials=TRIALS)
    (receipts,) = (one for one in moved.parts if one.kind == "receipts")
    assert (receipts.settled, receipts.likely, receipts.over) == (2, 1, -2_000 + 2_000)


def test_it_is_known_whether_the_rate_planned_holds_the_cards_margin(ledger: Ledger) -> None:
    buy(ledger, "kit", 15_000, usd=20_000)
    for margin, over in ((0, 5_000), (10, 4_000)):  # 200 dollars at 0.50, or at 0.55
        build = parse_build(PLAIN.replace("margin = 0", f"margin = {margin}"))
        (part,) = (one for one in what_moved(build, ledger, trials=TRIALS).parts if one.kind == "currency")
        assert (part.with_margin, part.pushes) == (margin > 0, (over,))


def test_what_a_consignment_costs_if_something_happens_was_planned_without_the_cards_margin(
    ledger: Ledger,
) -> None:
    """As its lines are: the freight back, 100 dollars at 0.50, came as it was planned."""
    parcel = (
        '[[consignment]]\nid = "parcel"\nprice = 300\ncurrency = "USD"\nincoterm = "DAP"\nmode = "courier"\n'
        "returned = { chance = 0.1, freight = 100 }\n"
    )
    build = parse_build(PLAIN.replace("margin = 0", "margin = 10") + parcel)
    buy(ledger, "parcel.returned", 5_000, usd=10_000)
    (part,) = (one for one in what_moved(build, ledger, trials=TRIALS).parts if one.kind == "currency")
    assert (part.with_margin, part.pushes) == (False, (0,))


@pytest.mark.parametrize(
    ("charged", "unused", "said"),
    [
        (10_000, True, "Less of the card's margin on USD was charged than planned: −€10."),
        (10_200, True, "Less of the card's margin on USD was charged than planned: −€10."),
        (9_800, False, "USD came cheaper than planned, card's margin in both: −€10."),
        (11_500, False, "USD came dearer than planned, card's margin in both: +€10."),
    ],
)
def test_a_margin_that_was_not_charged_is_no_cheaper_currency(
    ledger: Ledger, charged: int, unused: bool, said: str
) -> None:
    """200 dollars were planned at 0.50, and with the card's 10 % at 0.55."""
    buy(ledger, "kit", charged, usd=20_000)
    moved = what_moved(parse_build(PLAIN.replace("margin = 0", "margin = 10")), ledger, trials=TRIALS)
    (part,) = (one for one in moved.parts if one.kind == "currency")
    assert part.margin_unused is unused
    (told,) = (one for one in step_sentences(moved) if "USD" in one)
    assert re.sub(r"\d+", "10", told) == said


def test_a_frozen_text_that_can_no_longer_be_read_does_no_harm(ledger: Ledger) -> None:
    ledger.freeze_baseline(
        50_000, "EUR", fingerprint="f", build_text="[[", seed=1, trials=16, base_by_line={}, date=BEFORE,
    )  # fmt: skip
    buy(ledger, "kit", 14_000)
    assert abs(change(what_moved(BUILD, ledger, trials=TRIALS), "receipts").mean) > 0


def test_an_empty_ledger_moves_nothing(ledger: Ledger) -> None:
    moved = what_moved(BUILD, ledger, trials=TRIALS)
    assert moved.start == moved.end
    assert history(BUILD, ledger, trials=TRIALS).points == ()


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ENTRIES)
def test_parts_add_up_and_ends_are_those_of_the_history(
    tmp_path_factory: pytest.TempPathFactory, entries: list[tuple[str, str, int, int]]
) -> None:
    ledger = Ledger(tmp_path_factory.mktemp("ledger") / "r.db", currency="EUR")
    with ledger.together():
        enter(ledger, entries)
    since, until = DAY + timedelta(days=2), DAY + timedelta(days=7)
    moved = what_moved(KNOWN_BUILD, ledger, since, until, trials=256)
    check_sum(moved)
    first, last = history(KNOWN_BUILD, ledger, trials=256, days=[since, until]).points
    assert (round(100 * first.p80), round(100 * first.mean)) == (moved.start.p80, moved.start.mean)
    watch = reforecast(KNOWN_BUILD, ledger, trials=256, as_of=until)
    assert watch.percentile(0.8).value == pytest.approx(last.p80, abs=1e-6)
    if watch.now.trials.effective >= 999:
        assert abs(round(100 * last.p80) - moved.end.p80) <= 1


def test_a_changed_build_and_any_ledger_add_up(tmp_path: Path) -> None:
    now = parse_build(SHARED.replace("middle = 60", "middle = 70") + SEATS)
    for number, since in enumerate((date(2026, 2, 1), DAY)):
        ledger = Ledger(tmp_path / f"{number}.db", currency="EUR")
        buy(ledger, "kit", 13_000, usd=22_000)
        buy(ledger, "seats", 6_500)
        ledger.mark_event("damage", "happened", DAY)
        ledger.close_line("filler", DAY + timedelta(days=2))
        moved = what_moved(now, ledger, since, trials=TRIALS, before=parse_build(PLAIN))
        check_sum(moved)
        watch = reforecast(now, ledger, trials=TRIALS)
        assert round(100 * watch.percentile(0.8).value) == moved.end.p80
