"""The forecast as of any day: the same figures as a re-forecast of that day, and days thinned fairly."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.ledger import Ledger
from forecast.views.watch_words import budgets_sentence
from forecast.watching import history as history_module
from forecast.watching.history import LEAST_DAYS, History, HistoryPoint, days_unasked, history
from forecast.watching.reforecast import reforecast
from tests.watching.test_reforecast import BUILD, TEXT

FIRST = date(2026, 3, 1)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    entries = (
        ("kit", 9_000),
        ("paint", 4_000),
        ("kit", 5_000),
        ("filler", 7_000),
        ("winch", 1_500),
        ("paint", 6_000),
    )
    for number, (line, minor) in enumerate(entries):
        day = FIRST + timedelta(days=number)
        ledger.add_receipt(day, "somebody", minor, "EUR", [(line, minor)])
    ledger.close_line("kit", FIRST + timedelta(days=2))
    ledger.close_line("filler", FIRST + timedelta(days=3))
    ledger.mark_event("damage", "cannot-happen", FIRST + timedelta(days=6))
    ledger.freeze_baseline(
        41_000, "EUR", fingerprint="f", build_text=TEXT, seed=1, trials=16, base_by_line={},
        date=FIRST + timedelta(days=1),
    )  # fmt: skip
    return ledger


@pytest.fixture
def told(ledger: Ledger) -> History:
    return history(BUILD, ledger, trials=4096)


def test_each_point_is_a_reforecast_as_of_that_day(ledger: Ledger, told: History) -> None:
    assert len(told.points) == 8
    for point in told.points:
        watch = reforecast(BUILD, ledger, trials=4096, as_of=point.date)
        figures = [estimate.value for estimate in watch.percentile_set((0.1, 0.5, 0.8, 0.9))]
        assert [point.p10, point.p50, point.p80, point.p90] == pytest.approx(figures, abs=1e-6)
        assert point.mean == pytest.approx(watch.mean.value)
        assert (point.paid, point.committed, point.budget) == (watch.paid, watch.committed, watch.budget)
        assert watch.chance_of_overrun is not None
        assert point.chance_of_overrun == pytest.approx(watch.chance_of_overrun.value)
        assert point.contingency_left == pytest.approx(watch.contingency_left)
        assert point.contingency_needed == pytest.approx(watch.contingency_needed(0.8).value)


def test_its_bands_hold_as_many_builds_as_they_say(ledger: Ledger, told: History) -> None:
    for point in told.points:
        watch = reforecast(BUILD, ledger, trials=4096, as_of=point.date)
        edges = [found.value for found in watch.percentile_set((0.025, 0.25, 0.75, 0.975))]
        assert [point.nearly_all[0], *point.half, point.nearly_all[1]] == pytest.approx(edges, rel=1e-9)
        low, high = point.nearly_all
        assert low <= point.p10 <= point.half[0] <= point.p50 <= point.half[1] <= point.p90 <= high
    low, high = told.points[0].nearly_all
    assert low < told.points[0].p10 < told.points[0].half[0] < told.points[0].half[1] < high


def test_it_starts_on_the_day_before_anything_was_entered(told: History) -> None:
    start = told.points[0]
    assert start.date == FIRST - timedelta(days=1)
    assert start.paid == 0
    assert start.budget == 420  # the build file's own, until one is frozen
    assert told.points[2].budget == 410


def test_a_later_entry_leaves_earlier_days_as_they_were(ledger: Ledger, told: History) -> None:
    ledger.add_receipt(FIRST + timedelta(days=9), "somebody", 9_900, "EUR", [("seats", 9_900)])
    assert history(BUILD, ledger, trials=4096).points[:-1] == told.points


def test_of_too_many_days_those_with_most_money_are_taken_and_counted(ledger: Ledger, told: History) -> None:
    # Between first and last, most was entered on the third: 50 for the kit, and 140 that closing it settles.
    few = history(BUILD, ledger, trials=4096, most=3)
    assert few.left_out == 4
    assert [point.date for point in few.points] == [
        FIRST - timedelta(days=1), FIRST, FIRST + timedelta(days=2), FIRST + timedelta(days=6),
    ]  # fmt: skip
    assert few.points[-1] == told.points[-1]
    assert few.days == told.days == tuple(point.date for point in told.points)


def test_an_agreed_price_counts_as_money_of_its_day(ledger: Ledger) -> None:
    ledger.add_commitment(FIRST + timedelta(days=4), "somebody", "winch", 90_000, "EUR")
    few = history(BUILD, ledger, trials=256, most=3)
    assert FIRST + timedelta(days=4) in [point.date for point in few.points]


def test_a_large_build_shows_fewer_days_unasked_and_says_how_far_it_is(tmp_path: Path) -> None:
    lines = "".join(f'[[line]]\nid = "line{n}"\ngroup = "other"\namount = 10\n' for n in range(149))
    build = parse_build(TEXT + lines)
    ledger = Ledger(tmp_path / "many.db", currency="EUR")
    for number in range(60):
        ledger.add_receipt(FIRST + timedelta(days=number), "somebody", 100, "EUR", [("winch", 100)])
    heard: list[tuple[int, int]] = []
    told = history(build, ledger, trials=64, progress=lambda *how_far: heard.append(how_far))
    assert 12 <= len(told.points) - 1 < 25
    assert told.left_out == 60 - (len(told.points) - 1)
    assert heard == [(done, len(told.points)) for done in range(1, len(told.points) + 1)]
    assert history(build, ledger, trials=64, most=1000).left_out == 0


def test_days_gone_by_are_not_forecast_again(
    ledger: Ledger, told: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    earlier: dict[str, HistoryPoint] = {}
    history(BUILD, ledger, trials=4096, earlier=earlier)
    ledger.add_receipt(FIRST + timedelta(days=9), "somebody", 9_900, "EUR", [("seats", 9_900)])
    days: list[object] = []
    real = history_module.known_from
    monkeypatch.setattr(
        history_module,
        "known_from",
        lambda plan, standing, build: days.append(standing.as_of) or real(plan, standing, build),
    )
    again = history(BUILD, ledger, trials=4096, earlier=earlier)
    # The day before is no longer the last one, which is treated apart.
    assert days == [FIRST + timedelta(days=6), FIRST + timedelta(days=9)]
    assert again.points == history(BUILD, ledger, trials=4096).points
    ledger.add_receipt(FIRST + timedelta(days=2), "somebody", 100, "EUR", [("kit", 100)])
    assert (
        history(BUILD, ledger, trials=4096, earlier=earlier).points
        == history(BUILD, ledger, trials=4096).points
    )


def test_days_of_ones_own(ledger: Ledger) -> None:
    wanted = [FIRST + timedelta(days=5), FIRST + timedelta(days=2)]
    assert [point.date for point in history(BUILD, ledger, trials=256, days=wanted).points] == sorted(wanted)


def test_today_draws_on_until_enough_trials_agree(tmp_path: Path) -> None:
    """Rare events that share a cause leave few trials that agree: the last day is as good as a re-forecast."""
    more = "".join(
        f'[[event]]\nid = "rare{number}"\nchance = 0.03\ncauses = {{ fit = 0.9 }}\ncost = 20\n'
        for number in range(3)
    )
    build = parse_build(TEXT + more)
    ledger = Ledger(tmp_path / "rare.db", currency="EUR")
    for number in range(3):
        ledger.mark_event(f"rare{number}", "happened", FIRST)
    told = history(build, ledger, trials=2048)
    watch = reforecast(build, ledger, trials=2048)
    assert watch.now.trials.count > told.trials
    assert told.points[-1].p80 == pytest.approx(watch.percentile(0.8).value, abs=1e-6)
    assert told.points[-1].effective == pytest.approx(watch.now.trials.effective)


def test_receipts_of_one_day_are_told_apart_in_the_order_in_which_they_were_entered(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    ledger.add_receipt(FIRST, "first", 9_000, "EUR", [("kit", 9_000)])
    ledger.add_receipt(FIRST, "second", 5_000, "EUR", [("kit", 5_000)])
    ledger.close_line("kit", FIRST)
    ledger.add_receipt(FIRST, "third", 7_000, "EUR", [("filler", 7_000)])
    ledger.close_line("filler", FIRST)
    ledger.mark_event("damage", "cannot-happen", FIRST + timedelta(days=1))
    told = history(BUILD, ledger, trials=1024, by="receipt")
    assert [(point.supplier, point.paid) for point in told.points] == [
        ("", 0), ("first", 90), ("second", 140), ("third", 210), ("", 210),
    ]  # fmt: skip
    # The kit is closed with its own last receipt, not with the last one of the day.
    other = Ledger(tmp_path / "other.db", currency="EUR")
    other.add_receipt(FIRST, "both", 14_000, "EUR", [("kit", 14_000)])
    other.close_line("kit", FIRST)
    assert told.points[2].p80 == pytest.approx(history(BUILD, other, trials=1024).points[-1].p80)
    by_day = history(BUILD, ledger, trials=1024)
    assert [point.p80 for point in by_day.points] == pytest.approx(
        [told.points[0].p80, told.points[3].p80, told.points[4].p80]
    )


def test_of_many_receipts_the_largest_are_taken(ledger: Ledger) -> None:
    few = history(BUILD, ledger, trials=256, most=3, by="receipt")
    assert few.left_out == 4
    assert few.points[-1].p80 == history(BUILD, ledger, trials=256).points[-1].p80


def test_a_late_freeze_is_a_day_to_choose_and_moves_begin_before_it(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    assert history(BUILD, ledger, trials=256).since is None
    ledger.add_receipt(FIRST, "somebody", 9_000, "EUR", [("kit", 9_000)])
    ledger.add_receipt(FIRST + timedelta(days=9), "somebody", 5_000, "EUR", [("kit", 5_000)])
    assert history(BUILD, ledger, trials=256).start.date == FIRST - timedelta(days=1)
    ledger.freeze_baseline(
        41_000, "EUR", fingerprint=BUILD.fingerprint(), build_text=TEXT, seed=1, trials=16, base_by_line={},
        date=FIRST + timedelta(days=5),
    )  # fmt: skip
    told = history(BUILD, ledger, trials=256)
    assert [point.date.day for point in told.points] == [28, 1, 10]
    assert told.since == told.start.date == FIRST - timedelta(days=1)
    assert told.start.paid == 0
    assert [day.day for day in told.days] == [28, 1, 5, 10]
    assert not told.ranges_changed
    wider = parse_build(TEXT.replace("budget", "hours_per_week = 5\nbudget"))
    assert history(wider, ledger, trials=256).ranges_changed


def test_both_levels_stand_on_the_same_base(told: History) -> None:
    for point in told.points:
        assert point.contingency_needed_p90 - point.contingency_needed == pytest.approx(point.p90 - point.p80)


def test_budgets_of_other_days_are_told(ledger: Ledger, told: History) -> None:
    """A chance of overrun against one budget stood above one against another, and nothing said so."""
    assert budgets_sentence(told, 410).replace("\u00a0", " ") == (
        "Up to 1 Mar 2026 the budget was \u20ac420, from 2 Mar 2026 on \u20ac410: each row\u2019s chance is against "
        "the budget of its day."
    )
    one = replace(told, points=told.points[2:])
    assert budgets_sentence(one, 500).replace("\u00a0", " ") == (
        "Up to 7 Mar 2026 the budget was \u20ac410, now it is \u20ac500: each row\u2019s chance is against the budget "
        "of its day."
    )
    assert budgets_sentence(one, 410) == ""
    none = replace(told, points=tuple(replace(point, budget=None) for point in told.points))
    assert budgets_sentence(none, 410) == ""
    many = [replace(point, budget=400.0 + place) for place, point in enumerate(told.points)]
    assert budgets_sentence(replace(told, points=tuple(many)), 407, "what is left").replace(
        "\u00a0", " "
    ) == (
        "The budget was changed 7 times, from \u20ac400 to \u20ac407: what is left is against the budget of its day."
    )


def test_a_price_agreed_later_on_a_day_does_not_count_before_its_first_receipts(tmp_path: Path) -> None:
    """The first deposit of a day stood at the figures of a price that was agreed that evening."""
    ledgers = [Ledger(tmp_path / f"{name}.db", currency="EUR") for name in ("without", "with")]
    day, line = "2026-05-02", BUILD.line[0].id
    for ledger in ledgers:
        for other in (BUILD.line[1].id, BUILD.line[2].id):
            ledger.add_receipt(day, "Shop", 5_000, "EUR", [(other, 5_000)])
    ledgers[1].add_commitment(day, "Painter", line, 40_000, "EUR")
    first, second = (history(BUILD, ledger, trials=1024, by="receipt").points for ledger in ledgers)
    assert [point.committed for point in second] == [0.0, 0.0, 400.0]
    assert [point.p80 for point in second[:2]] == [point.p80 for point in first[:2]]


def test_a_season_of_receipts_leaves_no_day_out() -> None:
    """A guided build of 141 rows showed 9 of its 21 days on the page, and 14 in the terminal."""
    assert [days_unasked(rows, 21) for rows in (60, 141, 200)] == [33, 21, 21]
    assert days_unasked(153, 200) == 13  # as many as are told in a few seconds
    assert days_unasked(1_100, 21) == LEAST_DAYS
