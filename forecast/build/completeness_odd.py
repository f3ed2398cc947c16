"""What is legal and odd: figures that may be slips of the keyboard, each asked about once.

A question is a finding of grade "odd". It is answered as the others are: by mending the figure, or under
``[not_needed]`` with a word on why it is meant.
"""

from __future__ import annotations

from collections.abc import Iterator

from forecast.build.completeness_rules import Finding
from forecast.build.consignment import BOX_UNITS
from forecast.build.facts import Facts
from forecast.build.figures import FigureBase, Known, Normal, highest, lowest
from forecast.build.places_of_figures import Place, places
from forecast.build.rates import middle_rate
from forecast.build.schema import Build
from forecast.build.units import counted_in
from forecast.words.currencies import reference

WIDEST = 1000.0
"""A high of more than so many times the low is asked about."""
FAR_RATE = 0.25
"""How far a rate may lie off the reference rate on file before it is asked about."""
LIGHTEST, HEAVIEST = 3.0, 3000.0
"""kg per m³ of a packed box: under the first its sides may be in mm, over the second its weight in g. A light box of
panels has 15 to 40, steel in a crate up to 2,000 (common practice, no source)."""
_MONEY = ("amount", "price", "cost", "minimum", "maximum", "percent")


def odd(facts: Facts) -> Iterator[Finding]:
    """Find what is legal and odd, figure by figure."""
    build = facts.build
    for place in places(build):
        yield from _too_wide(place)
        yield from _below_zero(place)
        yield from _small_percent(place)
    for measure in build.measure:
        yield from _below_zero(
            Place(measure.id, "cost", measure.cost, measure.title, "", "cost", build.build.currency)
        )
    yield from _small_premiums(build)
    yield from _rates(build)
    yield from _boxes(build)


def _asked(rule: str, item: str, key: str, what: str, why: str, mend: str, sheet: str = "") -> Finding:
    """Make a question of a figure; a rule and an item may have several, each answered by a key of its own."""
    name = f"{item}_{key}" if key else item
    return Finding(f"{rule}-{name.replace('.', '_')}", "odd", what, why, line=item, mend=mend, sheet=sheet)


def _too_wide(place: Place) -> Iterator[Finding]:
    figure = place.figure
    low, high = lowest(figure), highest(figure)
    if isinstance(figure, Normal) or low is None or high is None or low <= 0 or high / low <= WIDEST:
        return
    yield _asked(
        "too_wide", place.item, place.key, f"{place.title}, {place.word}: from {low:,.6g} to {high:,.6g}",
        f"The high is {_times(high / low)} times the low; one of the two may be a slip.",
        f"Look at {place.key} of {place.item!r}: a bad case of its own is better written as a risk event.",
        "Look at it in the sheet above; a bad case of its own is better a risk event.",
    )  # fmt: skip


def _below_zero(place: Place) -> Iterator[Finding]:
    low = lowest(place.figure)
    if place.key.rpartition(".")[2] not in _MONEY or low is None or low >= 0:
        return
    yield _asked(
        "below_zero", place.item, place.key, f"{place.title}, {place.word}: {low:,.6g}",
        "A sum below zero counts as money that comes back, and lowers what to hold.",
        f"Take the minus away from {place.key} of {place.item!r}; or, if it comes back, write quantity = -1 and "
        "a price.",
        "Take the minus away in the sheet above." if place.group else "",
    )  # fmt: skip


def _small_percent(place: Place) -> Iterator[Finding]:
    if place.key == "percent":
        yield from _as_percent(place.item, place.title, "percent", place.figure, 0.1)
    elif place.key == "arrival.disbursement_percent":
        yield from _as_percent(place.item, place.title, place.key, place.figure, 0.1)


def _small_premiums(build: Build) -> Iterator[Finding]:
    for item in build.consignment:
        for key, least in (("insurance_percent", 0.1), ("card_margin", 0.1)):
            value = getattr(item, key)
            if value is not None:
                yield from _as_percent(item.id, item.title, key, Known(value=value), least)
    for code, currency in build.currency.items():
        yield from _as_percent(code, f"Rate of {code}", "margin", Known(value=currency.margin), 0.1)


def _as_percent(item: str, title: str, key: str, figure: FigureBase, least: float) -> Iterator[Finding]:
    """Ask about a percentage so small that a share may be meant."""
    low, high = lowest(figure), highest(figure)
    if low is None or high is None or not 0 < high < least:
        return
    word = key.rpartition(".")[2].replace("_", " ")
    yield _asked(
        "small_percent", item, key, f"{title}, {word}: {high:g} %",
        f"It counts in percent: {high:g} is {high / 100:.4g} of the whole.",
        f"Write {key} = {100 * high:g} in {item!r} if {100 * high:g} % is meant.",
        f"If {100 * high:g} % is meant, write that in the sheet above." if key == "percent" else "",
    )  # fmt: skip


def _rates(build: Build) -> Iterator[Finding]:
    home = build.build.currency
    for code, currency in build.currency.items():
        usual, rate = reference(code, home), middle_rate(currency.rate)
        if usual is None or rate <= 0 or 1 / (1 + FAR_RATE) <= rate / usual.rate <= 1 + FAR_RATE:
            continue
        turned = abs(1 / rate / usual.rate - 1) <= FAR_RATE
        told = (
            f"On {usual.as_of.day} {usual.as_of:%B %Y} one {code} was {usual.rate:g} {home} ({usual.source})."
        )
        if turned:
            why = f"{told} {rate:g} looks like {code} for one {home}: the wrong way round."
            sheet = f"Turned round it is {1 / rate:.4g}: write that below as today's rate."
            mend = f"In [currency.{code}] write rate = {1 / rate:.4g}, which is {home} for one {code}."
        else:
            off = rate / usual.rate
            far = (
                f"{abs(100 * (off - 1)):.0f} % {'above' if off > 1 else 'below'}"
                if 0.01 < off < 10
                else "far off"
            )
            why = f"{told} {rate:g} is {far} that."
            mend = f"Look today's rate up: [currency.{code}] rate is {home} for one {code}."
            sheet = f"Look today's rate up and write it below: it is {home} for one {code}."
        yield _asked("far_rate", code, "", f"Rate of {code}: {rate:g}", why, mend, sheet)


def _boxes(build: Build) -> Iterator[Finding]:
    for item in build.consignment:
        for number, box in enumerate(item.boxes, start=1):
            length, width, height, weight = (
                _at_most(getattr(box, key), own) for key, own in BOX_UNITS.items()
            )
            if length is None or width is None or height is None or weight is None:
                continue
            sides = length, width, height
            volume = 1e-6 * length * width * height
            if volume <= 0 or LIGHTEST <= weight / volume <= HEAVIEST:
                continue
            size = " × ".join(f"{side:,.6g}" for side in sides)
            light = weight / volume < LIGHTEST
            yield _asked(
                "odd_box", item.id, str(number), f"{item.title}, box {number}: {size} cm at {weight:,.6g} kg",
                f"That is {weight / volume:,.3g} kg for a cubic metre. "
                + ("Its sides may be in mm." if light else "Its weight may be in g, or a side in m."),
                f"Look at boxes of {item.id!r}: sides are in cm, the weight of one box in kg.",
                "Look at its rows in the sheet above: sides are in cm, the weight of one box in kg.",
            )  # fmt: skip


def _at_most(figure: FigureBase, own: str) -> float | None:
    """Give the largest number that a figure names, in the tool's own unit."""
    most = highest(figure)
    return None if most is None else counted_in(own, most, figure.unit)


def _times(ratio: float) -> str:
    return f"{ratio:,.0f}" if ratio < 1e6 else "millions of"


__all__ = ["odd"]
