"""Every reader, on some inputs of its structure and some damaged files: the short form of `tests.benchmarks.trust`."""

from __future__ import annotations

import time

import pytest

from forecast.errors import ForecastError
from tests.benchmarks import trust
from tests.benchmarks.readers import READERS, Reader, Sandbox
from tests.benchmarks.trust import WAYS, Tried, portions

SAMPLED = 20


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", READERS)
def test_a_reader_gives_a_result_or_an_error_in_words(name: str, way: str) -> None:
    tried = WAYS[way](name, SAMPLED, 7)

    assert tried.inputs == SAMPLED
    assert tried.wrong == {}


@pytest.mark.parametrize("name", READERS)
def test_what_is_whole_is_read(name: str) -> None:
    box = Sandbox()
    try:
        for sample in READERS[name].samples():
            READERS[name].read(sample, box)
    finally:
        box.end()


def _raises(content: bytes, box: Sandbox) -> object:
    raise ValueError(content)


def _writes(content: bytes, box: Sandbox) -> object:
    box.folder.build_file.write_bytes(content)
    message = "refused"
    raise ForecastError(message)


def _endless(content: bytes, box: Sandbox) -> object:
    start = time.process_time()
    while time.process_time() - start < 0.7:
        pass
    return 1.0


def _wide(content: bytes, box: Sandbox) -> object:
    return len(bytearray(400_000_000))


def _mute(content: bytes, box: Sandbox) -> object:
    raise ForecastError


@pytest.mark.parametrize(
    ("read", "wrong"),
    [
        (_raises, "ValueError in test_trust.py line "),
        (lambda content, box: {"a": [float("nan")]}, "a figure that is not finite"),
        (lambda content, box: (1.0, float("inf")), "a figure that is not finite"),
        (_writes, "changed a file"),
        (_endless, "took too long"),
        (_wide, "took too much memory"),
        (_mute, "an error without words"),
    ],
)
def test_a_reader_that_does_anything_else_is_found(
    read: object, wrong: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(trust, "SECONDS", 0.5 if read is _endless else 60.0)
    kind = READERS["number"]
    fake = Reader(read, lambda: (), kind.structure, writes=True)  # type: ignore[arg-type]
    monkeypatch.setitem(READERS, "fake", fake)
    trial = trust.Trial("fake", "bytes")
    try:
        trial.one(b"12")
    finally:
        trial.box.end()

    [found] = trial.tried.wrong
    assert found.startswith(wrong)


def test_portions_are_the_same_in_every_run_and_go_through_all_readers_alike() -> None:
    jobs = list(portions(100_000, list(READERS)))

    assert jobs == list(portions(100_000, list(READERS)))
    assert len({(way, name) for way, name, _, _ in jobs}) == len(READERS) * len(WAYS)
    assert abs(sum(count for _, _, count, _ in jobs) - 100_000) <= len(READERS) * len(WAYS)
    assert len({(way, name, number) for way, name, _, number in jobs}) == len(jobs)


def test_what_was_tried_adds_up() -> None:
    first, second = (
        Tried("x", "bytes", 1, 2, {"a": 1}, 0.5, 3),
        Tried("x", "bytes", 2, 0, {"a": 1, "b": 2}, 0.1, 9),
    )
    first.add(second)

    assert (first.inputs, first.wrong, first.slowest, first.most) == (9, {"a": 2, "b": 2}, 0.5, 9)
