"""Small answers kept for all tabs: worked out once for each key, and no more of them than the bound."""

from __future__ import annotations

import threading
import time

import pytest

from forecast.dashboard.remembered import remembered


def test_the_first_arguments_decide_and_the_others_only_stand_for_them() -> None:
    asked: list[tuple[str, int, object]] = []

    @remembered(keys=2, most=8)
    def work(name: str, number: int, what: object) -> int:
        asked.append((name, number, what))
        return len(asked)

    assert [work("a", 1, []), work("a", 1, {}), work("a", 2, []), work("b", 1, [])] == [1, 1, 2, 3]


def test_those_asked_for_last_are_kept() -> None:
    asked: list[int] = []

    @remembered(keys=1, most=2)
    def work(number: int) -> None:
        asked.append(number)

    for number in (1, 2, 1, 3, 1, 2):  # the third takes the place of the second
        work(number)
    assert asked == [1, 2, 3, 2]


def test_what_is_raised_is_not_kept() -> None:
    tries: list[None] = []

    @remembered(keys=1, most=2)
    def work(number: int) -> int:
        tries.append(None)
        return 1 // (len(tries) - number)

    with pytest.raises(ZeroDivisionError):
        work(1)
    assert work(1) == 1
    assert len(tries) == 2


def test_many_who_ask_at_once_wait_for_one() -> None:
    begun: list[int] = []

    @remembered(keys=1, most=2)
    def work(number: int) -> int:
        begun.append(number)
        time.sleep(0.05)
        return number

    threads = [threading.Thread(target=work, args=(7,)) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert begun == [7]
