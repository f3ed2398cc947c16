"""What work and power cost: plain arithmetic, arrays in and arrays out."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def shop_job_cost(hours: ArrayLike, rate: ArrayLike, material: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Give what a shop asks: hours × rate + material, all with or all without tax."""
    return np.asarray(hours, np.float64) * np.asarray(rate, np.float64) + np.asarray(material, np.float64)


def net_of_tax(gross: ArrayLike, tax: ArrayLike) -> NDArray[np.float64]:
    """Take a tax out of a price that includes it: gross / (1 + tax), tax as a fraction.

    Not gross × (1 − tax): a trade-press piece prints 163.62 for 202.00 at 19 %, where 169.75 is right.
    """
    return np.asarray(gross, np.float64) / (1 + np.asarray(tax, np.float64))


def electricity_cost(power: ArrayLike, hours: ArrayLike, price: ArrayLike) -> NDArray[np.float64]:
    """Give the cost of running a machine: kW × hours × price per kWh."""
    return np.asarray(power, np.float64) * np.asarray(hours, np.float64) * np.asarray(price, np.float64)
