"""Generator matrices of the Sobol' sequence, as parities of the bits of a trial's number.

A matrix is written as its rows. Row p is a whole number whose bits tell which bits of the trial's number i are
added up, modulo 2, to give bit p of the point (p = 0 is the most significant one). With m rows, the trials
0 to 2^m − 1 take each of the 2^m values once.

References
----------
[1] Sobol' (1967), USSR Computational Mathematics and Mathematical Physics 7(4).
[2] Joe & Kuo (2008), Constructing Sobol' sequences with better two-dimensional projections, SIAM Journal on
    Scientific Computing 30(5): the primitive polynomials and initial numbers, as also SciPy carries them.
"""

from __future__ import annotations

from functools import lru_cache

_INITIAL: tuple[tuple[int, tuple[int, ...]], ...] = (
    (3, (1,)),
    (7, (1, 3)),
    (11, (1, 3, 1)),
    (13, (1, 1, 1)),
    (19, (1, 1, 3, 3)),
    (25, (1, 3, 5, 13)),
    (37, (1, 1, 5, 5, 17)),
    (41, (1, 1, 5, 5, 5)),
    (47, (1, 1, 7, 11, 19)),
    (55, (1, 1, 5, 1, 1)),
    (59, (1, 1, 1, 3, 11)),
    (61, (1, 3, 5, 5, 31)),
    (67, (1, 3, 3, 9, 7, 49)),
    (91, (1, 1, 1, 15, 21, 21)),
    (97, (1, 3, 1, 13, 27, 49)),
    (103, (1, 1, 1, 15, 7, 5)),
    (109, (1, 3, 1, 15, 13, 25)),
    (115, (1, 1, 5, 5, 19, 61)),
    (131, (1, 3, 7, 11, 23, 15, 103)),
    (137, (1, 3, 7, 13, 13, 15, 69)),
    (143, (1, 1, 3, 13, 7, 35, 63)),
    (145, (1, 3, 5, 9, 1, 25, 53)),
    (157, (1, 3, 1, 13, 9, 35, 107)),
    (167, (1, 3, 1, 5, 27, 61, 31)),
    (171, (1, 1, 5, 11, 19, 41, 61)),
    (185, (1, 3, 5, 3, 3, 13, 69)),
    (191, (1, 1, 7, 13, 1, 19, 1)),
    (193, (1, 3, 7, 5, 13, 19, 59)),
    (203, (1, 1, 3, 9, 25, 29, 41)),
    (211, (1, 3, 5, 13, 23, 1, 55)),
    (213, (1, 3, 7, 3, 13, 59, 17)),
)
"""Primitive polynomial (its coefficients as bits) and initial numbers of dimensions 2, 3, …; [2]."""

DIMENSIONS = len(_INITIAL) + 1


def _directions(dimension: int, m: int) -> list[int]:
    """Give the m direction numbers of a dimension (from 0), each as m bits."""
    if dimension == 0:
        return [1 << (m - 1 - k) for k in range(m)]
    polynomial, initial = _INITIAL[dimension - 1]
    degree = polynomial.bit_length() - 1
    numbers = list(initial[:m])
    for k in range(degree, m):
        new = numbers[k - degree] ^ (numbers[k - degree] << degree)
        for step in range(1, degree):
            if (polynomial >> (degree - step)) & 1:
                new ^= numbers[k - step] << step
        numbers.append(new)
    return [number << (m - 1 - k) for k, number in enumerate(numbers)]


@lru_cache(maxsize=1024)
def rows(dimension: int, m: int) -> tuple[int, ...]:
    """Give the rows of a dimension's generator matrix.

    Parameters
    ----------
    dimension : int
        From 0 to DIMENSIONS − 1.
    m : int
        Number of bits, of trials and of points.

    Returns
    -------
    tuple of m ints
    """
    directions = _directions(dimension, m)
    return tuple(sum(((directions[k] >> (m - 1 - place)) & 1) << k for k in range(m)) for place in range(m))
