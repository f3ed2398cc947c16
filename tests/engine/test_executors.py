"""The same figures to the last bit whoever evaluates the blocks: threads, processes, a Dask cluster."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context

import numpy as np
import pytest

from forecast import KnownFacts
from forecast.engine.forecast import Forecast, simulate
from forecast.engine.known import Agreed, PartPaid
from tests.benchmarks.models import sized_build

BUILD = sized_build(20)
TRIALS = 65_536  # four jobs


@contextmanager
def dask() -> Iterator[Executor]:
    """Start a cluster of two workers on this machine, and give its own executor."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what starting a cluster warns of is not ours
        from distributed import Client, LocalCluster

        cluster = LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
        )
        with cluster, Client(cluster) as client:
            yield client.get_executor()


def process_pool(workers: int) -> Executor:
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"))


def same(one: Forecast, other: Forecast) -> None:
    assert np.array_equal(one.trials.totals, other.trials.totals)
    assert np.array_equal(one.trials.gates, other.trials.gates)
    assert np.array_equal(one.trials.moments.first, other.trials.moments.first)
    assert one.percentile_set((0.1, 0.5, 0.8, 0.9)) == other.percentile_set((0.1, 0.5, 0.8, 0.9))
    assert one.lines == other.lines
    assert one.trials.rows is not None
    assert other.trials.rows is not None
    assert np.array_equal(one.trials.rows, other.trials.rows)


@pytest.fixture(scope="module")
def alone() -> Forecast:
    return simulate(BUILD, trials=TRIALS, seed=12)


@pytest.mark.parametrize("workers", [1, 2])
def test_threads(alone: Forecast, workers: int) -> None:
    with ThreadPoolExecutor(workers) as pool:
        same(alone, simulate(BUILD, trials=TRIALS, seed=12, executor=pool))


@pytest.mark.parametrize("workers", [1, 2])
def test_processes(alone: Forecast, workers: int) -> None:
    with process_pool(workers) as pool:
        same(alone, simulate(BUILD, trials=TRIALS, seed=12, executor=pool))


def test_dasks_own_executor_on_a_local_cluster(alone: Forecast) -> None:
    with dask() as executor:
        same(alone, simulate(BUILD, trials=TRIALS, seed=12, executor=executor))


def test_facts_go_along_to_the_workers() -> None:
    known = KnownFacts(
        amounts={"item_0": 120.0},
        part_paid={"item_1": PartPaid(160.0, 0.6)},
        agreed={"item_2": Agreed(140.0, 0.1)},
        gates={"event_0": True},
    )
    mine = simulate(BUILD, trials=TRIALS, seed=12, known=known)
    with ThreadPoolExecutor(2) as pool:
        theirs = simulate(BUILD, trials=TRIALS, seed=12, known=known, executor=pool)
    same(mine, theirs)
    assert mine.trials.weights is not None
    assert theirs.trials.weights is not None
    assert np.array_equal(mine.trials.weights, theirs.trials.weights)
