"""A second process that works out what takes long, so that no page of the server waits its turn behind it.

One process of Python does one thing at a time, however many processors there are. What is sent over is plain (a
function by its name, and its arguments), one errand after the other; what comes back goes where the server keeps its
answers. Where there is no second process, or it died over an errand, the server works that out by itself.
"""

from __future__ import annotations

import atexit
import os
import pickle
import subprocess
import sys
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from contextlib import suppress
from dataclasses import dataclass
from typing import IO, Any

from forecast.dashboard.aside_process import receive, send

MOST = 16
"""Errands that wait at most; who still waits for one that had to give way asks again."""
PATIENCE = 10.0
"""Seconds after which nobody waits for an errand any more who has not asked again."""
_DEATHS = 3
"""So many times it is started again; what kills it that often would do so for ever."""
_HELD_BACK = 20.0  # seconds that it waits at most for a first page
_ENDING = 2.0  # seconds that it may take to end
_FAILED = 64  # errands remembered that it died over


@dataclass
class Errand:
    """What is to be worked out.

    Attributes
    ----------
    work : callable
        A function of a module; what the second process has to import for it stays there.
    arguments : tuple
    """

    work: Callable[..., object]
    arguments: tuple[object, ...]


@dataclass
class _Waiting:
    errand: Errand
    overtaken: Callable[[], bool]
    asked: float

    def dropped(self) -> bool:
        return self.overtaken() or time.monotonic() - self.asked > PATIENCE


class Aside:
    """The second process, and what waits for it.

    Parameters
    ----------
    keep : callable
        Takes the key of an errand and what was found.
    command : sequence of str, optional
        Starts the process.
    """

    def __init__(self, keep: Callable[[Hashable, object], None], command: tuple[str, ...] = ()) -> None:
        self._keep = keep
        self._command = command or (sys.executable, "-P", "-m", "forecast.dashboard.aside_process")
        self._turns = threading.Condition()
        self._open = False
        self._waiting: OrderedDict[Hashable, _Waiting] = OrderedDict()
        self._at: Hashable | None = None
        self._failed: OrderedDict[Hashable, None] = OrderedDict()
        self._process: subprocess.Popen[bytes] | None = None
        self._deaths = 0
        self._when: threading.Event | None = None

    @property
    def pid(self) -> int | None:
        """Number of the process; None where there is none."""
        process = self._process
        return None if process is None else process.pid

    @property
    def at_work(self) -> bool:
        """Whether an errand has begun and is not done."""
        return self._at is not None

    def start(self, when: threading.Event | None = None) -> None:
        """Take errands from now on, and start the process that does them.

        Parameters
        ----------
        when : threading.Event, optional
            The process is not started before: a first page has better use for the processors. It starts all the same
            when that does not come.
        """
        with self._turns:
            if self._open:
                return
            self._open, self._deaths, self._when = True, 0, when
        threading.Thread(target=self._work, name="aside", daemon=True).start()
        # However this program ends: Python must not tear a pipe down that the thread still reads from.
        atexit.register(self.stop)

    def stop(self) -> None:
        """End the process; who asks from now on works it out alone."""
        atexit.unregister(self.stop)
        with self._turns:
            self._open = False
            self._waiting.clear()
            self._turns.notify_all()
        self._end()

    def takes(self, key: Hashable, errand: Errand, overtaken: Callable[[], bool] = lambda: False) -> bool:
        """Take an errand, or tell that it is on its way already; False where who asks has to work it out alone.

        Parameters
        ----------
        key : hashable
            All that the answer depends on.
        errand : Errand
        overtaken : callable
            Tells whether a newer state has made the answer useless; then it is not begun.
        """
        with self._turns:
            if not self._open or key in self._failed:
                return False
            if key != self._at:
                self._waiting[key] = _Waiting(errand, overtaken, time.monotonic())
                while len(self._waiting) > MOST:
                    self._waiting.popitem(last=False)
                self._turns.notify_all()
            return True

    def _work(self) -> None:
        try:
            while (taken := self._next()) is not None:
                key, errand = taken
                found = self._found(errand)
                del taken, errand  # the arguments are large
                with self._turns:
                    if found is None:
                        self._failed[key] = None
                        while len(self._failed) > _FAILED:
                            self._failed.popitem(last=False)
                    else:
                        self._keep(key, found[0])
                    self._at = None
        finally:
            with self._turns:
                self._open = False

    def _next(self) -> tuple[Hashable, Errand] | None:
        """Wait for an errand that somebody still waits for; None once it is over."""
        while True:
            if self._open and self._process is None and not self._begin():
                return None
            with self._turns:
                while self._open and not self._waiting:
                    self._turns.wait()
                if not self._open:
                    return None
                key, waiting = self._waiting.popitem(last=False)
                if not waiting.dropped():
                    self._at = key
                    return key, waiting.errand

    def _found(self, errand: Errand) -> tuple[object] | None:
        """Have an errand done; None where it could not be."""
        process = self._process
        if process is None:  # it was stopped meanwhile
            return None
        try:
            try:
                send(_pipe(process.stdin), (errand.work, errand.arguments))
            except (TypeError, AttributeError):  # it cannot be sent: nothing of it went down the pipe
                return None
            well, found = receive(_pipe(process.stdout))
        except (OSError, EOFError, ValueError, pickle.PickleError):
            self._deaths += 1
            self._end()
            return None
        return (found,) if well else None

    def _begin(self) -> bool:
        """Start the process; tell whether there is one."""
        if self._deaths >= _DEATHS:
            return False
        if self._when is not None:
            self._when.wait(_HELD_BACK)
            self._when = None
            if not self._open:  # it was stopped meanwhile
                return False
        alone: dict[str, Any] = {"start_new_session": True}  # Ctrl-C in the terminal is the server's
        if sys.platform == "win32":
            alone = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
        variables = os.environ | {
            "PYTHONPATH": os.pathsep.join(one or os.getcwd() for one in sys.path),
            "OPENBLAS_NUM_THREADS": "1",
            "MALLOC_ARENA_MAX": "1",
        }
        try:
            self._process = subprocess.Popen(
                self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                env=variables, **alone,
            )  # fmt: skip
        except OSError:
            return False
        if not self._open:  # it was stopped meanwhile
            self._end()
        return True

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        process.terminate()
        try:
            process.wait(_ENDING)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        for pipe in (process.stdin, process.stdout):
            with suppress(OSError):
                _pipe(pipe).close()


def _pipe(pipe: IO[bytes] | None) -> IO[bytes]:
    assert pipe is not None  # it was asked for
    return pipe
