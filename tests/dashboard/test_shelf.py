"""What is kept for all tabs: worked out once, however many ask, and never more than its bound in bytes."""

from __future__ import annotations

import functools
import threading
import time

import numpy as np
import pytest

from forecast import simulate
from forecast.buildfile.reader import parse_build
from forecast.dashboard.shelf import Shelf, size_of
from tests.decide.sample import SMALL

MEGABYTE = 2**20


def megabytes(count: int) -> np.ndarray:
    return np.zeros(count * MEGABYTE // 8)


def test_ten_who_ask_at_once_wait_for_one_that_works_it_out() -> None:
    shelf, times, got = Shelf(), [], []

    def work() -> object:
        times.append(1)
        time.sleep(0.2)
        return object()

    threads = [threading.Thread(target=lambda: got.append(shelf.get("state", work))) for _ in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(times) == 1
    assert len(got) == 10
    assert len(set(map(id, got))) == 1


def test_no_more_is_kept_than_the_bound_and_what_was_asked_for_last_stays() -> None:
    shelf = Shelf(limit=10 * MEGABYTE)
    for name in "abc":
        shelf.get(name, lambda: megabytes(3))
    shelf.get("a", lambda: pytest.fail("it was kept"))
    shelf.get("d", lambda: megabytes(3))  # b was asked for longest ago
    assert shelf.held() == 9 * MEGABYTE
    for name in "acd":
        shelf.get(name, lambda: pytest.fail("it was kept"))
    again: list[int] = []
    shelf.get("b", lambda: again.append(1))
    assert again == [1]


def test_the_last_one_is_kept_however_large() -> None:
    shelf = Shelf(limit=MEGABYTE)
    shelf.get("small", lambda: megabytes(1))
    shelf.get("large", lambda: megabytes(5))
    shelf.get("large", lambda: pytest.fail("it was kept"))
    assert shelf.held() == 5 * MEGABYTE


def test_no_more_answers_are_kept_than_their_number() -> None:
    shelf = Shelf(most=3)
    for name in "abcd":
        shelf.get(name, lambda: "small")
    again: list[int] = []
    for name in "bcda":
        shelf.get(name, lambda: again.append(1))
    assert again == [1]


def test_what_was_overtaken_waits_for_what_is_still_asked_for() -> None:
    shelf, order, began = Shelf(), [], threading.Event()

    def slow() -> object:
        began.set()
        time.sleep(0.3)
        return 1

    threads = [threading.Thread(target=shelf.get, args=("slow", slow))]
    threads[0].start()
    began.wait()
    for name, old in (("old", True), ("older", True), ("new", False)):
        threads.append(
            threading.Thread(
                target=shelf.get, args=(name, lambda name=name: order.append(name), lambda old=old: old)
            )
        )
        threads[-1].start()
        time.sleep(0.02)
    for thread in threads:
        thread.join()
    assert order == ["new", "old", "older"]


def test_who_is_at_work_may_ask_for_more() -> None:
    shelf = Shelf()
    assert shelf.get("outer", lambda: [shelf.get("inner", lambda: 1), 2]) == [1, 2]


def test_what_grows_while_it_is_kept_counts_as_it_is() -> None:
    shelf = Shelf(limit=10 * MEGABYTE)
    growing = [megabytes(1)]
    shelf.get("growing", lambda: growing)
    growing.append(megabytes(8))
    for number in range(20):
        shelf.get(number, lambda: "small")
    shelf.get("other", lambda: megabytes(2))
    assert shelf.held() == 2 * MEGABYTE


def test_arrays_that_two_answers_share_count_once() -> None:
    shelf, shared = Shelf(limit=10 * MEGABYTE), megabytes(6)
    for name in "ab":
        shelf.get(name, lambda: (shared, 1))
    for name in "ab":
        shelf.get(name, lambda: pytest.fail("it was kept"))


def test_what_fails_is_not_kept_and_the_next_one_tries_again() -> None:
    shelf = Shelf()

    def fails() -> object:
        message = "no"
        raise ValueError(message)

    with pytest.raises(ValueError, match="no"):
        shelf.get("state", fails)
    assert shelf.get("state", lambda: "done") == "done"


def test_a_forecast_weighs_its_trials() -> None:
    forecast = simulate(parse_build(SMALL), trials=1024, keep="rows")
    trials = forecast.trials
    assert trials.rows is not None
    least = trials.rows.nbytes + trials.totals.nbytes + trials.hours.nbytes
    assert least <= size_of(forecast) < 3 * least
    assert size_of([forecast, forecast]) == size_of(forecast)


def test_where_it_ends_goes_before_advice() -> None:
    """What one who saved a receipt waits for is worked out next, although advice was asked for earlier."""
    shelf, order, began = Shelf(), [], threading.Event()

    def slow() -> object:
        began.set()
        time.sleep(0.3)
        return 1

    threads = [threading.Thread(target=lambda: shelf.get("running", slow))]
    threads[0].start()
    assert began.wait(2)
    for name, rank in (("advice", 1), ("where it ends", 0)):
        threads.append(
            threading.Thread(
                target=lambda name=name, rank=rank: shelf.get(name, lambda: order.append(name), rank=rank)
            )
        )
        threads[-1].start()
        time.sleep(0.05)
    for thread in threads:
        thread.join()
    assert order == ["where it ends", "advice"]


def test_what_takes_seconds_lets_in_what_goes_before_it_and_then_goes_on() -> None:
    shelf, order, began, asked = Shelf(), [], threading.Event(), threading.Event()

    def slow() -> object:
        began.set()
        asked.wait(5)
        for day in range(3):
            shelf.give_way()
            order.append(f"day {day}")
        return shelf.get("inner", lambda: "done")  # it has its turn again

    def ask(name: str, rank: int, *, overtaken: bool = False) -> threading.Thread:
        work = functools.partial(order.append, name)
        return threading.Thread(
            target=shelf.get, args=(name, work), kwargs={"overtaken": lambda: overtaken, "rank": rank}
        )

    threads = [threading.Thread(target=shelf.get, args=("slow", slow), kwargs={"rank": 2})]
    threads[0].start()
    began.wait()
    for other in (ask("alike", 2), ask("useless", 0, overtaken=True), ask("first", 0), ask("second", 1)):
        other.start()
        threads.append(other)
        time.sleep(0.02)
    asked.set()
    for thread in threads:
        thread.join()
    assert order == ["first", "second", "day 0", "day 1", "day 2", "alike", "useless"]


def test_who_has_no_turn_has_none_to_give() -> None:
    shelf = Shelf()
    shelf.give_way()
    assert shelf.get("a", lambda: 1) == 1


def test_what_a_page_asks_for_is_worked_out_once_also_where_the_shelf_has_no_room_for_it() -> None:
    """A page of a large build simulated the same forecast fourteen times: each threw the one before off the shelf."""
    shelf, times = Shelf(limit=4 * MEGABYTE), {"now": 0, "before": 0}

    def work(name: str) -> np.ndarray:
        times[name] += 1
        return megabytes(3)

    with shelf.in_hand():
        for _ in range(3):
            for name in times:
                with shelf.in_hand():  # a part of the page, drawn by itself at times
                    shelf.get(name, functools.partial(work, name))
        assert shelf.has("now")
        assert shelf.has("before")
    assert times == {"now": 1, "before": 1}
    assert shelf.held() == 3 * MEGABYTE  # afterwards the bound holds again
    assert not shelf.has("now")
    shelf.get("now", functools.partial(work, "now"))
    assert times == {"now": 2, "before": 1}


def test_what_one_thread_holds_is_not_seen_by_another() -> None:
    shelf, seen = Shelf(limit=MEGABYTE), []
    with shelf.in_hand():
        shelf.get("large", lambda: megabytes(2))
        shelf.get("larger", lambda: megabytes(3))
        other = threading.Thread(target=lambda: seen.append(shelf.has("large")))
        other.start()
        other.join()
    assert seen == [False]


def test_of_what_is_tried_and_changed_again_only_the_newest_is_kept() -> None:
    shelf = Shelf()
    for name in ("first", "second", "third"):
        shelf.get(("forecast", name), lambda: megabytes(1))
        shelf.get(("advice", name, 0.8), lambda: megabytes(1))
        shelf.only_newest("build.toml", name, 2)
    shelf.get(("forecast", "of another build"), lambda: megabytes(1))
    shelf.only_newest("other.toml", "of another build", 2)

    assert not shelf.has(("forecast", "first"))
    assert not shelf.has(("advice", "first", 0.8))
    assert shelf.held() == 5 * MEGABYTE
    shelf.only_newest("build.toml", "second", 2)  # gone back to
    shelf.only_newest("build.toml", "fourth", 2)
    assert shelf.has(("forecast", "second"))
    assert not shelf.has(("forecast", "third"))
