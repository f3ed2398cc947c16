"""From the builder's figures to shapes."""

from __future__ import annotations

from forecast.errors import SimulationError
from forecast.figures import kinds as figures
from forecast.figures.shapes import (
    Exact,
    Flat,
    Gaussian,
    Metalog,
    Pert,
    Shape,
    Steps,
    Triangle,
    lognormal,
    lognormal_from_percentiles,
    quoted,
    three_percentiles,
)


def shape_of(figure: figures.FigureBase, where: str = "figure") -> Shape:
    """Give the probability distribution that a figure stands for.

    Parameters
    ----------
    figure : FigureBase
        Any figure of the build file.
    where : str
        Named in the error.

    Returns
    -------
    Shape

    Raises
    ------
    SimulationError
        When a metalog has no density through its percentiles.
    """
    match figure:
        case figures.Known(value=value):
            return Exact(value)
        case figures.Percentiles(low=low, middle=middle, high=high):
            return Exact(low) if low == high else three_percentiles(low, middle, high)
        case figures.Span(low=low, high=high) | figures.LognormalPercentiles(p10=low, p90=high):
            return lognormal_from_percentiles(low, high)
        case figures.LognormalMedian(median=median, sigma=sigma):
            return lognormal(median, sigma)
        case figures.Triangular(min=least, mode=mode, max=most):
            return Triangle(least, mode, most)
        case figures.BetaPert(min=least, mode=mode, max=most):
            return Pert(least, mode, most)
        case figures.Uniform(min=least, max=most):
            return Flat(least, most)
        case figures.Normal(mean=mean, sd=sd):
            return Gaussian(mean, sd)
        case figures.Metalog():
            return _metalog(figure, where)
        case figures.Discrete(values=values, chances=chances):
            pairs = sorted(zip(values, chances, strict=True))
            return Steps(tuple(value for value, _ in pairs), tuple(chance for _, chance in pairs))
        case figures.Quotes(quotes=quotes):
            return quoted(quotes)
        case _:
            message = (
                f"{where}: found {type(figure).__name__}, which has no shape. Use a figure of the build file."
            )
            raise SimulationError(message)


def _metalog(figure: figures.Metalog, where: str) -> Metalog:
    shape = Metalog(figure.p10, figure.p50, figure.p90, figure.lower, figure.upper)
    if not shape.feasible:
        message = (
            f"{where}: no metalog has p10 {figure.p10:g}, p50 {figure.p50:g} and p90 {figure.p90:g}: p50 lies too "
            "near one end. Write { low, middle, high } instead, or split it into a usual price and an event."
        )
        raise SimulationError(message)
    return shape
