"""What is worked out in a second process: the same answers, whatever becomes of it, and nothing left of it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Hashable, Iterator
from pathlib import Path
from types import MappingProxyType

import numpy as np
import psutil
import pytest
from streamlit.testing.v1 import AppTest

from forecast.buildfile.reader import parse_build
from forecast.dashboard.aside import MOST, Aside, Errand
from forecast.dashboard.shelf import ASIDE, SHELF
from forecast.decide.again import replay_of
from forecast.decide.firm_up import firm_up, firm_up_of
from forecast.engine.forecast import simulate
from forecast.ledger.folder import BuildFolder
from forecast.start import read_answers, write_build
from forecast.watching.known_facts import forecast_given
from forecast.watching.standing import Record
from tests.dashboard.conftest import Run
from tests.decide.sample import SMALL

MEGABYTE = 2**20
ROOT = Path(__file__).parents[2]
SCENARIOS = ROOT / "scenarios"
DEMOS = sorted(path.parent.name for path in SCENARIOS.glob("*/build.toml"))


class Kept:
    """What was kept, by key."""

    def __init__(self) -> None:
        self.found: dict[Hashable, object] = {}
        self.order: list[Hashable] = []

    def __call__(self, key: Hashable, found: object) -> None:
        self.found[key] = found
        self.order.append(key)


@pytest.fixture
def kept() -> Kept:
    return Kept()


@pytest.fixture
def aside(kept: Kept) -> Iterator[Aside]:
    found = Aside(kept)
    found.start()
    yield found
    found.stop()


def wait_for(true: Callable[[], object], seconds: float = 60.0) -> None:
    until = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < until, "it never came"
        time.sleep(0.02)


def test_the_process_waits_for_a_first_page_and_takes_errands_meanwhile(kept: Kept) -> None:
    drawn = threading.Event()
    held = Aside(kept)
    held.start(drawn)
    try:
        assert held.takes("sum", Errand(sum, ((2, 3),)))
        time.sleep(0.3)
        assert held.pid is None

        drawn.set()

        wait_for(lambda: kept.found)
        assert kept.found == {"sum": 5}
    finally:
        held.stop()


def test_one_that_is_stopped_before_a_first_page_never_starts(kept: Kept) -> None:
    drawn = threading.Event()
    held = Aside(kept)
    held.start(drawn)
    held.stop()
    drawn.set()
    wait_for(lambda: not any(thread.name == "aside" for thread in threading.enumerate()))
    assert held.pid is None


def test_its_answer_is_the_servers_own_to_the_last_digit(
    aside: Aside, kept: Kept, half_way: BuildFolder
) -> None:
    build = half_way.read()
    known = Record.read(half_way.ledger()).standing()
    for given in (None, known):
        now = forecast_given(build, next(iter(build.scenario)), 4_096, 1, given)
        assert aside.takes(("firm-up", given is None), Errand(firm_up_of, (now, build, 0.8)))
        wait_for(lambda given=given: ("firm-up", given is None) in kept.found)  # type: ignore[misc]
        own = firm_up(replay_of(now), build, 0.8, learning=False)
        assert len(own) > 5
        assert kept.found["firm-up", given is None] == own


def test_killed_in_the_middle_the_server_is_told_to_do_it_and_the_next_errand_finds_another(
    aside: Aside, kept: Kept
) -> None:
    assert aside.takes("long", Errand(time.sleep, (60,)))
    wait_for(lambda: aside.at_work)
    first = aside.pid
    assert first is not None
    os.kill(first, signal.SIGKILL)
    wait_for(lambda: not aside.takes("long", Errand(time.sleep, (60,))))
    assert aside.takes("short", Errand(abs, (-3,)))
    wait_for(lambda: kept.found == {"short": 3})
    assert aside.pid != first
    assert not psutil.pid_exists(first)  # nor is it a zombie


def test_what_raises_there_is_left_to_the_server_and_what_prints_is_no_answer(
    aside: Aside, kept: Kept
) -> None:
    aside.takes("raises", Errand(int, ("no number",)))
    wait_for(lambda: not aside.takes("raises", Errand(int, ("no number",))))
    pid = aside.pid
    aside.takes("prints", Errand(print, ("anything",)))
    wait_for(lambda: "prints" in kept.found)
    assert kept.found == {"prints": None}
    assert aside.pid == pid


def test_one_that_cannot_start_or_dies_again_and_again_is_given_up(kept: Kept) -> None:
    for command in (("/nowhere/python",), (sys.executable, "-c", "")):
        broken = Aside(kept, command)
        broken.start()
        for number in range(4):
            wait_for(lambda broken=broken, n=number: not broken.takes(n, Errand(abs, (1,))))  # type: ignore[misc]
        wait_for(lambda broken=broken: not broken.takes("another", Errand(abs, (1,))))  # type: ignore[misc]
        assert broken.pid is None
    assert kept.found == {}


def test_before_it_is_started_and_once_it_is_stopped_the_server_does_all_itself(kept: Kept) -> None:
    aside = Aside(kept)
    assert not aside.takes("early", Errand(abs, (1,)))
    aside.start()
    assert aside.takes("now", Errand(abs, (-1,)))
    wait_for(lambda: "now" in kept.found)
    pid = aside.pid
    assert pid is not None
    aside.stop()
    assert not psutil.pid_exists(pid)
    assert not aside.takes("late", Errand(abs, (1,)))


def test_what_a_newer_state_has_overtaken_is_never_begun_and_no_more_wait_than_the_bound(
    aside: Aside, kept: Kept
) -> None:
    # the process is there: else what waits is given up while it begins, on a machine that has much else to do
    aside.takes("before", Errand(abs, (1,)))
    wait_for(lambda: "before" in kept.found and not aside.at_work)
    kept.order.clear()
    kept.found.clear()
    aside.takes("first", Errand(time.sleep, (1.0,)))
    wait_for(lambda: aside.at_work)
    overtaken = threading.Event()
    aside.takes("old", Errand(abs, (1,)), overtaken.is_set)
    for number in range(MOST + 4):
        aside.takes(number, Errand(abs, (number,)))
        aside.takes("old", Errand(abs, (1,)), overtaken.is_set)
    overtaken.set()
    wait_for(lambda: MOST + 3 in kept.found)
    assert kept.order[0] == "first"
    assert "old" not in kept.found
    assert 0 not in kept.found
    assert len(kept.found) <= 1 + MOST


def test_a_page_is_there_before_what_is_worked_out_beside_it_and_shows_that_as_it_comes(
    run: Run, half_way: BuildFolder, tmp_path: Path
) -> None:
    door = tmp_path / "door"  # who opens it to read waits until another opens it to write
    os.mkfifo(door)
    alone = _list(run(half_way.build_file, "cost"))
    assert alone.startswith("1. ")
    SHELF.forget()
    ASIDE.start()
    try:
        ASIDE.takes("held up", Errand(os.open, (str(door), os.O_RDONLY)))
        wait_for(lambda: ASIDE.at_work)
        app = run(half_way.build_file, "cost")
        assert _coming(app)
        assert _list(app) == ""
        assert app.main.caption[-1].value.startswith("Estimates, never advice")  # the end of the page
        os.close(os.open(door, os.O_WRONLY))
        wait_for(lambda: _list(app.run()))
        assert _list(app) == alone
        assert not _coming(app)

        SHELF.forget()  # and where the second process is killed meanwhile
        ASIDE.takes("held up again", Errand(time.sleep, (600.0,)))
        wait_for(lambda: ASIDE.at_work)
        assert _list(app.run()) == ""
        assert ASIDE.pid is not None
        os.kill(ASIDE.pid, signal.SIGKILL)
        wait_for(lambda: _list(app.run()))
        assert _list(app) == alone
    finally:
        ASIDE.stop()


def _coming(app: AppTest) -> bool:
    return any("It comes by itself" in item.value for item in app.main.caption)


def _list(app: AppTest) -> str:
    return "\n".join(item.value for item in app.main.markdown if item.value.startswith("1. "))


def test_it_ends_with_the_server_however_that_ends(tmp_path: Path) -> None:
    script = (
        "import signal, time\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # a shell's job in the background is deaf to it
        "from forecast.dashboard.aside import Aside, Errand\n"
        "aside = Aside(print)\n"
        "aside.start()\n"
        "aside.takes('long', Errand(time.sleep, (600,)))\n"
        "while not aside.at_work: time.sleep(0.01)\n"
        "time.sleep(1)\n"
        "print(aside.pid, flush=True)\n"
        "time.sleep(600)\n"
    )
    for number in (signal.SIGKILL, signal.SIGTERM, signal.SIGINT):
        server = subprocess.Popen(
            [sys.executable, "-c", script], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        assert server.stdout is not None
        pid = int(server.stdout.readline())
        assert psutil.pid_exists(pid)
        server.send_signal(number)
        server.wait(20)
        server.stdout.close()
        wait_for(lambda pid=pid: _gone(pid), 20)  # type: ignore[misc]


def _gone(pid: int) -> bool:
    try:  # where nobody looks after orphans, what has ended stays in the list
        return psutil.Process(pid).status() == psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return True


def test_it_stays_small_however_much_it_was_given(aside: Aside, kept: Kept) -> None:
    build = parse_build(SMALL)
    now = simulate(build, keep="rows")
    aside.takes("begin", Errand(firm_up_of, (now, build, 0.8)))
    wait_for(lambda: "begin" in kept.found)
    assert aside.pid is not None
    process = psutil.Process(aside.pid)
    before = process.memory_info().rss
    for number in range(8):
        aside.takes(number, Errand(np.sum, (np.ones(30 * MEGABYTE // 8),)))
        wait_for(lambda number=number: number in kept.found)  # type: ignore[misc]
    assert process.memory_info().rss < before + 45 * MEGABYTE
    assert before < 130 * MEGABYTE


@pytest.mark.parametrize("build", [*DEMOS, "guided"])
def test_every_kind_of_build_can_be_worked_out_there(build: str, aside: Aside, kept: Kept) -> None:
    """What could not be sent, as a plan of goods from abroad once could not, ended the second process."""
    text = (
        write_build(read_answers({"country": "NL", "origin": "GB"}))
        if build == "guided"
        else (SCENARIOS / build / "build.toml").read_text("utf-8")
    )
    parsed = parse_build(text)
    forecast = simulate(parsed, trials=1024, keep="rows")
    assert aside.takes("firm up", Errand(firm_up_of, (forecast, parsed, 0.8)))
    wait_for(lambda: "firm up" in kept.found, 20)
    assert kept.found["firm up"] == firm_up_of(forecast, parsed, 0.8)


def test_what_cannot_be_sent_is_worked_out_by_the_server_and_ends_nothing(aside: Aside, kept: Kept) -> None:
    assert aside.takes("no", Errand(len, (MappingProxyType({}),)))
    wait_for(lambda: not aside.takes("no", Errand(len, (MappingProxyType({}),))))
    assert "no" not in kept.found
    pid = aside.pid
    assert aside.takes("yes", Errand(len, ("four",)))
    wait_for(lambda: "yes" in kept.found)
    assert (kept.found["yes"], aside.pid) == (4, pid)
