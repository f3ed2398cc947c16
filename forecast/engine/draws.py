"""Latent scores: what is drawn, and how it stays paired.

Letters: K shared causes, n trials in a replicate, R replicates, N = R n trials in all.

Every replicate is an unbiased sample of its own, so that the spread of a result over replicates is its
simulation error. Within a replicate

- shared causes are a Sobol' sequence, shifted digitally at random (by exclusive or) for each cause;
- every input and every event has its own Latin hypercube column: n equally likely strata, one score in each,
  in an order shuffled by a generator whose state follows from (seed, replicate, id) alone.

So what is drawn for one input never depends on which others there are: a scenario and its variant, a file
before and after an edit, a build before and after a receipt share their draws.

References
----------
[1] McKay, Beckman & Conover (1979), Technometrics 21(2): Latin hypercube sampling.
[2] Owen (1992), JRSS B 54(2), for its variance on sums; L'Ecuyer & Lemieux (2002) for random digital shifts.
[3] Doty-Humphrey, small fast chaotic generator (SFC64), in NumPy; seeded as NumPy does: three words of state, a
    counter of one, twelve outputs dropped.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from forecast.engine.shapes import Array

REPLICATES = 16
"""Replicates of a run."""

_BITS = 30  # of the Sobol' points
_GOLDEN = 0x9E3779B97F4A7C15
_WORD = (1 << 64) - 1


@lru_cache(maxsize=65_536)
def _words(seed: int, name: str) -> tuple[int, int, int]:
    """Give three 64-bit words that follow from a seed and a name."""
    digest = hashlib.sha256(f"{seed}\x1f{name}".encode()).digest()
    return (
        int.from_bytes(digest[:8], "little"),
        int.from_bytes(digest[8:16], "little"),
        int.from_bytes(digest[16:24], "little"),
    )


class Stream:
    """A generator that can be set to the beginning of any named stream in about a microsecond."""

    def __init__(self) -> None:
        self._bits = np.random.SFC64(0)
        self._generator = np.random.Generator(self._bits)

    def at(self, seed: int, replicate: int, name: str) -> np.random.Generator:
        """Give the generator at the start of the stream of (seed, replicate, name)."""
        first, second, third = _words(seed, name)
        third ^= (replicate * _GOLDEN) & _WORD
        self._bits.state = {
            "bit_generator": "SFC64",
            "state": {"state": np.array([first, second, third, 1], dtype=np.uint64)},
            "has_uint32": 0,
            "uinteger": 0,
        }
        self._bits.random_raw(12, output=False)
        return self._generator


@lru_cache(maxsize=64)
def _strata(seed: int, replicate: int, n: int) -> Array:
    """Give n rising scores, one in each of n equally likely strata, at a place drawn once for the replicate.

    The place within the stratum is uniform and shared by all columns of the replicate: each score is then exactly
    standard normal, and the columns stay independent up to a term of order 1/n.
    """
    place = Stream().at(seed, replicate, "\x1fplace in the stratum").random()
    scores: Array = ndtri((np.arange(n) + place) / n)
    if not np.isfinite(scores[0]):
        scores[0] = -8.2
    scores.setflags(write=False)
    return scores


def column(stream: Stream, seed: int, replicate: int, name: str, n: int) -> Array:
    """Draw the Latin hypercube column of an input or event.

    Returns
    -------
    ndarray, shape (n,)
        Standard normal scores.
    """
    scores = _strata(seed, replicate, n).copy()
    stream.at(seed, replicate, name).shuffle(scores)
    return scores


@lru_cache(maxsize=32)
def _sobol(dimensions: int, n: int) -> NDArray[np.uint32]:
    """Give the plain Sobol' points as integers, shape (dimensions, n)."""
    from scipy.stats import qmc  # 0.7 s to import: only runs with shared causes pay for it

    power = max(0, int(n - 1).bit_length())
    points = qmc.Sobol(dimensions, scramble=False, bits=_BITS).random_base2(power)[:n]
    whole = np.ascontiguousarray((points * 2.0**_BITS).astype(np.uint32).T)
    whole.setflags(write=False)
    return whole


def cause_scores(stream: Stream, seed: int, replicate: int, causes: tuple[str, ...], n: int) -> Array:
    """Draw the scores of the shared causes.

    Returns
    -------
    ndarray, shape (K, n)
        Standard normal scores.
    """
    scores = np.empty((len(causes), n))
    if not causes:
        return scores
    if len(causes) == 1:
        scores[0] = column(stream, seed, replicate, f"cause {causes[0]}", n)
        return scores
    for place, name in enumerate(causes):
        generator = stream.at(seed, replicate, f"cause {name}")
        shift = np.uint32(generator.integers(0, 1 << _BITS))
        offset = generator.random()
        shifted = np.bitwise_xor(_sobol(len(causes), n)[place], shift)
        ndtri((shifted + offset) * 2.0**-_BITS, out=scores[place])
    np.clip(scores, -8.2, 8.2, out=scores)
    return scores
