"""Shares and quantiles of the distributions behind figures, without what it takes to load a library of them.

Loading SciPy's costs a command several times as long as simulating a build does, and these few are all that most builds
need of it. The normal ones are the rational approximations of the Cephes library [1], which SciPy uses too. They are
taken whether SciPy is loaded or not, though its own take less than half of the time: NumPy's exponential and logarithm
are not the C library's on every processor, so that the last digit of a figure would tell what else its process had
loaded. A test holds every one against SciPy's.

References
----------
[1] Moshier, S. L. (1989), Methods and Programs for Mathematical Functions: ndtr, erf, erfc and ndtri of Cephes.
[2] Abramowitz & Stegun (1964), Handbook of Mathematical Functions, 26.5.4, 26.7.3 and 26.7.4 (from memory).
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array: TypeAlias = NDArray[np.float64]
_Polynomial: TypeAlias = tuple[float, ...]

_ROOT_HALF = 0.70710678118654752440
_ROOT_TWO_PI = 2.50662827463100050242
_TAIL = 0.13533528323661269189
"""exp(−2): nearer to 0 or 1 a score follows from the logarithm of the chance."""
_FAR = 8.0
"""Beyond it, another pair of polynomials is the better one, for scores and for tails alike."""
_LAST = 709.782712893383996843
"""The largest exponent that double precision has: tails beyond are nothing."""

# the inverse: its middle, then its tails, near and far
_P0: _Polynomial = (
    -5.99633501014107895267e1, 9.80010754185999661536e1, -5.66762857469070293439e1, 1.39312609387279679503e1,
    -1.23916583867381258016e0,
)  # fmt: skip
_Q0: _Polynomial = (
    1.0, 1.95448858338141759834e0, 4.67627912898881538453e0, 8.63602421390890590575e1, -2.25462687854119370527e2,
    2.00260212380060660359e2, -8.20372256168333339912e1, 1.59056225126211695515e1, -1.18331621121330003142e0,
)  # fmt: skip
_P1: _Polynomial = (
    4.05544892305962419923e0, 3.15251094599893866154e1, 5.71628192246421288162e1, 4.40805073893200834700e1,
    1.46849561928858024014e1, 2.18663306850790267539e0, -1.40256079171354495875e-1, -3.50424626827848203418e-2,
    -8.57456785154685413611e-4,
)  # fmt: skip
_Q1: _Polynomial = (
    1.0, 1.57799883256466749731e1, 4.53907635128879210584e1, 4.13172038254672030440e1, 1.50425385692907503408e1,
    2.50464946208309415979e0, -1.42182922854787788574e-1, -3.80806407691578277194e-2, -9.33259480895457427372e-4,
)  # fmt: skip
_P2: _Polynomial = (
    3.23774891776946035970e0, 6.91522889068984211695e0, 3.93881025292474443415e0, 1.33303460815807542389e0,
    2.01485389549179081538e-1, 1.23716634817820021358e-2, 3.01581553508235416007e-4, 2.65806974686737550832e-6,
    6.23974539184983293730e-9,
)  # fmt: skip
_Q2: _Polynomial = (
    1.0, 6.02427039364742014255e0, 3.67983563856160859403e0, 1.37702099489081330271e0, 2.16236993594496635890e-1,
    1.34204006088543189037e-2, 3.28014464682127739104e-4, 2.89247864745380683936e-6, 6.79019408009981274425e-9,
)  # fmt: skip
# the error function within one; then its complement beyond, near and far
_T: _Polynomial = (
    9.60497373987051638749e0, 9.00260197203842689217e1, 2.23200534594684319226e3, 7.00332514112805075473e3,
    5.55923013010394962768e4,
)  # fmt: skip
_U: _Polynomial = (
    1.0, 3.35617141647503099647e1, 5.21357949780152679795e2, 4.59432382970980127987e3, 2.26290000613890934246e4,
    4.92673942608635921086e4,
)  # fmt: skip
_P: _Polynomial = (
    2.46196981473530512524e-10, 5.64189564831068821977e-1, 7.46321056442269912687e0, 4.86371970985681366614e1,
    1.96520832956077098242e2, 5.26445194995477358631e2, 9.34528527171957607540e2, 1.02755188689515710272e3,
    5.57535335369399327526e2,
)  # fmt: skip
_Q: _Polynomial = (
    1.0, 1.32281951154744992508e1, 8.67072140885989742329e1, 3.54937778887819891062e2, 9.75708501743205489753e2,
    1.82390916687909736289e3, 2.24633760818710981792e3, 1.65666309194161350182e3, 5.57535340817727675546e2,
)  # fmt: skip
_R: _Polynomial = (
    5.64189583547755073984e-1, 1.27536670759978104416e0, 5.01905042251180477414e0, 6.16021097993053585195e0,
    7.40974269950448939160e0, 2.97886665372100240670e0,
)  # fmt: skip
_S: _Polynomial = (
    1.0, 2.26052863220117276590e0, 9.39603524938001434673e0, 1.20489539808096656605e1, 1.70814450747565897222e1,
    9.60896809063285878198e0, 3.36907645100081516050e0,
)  # fmt: skip


def _at(x: Array, coefficients: _Polynomial) -> Array:
    """Give a polynomial, its highest power first, by Horner's rule."""
    first, second, *rest = coefficients
    found = x + second if first == 1.0 else x * first
    if first != 1.0:
        found += second
    for coefficient in rest:
        found *= x
        found += coefficient
    return found


def normal_share(scores: ArrayLike) -> Array:
    """Give Φ, the share of a standard normal that lies below scores.

    Parameters
    ----------
    scores : array of any shape

    Returns
    -------
    ndarray, of the same shape
        Both tails to full relative precision, as far as double precision reaches.
    """
    score = np.asarray(scores, dtype=np.float64)
    x = score.reshape(-1) * _ROOT_HALF
    size = np.abs(x)
    share = np.empty_like(x)
    is_near = size < 1
    near, beyond = np.flatnonzero(is_near), np.flatnonzero(~is_near)
    within = x.take(near)
    square = within * within
    share[near] = 0.5 + 0.5 * (within * _at(square, _T) / _at(square, _U))
    if beyond.size:
        tail = 0.5 * _complement(size.take(beyond))
        share[beyond] = np.where(x.take(beyond) > 0, 1 - tail, tail)
    return share.reshape(score.shape)


def _complement(x: Array) -> Array:
    """Give the complementary error function at one and beyond."""
    square = x * x
    x = np.minimum(x, 30.0)  # beyond there is nothing, also where infinity by infinity would be no number
    found = np.exp(-np.minimum(square, _LAST))
    far = x >= _FAR
    if far.any():
        close = ~far
        found[close] = found[close] * _at(x[close], _P) / _at(x[close], _Q)
        found[far] = found[far] * _at(x[far], _R) / _at(x[far], _S)
        found[square > _LAST] = 0.0
    else:
        found = found * _at(x, _P) / _at(x, _Q)
    return found


def normal_scores(shares: ArrayLike) -> Array:
    """Give Φ⁻¹, the scores below which shares of a standard normal lie.

    Parameters
    ----------
    shares : array of any shape
        From 0 to 1.

    Returns
    -------
    ndarray, of the same shape
        Minus infinity at 0, infinity at 1, NaN outside.
    """
    share = np.asarray(shares, dtype=np.float64)
    flat = share.reshape(-1)
    least = np.minimum(flat, 1 - flat)
    scores = np.empty_like(flat)
    in_middle = least > _TAIL
    middle, outer = np.flatnonzero(in_middle), np.flatnonzero(~in_middle)
    away = flat.take(middle) - 0.5
    square = away * away
    scores[middle] = (away + away * (square * _at(square, _P0) / _at(square, _Q0))) * _ROOT_TWO_PI
    if outer.size:
        scores[outer] = _outer(least.take(outer), flat.take(outer))
    return scores.reshape(share.shape)


def _outer(least: Array, share: Array) -> Array:
    """Give the scores of shares near to 0 or 1, of which ``least`` is the smaller side."""
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(-2.0 * np.log(least))
        score = root - np.log(root) / root
        inverse = 1.0 / root
    far = root >= _FAR
    if far.any():
        close = ~far
        score[close] -= inverse[close] * _at(inverse[close], _P1) / _at(inverse[close], _Q1)
        score[far] -= inverse[far] * _at(inverse[far], _P2) / _at(inverse[far], _Q2)
        score[least == 0] = np.inf
    else:
        score -= inverse * _at(inverse, _P1) / _at(inverse, _Q1)
    return np.where(share < 0.5, -score, score)


@lru_cache(maxsize=4096)
def normal_score(share: float) -> float:
    """Give `normal_scores` of one share."""
    return float(normal_scores(share))


@lru_cache(maxsize=256)
def student_p90(freedom: int) -> float:
    """Give the P90 of Student's distribution with a whole number of degrees of freedom.

    By Newton's method on the share within ±t, which is a sum of finitely many terms in the angle of t / √freedom [2].
    """
    odd = freedom % 2
    peak = math.exp(math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2)) * 2 / math.sqrt(math.pi)
    angle = math.atan(normal_score(0.9) / math.sqrt(freedom))
    for _ in range(50):
        cosine = math.cos(angle)
        term = total = (cosine if odd else 1.0) if freedom > 1 else 0.0
        for power in range(2 + odd, freedom, 2):
            term *= cosine * cosine * (power - 1) / power
            total += term
        within = math.sin(angle) * total
        if odd:
            within = 2 / math.pi * (angle + within)
        step = (within - 0.8) / (peak * cosine ** (freedom - 1))
        angle -= step
        if abs(step) < 1e-16 * angle:
            break
    return math.sqrt(freedom) * math.tan(angle)


def beta_share(a: float, b: float, x: Array) -> Array:
    """Give the share of a beta distribution below x, by whichever tail is the shorter sum.

    Parameters
    ----------
    a, b : float
        At least one.
    x : ndarray, shape (n,)
        From 0 to 1.
    """
    upper = x > (a + 1) / (a + b + 2)
    share = np.empty_like(x)
    share[~upper] = _beta_tail(a, b, x[~upper])
    share[upper] = 1 - _beta_tail(b, a, 1 - x[upper])
    return share


def _beta_tail(a: float, b: float, x: Array) -> Array:
    """Give the share below x by a series without a term below zero [2, 26.5.4]."""
    term = np.ones_like(x)
    total = np.ones_like(x)
    step = 0
    while float(term.max(initial=0.0)) > 1e-17:
        for power in range(step, step + 8):
            term *= x
            term *= (a + b + power) / (a + 1 + power)
            total += term
        step += 8
    return np.asarray(x**a * (1 - x) ** b * (total / (a * _beta(a, b))))


def _beta(a: float, b: float) -> float:
    return math.gamma(a) * math.gamma(b) / math.gamma(a + b)


def beta_quantiles(a: float, b: float, shares: Array) -> Array:
    """Give where shares of a beta distribution lie below.

    By Newton's method on logarithms: the share's is a concave function of x's, and rises to it from a bound below.

    Parameters
    ----------
    a, b : float
        At least one.
    shares : ndarray, shape (n,)
        Above zero; up to a half, for beyond it the other tail has more digits.
    """
    whole = _beta(a, b)
    x = np.minimum((shares * (a * whole)) ** (1 / a), 1.0)
    for _ in range(100):
        below = beta_share(a, b, x)
        steep = x**a * (1 - x) ** (b - 1) / whole
        step = np.log(shares / below) * below / steep
        x = np.minimum(x * np.exp(step), 1.0)
        if float(np.abs(step).max(initial=0.0)) < 1e-8:  # the next would be its square
            break
    return x
