"""What is legal and odd: figures that look like a slip, and take-offs that come to what no car takes.

A question is a finding of grade "odd". It is answered as the others are: by mending the figure, or under
``[not_needed]`` with a word on why it is meant.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping

from forecast.buildfile.consignment import BOX_UNITS, Consignment
from forecast.buildfile.places_of_figures import Place, places
from forecast.buildfile.rates import FAR_RATE
from forecast.buildfile.schema import Build, Line
from forecast.buildfile.takeoff import AnyTakeoff
from forecast.buildfile.takeoff_base import own_unit
from forecast.buildfile.takeoff_body import FillerTakeoff
from forecast.errors import RuleError
from forecast.figures.figure import FigureBase
from forecast.figures.kinds import Known
from forecast.figures.units import counted_in, is_measure, like_metric
from forecast.missing.build_facts import Facts
from forecast.missing.rules import Finding
from forecast.trade.takeoff import AtMiddle, TakeoffExpansion, expand_takeoff
from forecast.words.currencies import reference
from forecast.words.day_words import long_day

WIDEST = 1000.0
"""A high of more than so many times the low is asked about."""
LIGHTEST, HEAVIEST = 3.0, 3000.0
"""kg per m³ of a packed box: under the first its sides may be in mm, over the second its weight in g. A light box of
panels has 15 to 40, steel in a crate up to 2,000 (common practice, no source)."""
SIZES: Mapping[str, tuple[float, float]] = {
    "area": (0.005, 60.0), "spoiled_panel": (0.005, 10.0), "length": (0.02, 100.0), "width": (0.5, 600.0),
    "depth": (0.1, 60.0), "thickness": (0.02, 40.0), "pitch": (3.0, 500.0), "film": (5.0, 1000.0),
    "density": (0.2, 8.0), "coverage": (0.3, 40.0), "per_mix": (0.1, 1000.0), "nozzle_loss": (0.1, 500.0),
    "edges": (1.0, 100.0), "band": (0.05, 5.0), "layers": (1.0, 30.0),
}  # fmt: skip
"""Least and most of a dimension on one car, in the take-off's own unit, before it is asked about (our choice: the
outside of a car has 12 to 20 m², of a long van 40)."""
QUANTITIES: Mapping[str, float] = {"m": 500.0, "m²": 200.0, "m³": 33.0, "L": 500.0, "kg": 3000.0}
"""The most of anything that a line buys for one car, by what it is counted in; 33 m³ fill a container of 20 feet, and
what is bought by the litre, gallon or ounce is a liquid."""
MOST_PIECES = 10_000.0
"""The most of anything that is counted one by one, without a unit or in a word that is none (our choice)."""
LARGEST_BOXES = 33.0
"""m³ of all boxes of a consignment."""
MOST_FILLER, MOST_COAT = 0.9, 4.0
"""kg of filler on a metre of a joint, and on a square metre, corners and all; usual are 0.2 to 0.5, and under 1 (common
practice). The widest and deepest joint that the guided start counts on, 95 × 5 mm, has 0.86."""
_FILLER = 1.8  # kg per litre
_CUBED = re.compile(r"3|³|\bcu|cubic", re.IGNORECASE)
_MONEY = ("amount", "price", "cost", "minimum", "maximum", "percent")


def odd(facts: Facts) -> Iterator[Finding]:
    """Find what is legal and odd, figure by figure."""
    build = facts.build
    for place in places(build):
        yield from _too_wide(place)
        yield from _below_zero(place)
        yield from _small_percent(place)
        yield from _sizes(place)
    yield from _thick_filler(build)
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
    low, high = figure.lowest, figure.highest
    if low <= 0 or high / low <= WIDEST:
        return
    yield _asked(
        "too_wide", place.item, place.key, f"{place.title}, {place.word}: from {low:,.6g} to {high:,.6g}",
        f"The high is {_times(high / low)} times the low; one of the two may be a slip.",
        f"Look at {place.key} of {place.item!r}: a bad case of its own is better written as a risk event.",
        "Look at it in the sheet above; a bad case of its own is better a risk event.",
    )  # fmt: skip


def _below_zero(place: Place) -> Iterator[Finding]:
    low = place.figure.lowest
    if place.key.rpartition(".")[2] not in _MONEY or low >= 0:
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
    high = figure.highest
    if not 0 < high < least:
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
        usual, rate = reference(code, home), currency.rate.rough_middle
        if usual is None or rate <= 0 or 1 / (1 + FAR_RATE) <= rate / usual.rate <= 1 + FAR_RATE:
            continue
        turned = abs(1 / rate / usual.rate - 1) <= FAR_RATE
        told = f"On {long_day(usual.as_of)} one {code} was {usual.rate:g} {home} ({usual.source})."
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
        odd_ones = list(_odd_boxes(item))
        yield from odd_ones or _volumes(item)


def _odd_boxes(item: Consignment) -> Iterator[Finding]:
    """Ask about boxes that are too light or too heavy for their size."""
    for number, box in enumerate(item.boxes, start=1):
        length, width, height, weight = (_at_most(getattr(box, key), own) for key, own in BOX_UNITS.items())
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


def _volumes(item: Consignment) -> Iterator[Finding]:
    """Ask about boxes that fill more than a container."""
    whole = 0.0
    for box in item.boxes:
        sides = [_at_most(getattr(box, key), "cm") for key in ("length", "width", "height")]
        whole += 1e-6 * box.count * math.prod(side or 0.0 for side in sides)
    if whole <= LARGEST_BOXES:
        return
    yield _asked(
        "large_boxes", item.id, "", f"{item.title}, boxes: {whole:,.0f} m³ in all",
        f"A container of 20 feet holds {LARGEST_BOXES:g}. A side may be in mm, or count may be a slip.",
        f"Look at boxes of {item.id!r}: sides are in cm where no unit is written.",
        "Look at its rows in the sheet above: sides are in cm where no unit is written.",
    )  # fmt: skip


def _sizes(place: Place) -> Iterator[Finding]:
    """Ask about dimensions and quantities that no car has."""
    key, written = place.key.rpartition(".")[2], place.figure.unit
    if place.key == "quantity":
        own = _counted_like(written)
        limits = (0.0, QUANTITIES[own]) if own else _of_pieces(place.figure)
        own = own or written or "pieces"
    else:
        own, limits = own_unit(key), SIZES.get(key) if place.key.startswith(("takeoff.", key)) else None
    if limits is None or own is None:
        return  # before a word such as "cartridges" is looked up among all units there are
    low, high = _at_least(place.figure, own), _at_most(place.figure, own)
    if low is None or high is None:
        return
    least, most = limits
    if high <= most and (low >= least or low <= 0):
        return
    found = high if high > most else low
    size = f"{found:,.6g} {own}".rstrip()
    if written and written != own:
        size = f"{(place.figure.highest if high > most else place.figure.lowest):,.6g} {written} ({size})"
    own = own or key
    bound = f"at most {most:g}" if high > most else f"at least {least:g}"
    in_mm = (
        high > most and not written and own in ("m", "m²") and low / (1000 if own == "m" else 1e6) >= least
    )
    small = (
        f"{found / (1000 if own == 'm' else 1e6):,.4g} {own}, if {'mm' if own == 'm' else 'mm²'} was meant"
    )
    yield _asked(
        "odd_size", place.item, place.key, f"{place.title}, {place.word}: {size}",
        f"One car takes {bound} {own}" + (f"; it would be {small}." if in_mm else "."),
        f"Look at {place.key} of {place.item!r}: it counts in {written or own}; another unit is written beside the "
        'number, such as unit = "in".',
        f"Look at it in the sheet above: it counts in {written or own}.",
    )  # fmt: skip


def _counted_like(written: str | None) -> str | None:
    """Give which of the units of `QUANTITIES` a word counts like: liquids in litres, rooms and crates in m³."""
    own = like_metric(written, QUANTITIES)
    if own != "m³" or written is None:
        return own
    return "m³" if _CUBED.search(written) else "L"


def _of_pieces(figure: FigureBase) -> tuple[float, float] | None:
    """Give the bounds of what is counted one by one; only a large number is worth looking its word up among units."""
    most = figure.highest
    if most <= MOST_PIECES or is_measure(figure.unit):
        return None
    return 0.0, MOST_PIECES


def _thick_filler(build: Build) -> Iterator[Finding]:
    """Ask about filler so thick that it is no filler any more."""
    for item in build.line:
        table = item.takeoff
        if not isinstance(table, FillerTakeoff):
            continue
        if table.area is not None and table.thickness is not None:
            thick = _at_most(table.thickness, "mm")
            each, most, of = _FILLER * (thick or 0.0), MOST_COAT, "square metre"
        elif table.width is not None and table.depth is not None:
            wide, deep = _at_most(table.width, "mm"), _at_most(table.depth, "mm")
            each, most, of = _FILLER * (wide or 0.0) * (deep or 0.0) / 1000, MOST_FILLER, "metre"
        else:
            continue
        if each <= most:
            continue
        yield _asked(
            "thick_filler", item.id, "", f"{item.title}: up to {each:,.2g} kg of filler on each {of}",
            f"More than {most:g} kg is no filler any more: it cracks, and the part does not fit. A side may be a slip.",
            f"Look at the take-off of {item.id!r}: width, depth and thickness are in mm where no unit is written. What "
            "is deeper than 3 mm is laminated first.",
            "Look at its rows in the sheet above; what is deeper than 3 mm is laminated first.",
        )  # fmt: skip


def _at_least(figure: FigureBase, own: str) -> float | None:
    """Give the smallest number that a figure names, in the tool's own unit."""
    return counted_in(own, figure.lowest, figure.unit)


def _at_most(figure: FigureBase, own: str) -> float | None:
    """Give the largest number that a figure names, in the tool's own unit."""
    return counted_in(own, figure.highest, figure.unit)


def _times(ratio: float) -> str:
    return f"{ratio:,.0f}" if ratio < 1e6 else "millions of"


MOST: Mapping[tuple[str, str], float] = {
    ("laminate", "glass"): 60, ("laminate", "resin"): 120, ("laminate", "catalyst"): 2500,
    ("laminate", "hardener"): 40, ("laminate", "cleaner"): 60,
    ("gelcoat", "gelcoat"): 40, ("gelcoat", "catalyst"): 800,
    ("filler", "filler"): 25, ("filler", "hardener"): 800,
    ("sealant", "cartridges"): 60, ("adhesive", "cartridges"): 60, ("adhesive", "nozzles"): 120,
    ("paint", ""): 60, ("film", ""): 80, ("abrasives", ""): 2000,
    ("masking", "tape"): 2000, ("masking", "sheet"): 500,
    ("fasteners", "fasteners"): 2000, ("fasteners", "washers"): 4000, ("fasteners", "drill-bits"): 100,
    ("wheel-bolts", ""): 50,
}  # fmt: skip
"""The most that one line buys for one car, by kind and by what is bought, in what the take-off counts before it fills
packs (our choice: several times what a full kit and a respray take; a wrap of a long van has 40 m)."""


def odd_takeoffs(build: Build, at_middle: AtMiddle) -> Iterator[Finding]:
    """Find take-offs whose middle is more than any car takes.

    Parameters
    ----------
    build : Build
    at_middle : callable
        See `AtMiddle`.
    """
    surfaces = {surface.id: surface for surface in build.surface}
    for item in build.line:
        if item.takeoff is None:
            continue
        plain = item.takeoff.model_copy(update={"pack": None, "sessions": None})
        try:
            taken = expand_takeoff(item.id, plain, at_middle, surfaces)
        except RuleError:
            continue  # said where the build is read
        yield from _too_much(item, plain, taken, at_middle(taken.formula, taken.inputs))


def _too_much(item: Line, table: AnyTakeoff, taken: TakeoffExpansion, middle: float) -> Iterator[Finding]:
    most = MOST[table.kind, getattr(table, "buy", "")]
    if middle <= most:
        return
    yield Finding(
        f"odd_result-{item.id}", "odd", f"{item.title}: {middle:,.4g} {taken.unit} by its take-off",
        f"One car takes at most {most:g}. A dimension may be a slip: {taken.working}.",
        line=item.id,
        mend=f"Look at the take-off of {item.id!r}: lengths are in m, widths and depths in mm where no unit is "
        "written.",
        sheet="Look at its rows in the sheet above: lengths are in m, widths and depths in mm.",
    )  # fmt: skip
