"""Whether every reader gives a result or a clear error: ``python -m tests.benchmarks.trust [--inputs N] [--json]``.

Each reader of `tests.benchmarks.readers` gets inputs of its structure, made by hypothesis, and whole files with bytes
changed; with ``--atheris`` further ones that atheris finds by what they reach, where that library is installed. For
each input: a result or a `ForecastError` in words, under two seconds of the processor and 200 MB; no file changed by a
refusal; no figure that is not finite. What fails is kept in the folder of ``--kept``.

``--state FILE`` notes each portion that is done, and a run with the same file goes on behind them.
"""

from __future__ import annotations

import argparse
import functools
import importlib.util
import json
import math
import multiprocessing
import os
import random
import resource
import subprocess
import sys
import time
import warnings
import zlib
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings

from forecast.errors import ForecastError
from tests.benchmarks.readers import READERS, Reader, Sandbox, damaged, figures_in

SECONDS, MEGABYTES = 2.0, 200.0
PORTION = 1000
"""Inputs that are tried in one go."""


@dataclass
class Tried:
    """What came of some inputs of one reader.

    Attributes
    ----------
    read, refused : int
        How many gave a result, or an error in words.
    wrong : dict
        How many did anything else, by what.
    slowest, most : float
        Seconds and megabytes of the worst of them.
    """

    reader: str
    way: str
    read: int = 0
    refused: int = 0
    wrong: dict[str, int] = field(default_factory=dict)
    slowest: float = 0.0
    most: float = 0.0

    @property
    def inputs(self) -> int:
        """How many there were."""
        return self.read + self.refused + sum(self.wrong.values())

    def add(self, other: Tried) -> None:
        """Add others of the same reader."""
        self.read += other.read
        self.refused += other.refused
        self.wrong = dict(Counter(self.wrong) + Counter(other.wrong))
        self.slowest, self.most = max(self.slowest, other.slowest), max(self.most, other.most)


class Trial:
    """Gives one input after another to a reader, and notes what comes of it."""

    def __init__(self, name: str, way: str, kept: Path | None = None) -> None:
        self.reader: Reader = READERS[name]
        self.tried = Tried(name, way)
        self.kept = kept
        self.box = Sandbox()
        for sample in self.reader.samples()[:1]:  # what is imported late counts for none of the inputs
            with suppress(ForecastError):
                self.reader.read(sample, self.box)
        self.box.renew()
        self.before = self.box.state()

    def one(self, content: bytes) -> None:
        """Try one input."""
        wrong = ""
        memory, start = _peak(anew=True), time.process_time()
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                result = self.reader.read(content, self.box)
        except ForecastError as error:
            wrong = self._of_refusal(str(error))
            done = "refused"
        except Exception as error:
            step = error.__traceback__
            while step is not None and step.tb_next is not None:
                step = step.tb_next
            at = f"{Path(step.tb_frame.f_code.co_filename).name} line {step.tb_lineno}" if step else ""
            wrong, done = f"{type(error).__name__} in {at}", "wrong"
        else:
            done = "read"
            if not all(map(math.isfinite, figures_in(result))):
                wrong = "a figure that is not finite"
        seconds, grown = time.process_time() - start, _peak() - memory
        self.tried.slowest = max(self.tried.slowest, seconds)
        self.tried.most = max(self.tried.most, grown)
        if seconds > SECONDS:
            wrong = wrong or "took too long"
        if grown > MEGABYTES:
            wrong = wrong or "took too much memory"
        if done == "read" and self.reader.writes:
            self.box.renew()
            self.before = self.box.state()
        elif (self.reader.writes or self.tried.inputs % 50 == 0) and self.box.state() != self.before:
            wrong = wrong or "changed a file"
            self.box.renew()
            self.before = self.box.state()
        if wrong:
            self.tried.wrong[wrong] = self.tried.wrong.get(wrong, 0) + 1
            self._keep(content, wrong)
        elif done == "read":
            self.tried.read += 1
        else:
            self.tried.refused += 1

    def _of_refusal(self, told: str) -> str:
        if not told.strip() or "Traceback" in told:
            return "an error without words"
        return "an error of many pages" if len(told) > 40_000 else ""

    def _keep(self, content: bytes, wrong: str) -> None:
        if self.kept is not None and self.tried.wrong[wrong] <= 3:
            self.kept.mkdir(parents=True, exist_ok=True)
            name = f"{self.tried.reader}-{zlib.crc32(content):08x}".replace(" ", "-")
            (self.kept / name).write_bytes(content)
            (self.kept / f"{name}.txt").write_text(wrong)


_STATUS, _CLEAR = Path("/proc/self/status"), Path("/proc/self/clear_refs")


def _peak(*, anew: bool = False) -> float:
    """Give the most memory that the process had, in megabytes, since it was last asked to begin anew where it can."""
    if anew and os.access(_CLEAR, os.W_OK):
        _CLEAR.write_text("5")  # Linux: begins to measure the peak anew
    if _STATUS.exists():
        found = next((line for line in _STATUS.read_text().splitlines() if line.startswith("VmHWM:")), "")
        if found:
            return int(found.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (
        1 << 20 if sys.platform == "darwin" else 1 << 10
    )


def structured(name: str, count: int, number: int, kept: Path | None = None) -> Tried:
    """Try inputs that have the structure of what a reader reads."""
    trial = Trial(name, "structure", kept)

    @seed(number)
    @settings(
        max_examples=count,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(READERS[name].structure())
    def all_of_them(content: bytes) -> None:
        trial.one(content)

    try:
        all_of_them()
    finally:
        trial.box.end()
    return trial.tried


def with_damage(name: str, count: int, number: int, kept: Path | None = None) -> Tried:
    """Try whole files of which bytes are changed."""
    trial = Trial(name, "bytes", kept)
    chance = random.Random(f"{name}{number}")
    samples = READERS[name].samples()
    try:
        for _ in range(count):
            trial.one(damaged(chance.choice(samples), chance))
    finally:
        trial.box.end()
    return trial.tried


WAYS = {"structure": structured, "bytes": with_damage}


def portions(inputs: int, readers: list[str]) -> Iterator[tuple[str, str, int, int]]:
    """Give way, reader, count and number of each portion: both ways alike, all readers alike."""
    each = max(1, -(-inputs // (len(readers) * len(WAYS))))  # in all as many as asked for at least
    for number in range(-(-each // PORTION)):
        for name in readers:
            for way in WAYS:
                yield way, name, min(PORTION, each - number * PORTION), number


def _portion(job: tuple[str, str, int, int], kept: str) -> tuple[tuple[str, str, int, int], Tried]:
    way, name, count, number = job
    return job, WAYS[way](name, count, number, Path(kept) if kept else None)


def by_coverage(name: str, count: int, kept: str) -> Tried:
    """Let atheris look for inputs that reach new lines; it ends its process, so it gets one of its own."""
    # What is watched has to be imported under watch, so before this module imports it.
    watched = 'import atheris, sys\nwith atheris.instrument_imports(include=["forecast"]):\n'
    watched += "    from tests.benchmarks import trust"
    code = f"{watched}\ntrust.within(sys.argv[1], int(sys.argv[2]), sys.argv[3])"
    command = [sys.executable, "-c", code, name, str(count), kept]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    last = next((line for line in reversed(done.stdout.splitlines()) if line.startswith("{")), None)
    if last is None:
        return Tried(name, "coverage", wrong={f"ended by itself: {done.stderr[-300:]}": 1})
    return Tried(**json.loads(last))


def within(name: str, count: int, kept: str) -> None:
    """Try inputs in a process that atheris watches, print what came of them, and end it."""
    import atheris

    trial = Trial(name, "coverage", Path(kept) if kept else None)

    def one(content: bytes) -> None:
        trial.one(content)
        if trial.tried.inputs >= count:
            trial.box.end()
            print(json.dumps(asdict(trial.tried)), flush=True)
            os._exit(0)

    corpus = trial.box.home / "corpus"
    corpus.mkdir()
    for number, sample in enumerate(READERS[name].samples()):
        (corpus / str(number)).write_bytes(sample)
    atheris.Setup(
        ["trust", f"-runs={count * 2}", "-seed=1", "-max_len=60000", "-rss_limit_mb=0", str(corpus)], one
    )
    atheris.Fuzz()


def run(inputs: int, readers: list[str], kept: str, state: Path | None, processes: int) -> list[Tried]:
    """Try that many inputs on several processors, going on where an earlier run with the same state stopped."""
    found: dict[tuple[str, str], Tried] = {}

    def add(tried: Tried) -> None:
        found.setdefault((tried.reader, tried.way), Tried(tried.reader, tried.way)).add(tried)

    done = set()
    if state is not None and state.exists():
        for line in state.read_text().splitlines():
            noted = json.loads(line)
            done.add(tuple(noted["job"]))
            add(Tried(**noted["tried"]))
    left = [job for job in portions(inputs, readers) if job not in done]
    start, count = time.perf_counter(), 0
    context = multiprocessing.get_context("spawn")
    # The executor of concurrent.futures stands still once its first processes are spent (CPython issue 115634).
    with context.Pool(processes, maxtasksperchild=20) as pool:
        for job, tried in pool.imap_unordered(functools.partial(_portion, kept=kept), left):
            add(tried)
            count += tried.inputs
            if state is not None:
                with state.open("a") as file:
                    file.write(json.dumps({"job": job, "tried": asdict(tried)}) + "\n")
            if sys.stderr.isatty():
                print(
                    f"{count:,} inputs, {count / (time.perf_counter() - start):,.0f} a second",
                    end="\r",
                    file=sys.stderr,
                )
    return [found[key] for key in sorted(found)]


def main() -> int:
    """Print the figures; fail when anything went wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.trust", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print figures as JSON")
    parser.add_argument("--inputs", type=int, default=20_000, metavar="N", help="in all (20000)")
    parser.add_argument(
        "--atheris", type=int, default=0, metavar="N", help="more of each reader, found by atheris"
    )
    parser.add_argument("--reader", action="append", choices=READERS, help="only these")
    parser.add_argument("--kept", default="", metavar="FOLDER", help="where inputs that went wrong are kept")
    parser.add_argument("--state", type=Path, metavar="FILE", help="notes what is done, to go on there")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    readers = options.reader or list(READERS)
    found = run(options.inputs, readers, options.kept, options.state, options.processes)
    if options.atheris and importlib.util.find_spec("atheris") is None:
        print(
            "atheris is not installed: pip install atheris, where there is one for this Python",
            file=sys.stderr,
        )
    elif options.atheris:
        found += [by_coverage(name, options.atheris, options.kept) for name in readers]
    if options.json:
        print(json.dumps([asdict(one) | {"inputs": one.inputs} for one in found], indent=2))
    else:
        print(f"{'':<28}{'inputs':>10}{'read':>10}{'refused':>10}{'wrong':>7}{'slowest':>10}{'most':>9}")
        for one in found:
            wrong = sum(one.wrong.values())
            name = f"{one.reader}, {one.way}"
            print(
                f"{name:<28}{one.inputs:>10,}{one.read:>10,}{one.refused:>10,}{wrong:>7,}{one.slowest:>8.2f} s"
                f"{one.most:>6.0f} MB"
            )
            for what, times in sorted(one.wrong.items(), key=lambda pair: -pair[1])[:10]:
                print(f"    {times:,} × {what}")
        print(
            f"{sum(one.inputs for one in found):,} inputs, {sum(sum(one.wrong.values()) for one in found):,} wrong"
        )
    return 1 if any(one.wrong for one in found) else 0


if __name__ == "__main__":
    sys.exit(main())
