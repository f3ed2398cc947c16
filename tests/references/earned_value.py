"""Earned-value figures worked out elsewhere; formulas are those of the US Department of Defense's EVM "Gold Card".

WORKED: common practice, no source. It uses an index of 0.85 where EV / AC is 0.866667.
ROUNDING_TRAP: common practice, no source. It prints 538,344, from a CPI rounded to 0.93; exact is 540,000.
"""

from __future__ import annotations

from fractions import Fraction

WORKED = {
    "bac": 3000, "ev": 1560, "ac": 1800, "index": Fraction(85, 100),
    "eac": 3529, "vac": -529, "etc": 1729, "tcpi_bac": Fraction(12, 10), "tcpi_eac": Fraction(83, 100),
    "exact_eac": 3461.538462,
}  # fmt: skip
ROUNDING_TRAP = {
    "bac": 500_000, "ev": 150_000, "ac": 162_000,
    "eac": 540_000, "printed_eac": 538_344, "tcpi_bac": 1.035503, "eac_as_planned": 512_000,
}  # fmt: skip
