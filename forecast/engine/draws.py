"""Latent scores: what is drawn, and how it stays paired.

Letters: J named columns, n = 2^m trials in a replicate, R replicates, N = R n trials in all.

Every replicate is an unbiased sample of its own, so that the spread of a result over replicates is its
simulation error. Within a replicate each column is a digital one: trial number i, as m bits, is multiplied by an
m × m matrix of bits, shifted by a number of its own (exclusive or), and gives the stratum, one of n equally
likely ones, that the score lies in. So every column takes every stratum once, as in a Latin hypercube.

- Shared causes and the risk events of the file have a slot each, and with it a matrix of the Sobol' sequence:
  together they fill their space evenly.
- Every other figure has a matrix drawn at random, from (seed, replicate, id) alone, whose three leading rows have
  little in common with the leading bits of the slots: so each figure also fills its space evenly together with
  causes and events, whichever of them there are.
- The column of such a figure is bent as well: its last bits choose a random number that its other bits are
  combined with. Without that, two figures would have nothing in common in most replicates and everything in some,
  and the spread over replicates would tell too little; bent, they have a little in common in each.

What is drawn for a figure of a line thus never depends on which others there are: a scenario and its variant, a
file before and after an edit, a build before and after a receipt share their draws. Only causes and events hold
their slots by their place in the file: an event put in before others, or taken out, moves theirs.

References
----------
[1] McKay, Beckman & Conover (1979), Technometrics 21(2): Latin hypercube sampling.
[2] Matoušek (1998), Journal of Complexity 14(4), for random matrices; L'Ecuyer & Lemieux (2002), Recent advances
    in randomized quasi-Monte Carlo methods, for random digital shifts (both from memory). The bend is the
    Maiorana–McFarland construction of functions far from all linear ones (Carlet 2021, Boolean Functions for
    Cryptography and Coding Theory, section 6.1; from memory).
[3] Steele, Lea & Flood (2014), Fast splittable pseudorandom number generators: the mixing function.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from forecast.engine import sobol
from forecast.figures.normal import normal_scores
from forecast.figures.shapes import Array

REPLICATES = 16
"""Least number of replicates of a run."""

BLOCK = 4096
"""Trials evaluated at a time: some thirty arrays of this length fit a second-level cache."""

CAUSE_SLOTS = 6
"""Slots for shared causes, own estimating first."""

EVENT_SLOTS = (sobol.DIMENSIONS - CAUSE_SLOTS) // 2
"""Slots after them for whether an event happens, and as many again for its impact."""

Words = NDArray[np.uint64]

GROUP = 16_384
"""Trials of the replicates that are simulated together, where they are shorter."""

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)


def _depth(slot: int) -> int:
    """Give how many leading bits of a slot the figures are held apart from: more where more depends on it."""
    if slot < CAUSE_SLOTS:
        return (4, 3, 2, 2, 1, 1)[slot]
    if slot < CAUSE_SLOTS + EVENT_SLOTS:
        return (3, 3, 2)[slot - CAUSE_SLOTS] if slot < CAUSE_SLOTS + 3 else 1
    return 2 if slot < CAUSE_SLOTS + EVENT_SLOTS + 2 else 0


_HELD_APART: tuple[tuple[tuple[int, int], ...], ...] = (
    *(((slot, depth),) for slot in range(sobol.DIMENSIONS) for depth in range(1, _depth(slot) + 1)),
    ((0, 2), (1, 2)),
    ((CAUSE_SLOTS, 2), (CAUSE_SLOTS + 1, 2)),
)
"""Slots and numbers of their leading bits, of which combinations are taken. Chosen by trying, on a demo build and on
a portfolio of independent lines: with more of them figures crowd into what is left."""

_LEADING = 3  # rows that are held apart from the slots
_CANDIDATES = 12  # for each of them
_TOGETHER = 32  # columns whose matrices are drawn at a time
_LEAST_BITS = 6  # under this many bits there is no room for holding apart


def slot_of_cause(place: int) -> int | None:
    """Give the slot of a shared cause: 0 for own estimating, then 1, 2, … in the file's order."""
    return place if place < CAUSE_SLOTS else None


def slots_of_event(place: int) -> tuple[int, int] | None:
    """Give the slots of the file's event number ``place`` (from 0): for whether it happens, and for its impact."""
    first = CAUSE_SLOTS + place
    return (first, first + EVENT_SLOTS) if place < EVENT_SLOTS else None


def replicate_sizes(trials: int) -> tuple[int, int]:
    """Give how many replicates, and how many trials in each, make up at least that many trials.

    Returns
    -------
    replicates : int
        From REPLICATES to twice as many.
    n : int
        The largest power of two that leaves at least REPLICATES replicates.
    """
    n = 1 << max(0, (trials // REPLICATES).bit_length() - 1)
    return max(REPLICATES, -(-trials // n)), n


@lru_cache(maxsize=65_536)
def _word(seed: int, name: str) -> int:
    """Give 64 bits that follow from a seed and a name."""
    return int.from_bytes(hashlib.sha256(f"{seed}\x1f{name}".encode()).digest()[:8], "little")


def _mix(words: Words) -> Words:
    """Scatter 64-bit words, in place [3]."""
    words ^= words >> np.uint64(30)
    words *= np.uint64(0xBF58476D1CE4E5B9)
    words ^= words >> np.uint64(27)
    words *= np.uint64(0x94D049BB133111EB)
    words ^= words >> np.uint64(31)
    return words


def random_words(seed: int, names: Sequence[str], replicates: Sequence[int], count: int) -> Words:
    """Give random words of each name in each replicate, shape (J, R, count)."""
    own = np.array([_word(seed, name) for name in names], dtype=np.uint64)
    turn = _mix(np.asarray(replicates, dtype=np.uint64) * _GOLDEN + _GOLDEN)
    start = _mix(own[:, None] ^ turn)
    return _mix(start[..., None] + np.arange(1, count + 1, dtype=np.uint64) * _GOLDEN)


def _span(rows: Iterable[int]) -> set[int]:
    found = {0}
    for row in rows:
        found |= {row ^ other for other in found}
    return found


@lru_cache(maxsize=32)
def _taken(m: int) -> NDArray[np.int16]:
    """Say how much depends on each combination of bits of a trial's number, through the slots, shape (2^m,).

    A combination with one leading bit counts 16, and a quarter of that for each further bit.
    """
    taken = np.zeros(1 << m, dtype=np.int16)
    if m < _LEAST_BITS:
        return taken
    less = max(0, 10 - m)  # with fewer trials there is room for fewer bits
    for family in _HELD_APART:
        depths = [max(1, depth - less) for _, depth in family]
        rows = [
            row
            for (slot, _), depth in zip(family, depths, strict=True)
            for row in sobol.rows(slot, m)[:depth]
        ]
        places = list(_span(rows))
        taken[places] = np.maximum(taken[places], 64 >> min(6, 2 * sum(depths)))
    taken[0] = 10_000  # a row that is none of its own
    taken.setflags(write=False)
    return taken


def _lowest_bit(numbers: Words) -> Words:
    lowest: Words = numbers & (~numbers + np.uint64(1))
    return lowest


def _bent_bits(m: int) -> int:
    """Give how many bits of a trial's number choose the bend of a column."""
    return (m - 2) // 2 if m >= _LEAST_BITS else 0


def _random_matrices(words: Words, m: int) -> Words:
    """Draw matrices with independent rows, shape (J, R, m).

    The last rows, that choose the bend, come first and at random. With them the three leading ones are drawn, from
    several candidates those that have least in common with the slots; the others complete the matrix.
    """
    mask = np.uint64((1 << m) - 1)
    shape = words.shape[:2]
    rows = np.zeros((*shape, m), dtype=np.uint64)
    pivots = np.zeros(shape, dtype=np.uint64)
    echelon: list[tuple[Words, Words]] = []
    bent = _bent_bits(m)
    leading = _LEADING if m >= _LEAST_BITS else 0
    order = [*range(m - bent, m), *range(m - bent)] if bent else range(m)
    taken = _taken(m)
    combinations = np.zeros((*shape, 1), dtype=np.intp)
    for place in order:
        if place < leading:
            offered = words[..., place * _CANDIDATES : (place + 1) * _CANDIDATES] & mask
            mixed = offered.astype(np.intp)[..., None] ^ combinations[:, :, None, :]
            chosen = np.argmin(taken.take(mixed).sum(axis=-1), axis=-1)[..., None]
            row = np.take_along_axis(offered, chosen, axis=-1)[..., 0]
            rows[..., place] = row
            for reduced, pivot in echelon:
                row = np.where(row & pivot, row ^ reduced, row)
        else:  # from the columns that no row so far stands on: independent of all of them
            row = words[..., _LEADING * _CANDIDATES + place] & mask & ~pivots
            row = np.where(row == 0, _lowest_bit(mask & ~pivots), row)
            rows[..., place] = row
        if place < leading or place >= m - bent:
            new = combinations ^ rows[..., place, None].astype(np.intp)
            combinations = np.concatenate([combinations, new], axis=-1)
        pivot = _lowest_bit(row)
        pivots |= pivot
        echelon.append((row, pivot))
    return rows


def _doubled(first: NDArray[np.intp], steps: NDArray[np.intp]) -> NDArray[np.intp]:
    """Give, for every combination of steps, their exclusive or with the first number; the last axis grows to 2^k."""
    count = steps.shape[-1]
    numbers = np.empty((*first.shape, 1 << count), dtype=np.intp)
    numbers[..., 0] = first
    for k in range(count):
        half = 1 << k
        numbers[..., half : 2 * half] = numbers[..., :half] ^ steps[..., k, None]
    return numbers


@dataclass(frozen=True)
class Columns:
    """Columns of one or more replicates, made ready for drawing block by block.

    A block is at most BLOCK trials: a part of one replicate, or, where they are shorter, several replicates.

    Attributes
    ----------
    n : int
        Trials in a replicate.
    replicates : int
    """

    n: int
    replicates: int
    _scores: Array
    _fine: NDArray[np.intp]
    _coarse: NDArray[np.intp]
    _beyond: NDArray[np.intp]
    _bends: NDArray[np.intp]
    _straight: frozenset[int]

    def blocks(self) -> list[slice]:
        """Give the trials of each block, replicates one after another."""
        whole = self.n * self.replicates
        return [slice(start, min(start + BLOCK, whole)) for start in range(0, whole, BLOCK)]

    @property
    def heights(self) -> Array:
        """The score of each stratum, replicates one after another; columns of the same replicates share them."""
        return self._scores

    def scores(self, place: int, block: slice) -> Array:
        """Give the standard normal scores of column number ``place`` over a block, in an array of its own."""
        scores: Array = self._scores.take(self.strata(place, block), mode="clip")
        return scores

    def strata(self, place: int, block: slice) -> NDArray[np.intp]:
        """Give the number among ``heights`` of the stratum of each trial of a block."""
        first, within = divmod(block.start, self.n)
        last = -(-block.stop // self.n)
        strata = self._fine[place, first:last, None, :] ^ self._coarse[place, first:last, :, None]
        if self.n > BLOCK:
            strata ^= self._beyond[place, first, within // BLOCK]
        if place not in self._straight:
            bends = self._bends[place, first:last]
            choice = strata & (bends.shape[1] - 1)
            if last - first > 1:
                choice += (bends.shape[1] * np.arange(last - first))[:, None, None]
            strata ^= bends.take(choice, mode="clip")
        found: NDArray[np.intp] = strata.ravel()
        return found


def columns(
    seed: int, replicates: Sequence[int], names: Sequence[str], n: int, slots: Mapping[str, int]
) -> Columns:
    """Draw the columns of those names.

    Parameters
    ----------
    seed : int
    replicates : sequence of R ints
        Numbers of the replicates.
    names : sequence of J str
    n : int
        A power of two.
    slots : mapping
        Slot by name, of those that have one.

    Returns
    -------
    Columns
    """
    m = n.bit_length() - 1
    words = random_words(seed, names, replicates, 1 + _LEADING * _CANDIDATES + m + (1 << _bent_bits(m)))
    rows = np.empty((len(names), len(replicates), m), dtype=np.uint64)
    fixed = np.array([name in slots for name in names], dtype=np.bool_)
    for place, name in enumerate(names):
        if name in slots:
            rows[place] = sobol.rows(slots[name], m)
    free = np.flatnonzero(~fixed)
    for start in range(
        0, free.size, _TOGETHER
    ):  # candidates times combinations of all at once fill the memory
        few = free[start : start + _TOGETHER]
        rows[few] = _random_matrices(words[few, :, 1:], m)
    choices = 1 << _bent_bits(m)
    bends = (words[..., -choices:] & np.uint64(n - choices)).astype(
        np.intp
    )  # leaves the bits that choose alone
    bits = (rows[..., None] >> np.arange(m, dtype=np.uint64)) & np.uint64(1)
    heights = np.array([1 << (m - 1 - row) for row in range(m)], dtype=np.uint64)
    steps = np.asarray((bits * heights[:, None]).sum(axis=-2), dtype=np.intp)  # what each bit of i moves
    shift = (words[..., 0] & np.uint64(n - 1)).astype(np.intp)
    within = min(m, BLOCK.bit_length() - 1)
    half = within // 2
    behind = n * np.arange(len(replicates))  # each replicate reads its own strata
    nothing = np.zeros_like(shift)
    return Columns(
        n=n,
        replicates=len(replicates),
        _scores=np.concatenate([_strata(seed, number, n) for number in replicates]),
        _fine=_doubled(shift, steps[..., :half]),
        _coarse=_doubled(nothing, steps[..., half:within]) + behind[:, None],
        _beyond=_doubled(nothing, steps[..., within:]),
        _bends=bends,
        _straight=frozenset(np.flatnonzero(fixed).tolist() if choices > 1 else range(len(names))),
    )


@lru_cache(maxsize=64)
def _strata(seed: int, replicate: int, n: int) -> Array:
    """Give n rising scores, one in each of n equally likely strata, at a place drawn once for the replicate.

    The place within the stratum is uniform and shared by all columns of the replicate: each score is then exactly
    standard normal, and the columns stay independent up to a term of order 1/n.
    """
    word = random_words(seed, ["\x1fplace in the stratum"], [replicate], 1)[0, 0, 0]
    place = (float(word >> np.uint64(11)) + 0.5) * 2.0**-53
    scores: Array = normal_scores((np.arange(n) + place) / n)
    scores.setflags(write=False)
    return scores


def column(seed: int, replicate: int, name: str, n: int, slots: Mapping[str, int]) -> Array:
    """Draw one whole column of one replicate, shape (n,); n a power of two."""
    drawn = columns(seed, [replicate], [name], n, slots)
    return np.concatenate([drawn.scores(0, block) for block in drawn.blocks()])
