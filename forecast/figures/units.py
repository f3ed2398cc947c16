"""Units as builders write them, metric and US customary: what a word measures, and how it counts in the tool's own.

Metric words, and those of workshops in feet, pounds and gallons, stand in small tables. Any other word is looked up in
the units library pint, which is loaded at the first of them: that takes longer than many a command. A unit is one word
or several with ``/`` and a power, such as ``ft2``, ``lb/gal`` or ``sq ft``; nothing else is given to the library.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING

from forecast.figures.formula import Constant, Formula, Product, Sum
from forecast.words.currencies import is_currency

if TYPE_CHECKING:
    from pint import UnitRegistry

_Dimension = tuple[int, int, int, str]
"""Powers of length, mass and temperature, and the name of whatever else a unit measures."""

_NONE: _Dimension = (0, 0, 0, "")
_LENGTH: _Dimension = (1, 0, 0, "")
_AREA: _Dimension = (2, 0, 0, "")
_VOLUME: _Dimension = (3, 0, 0, "")
_WEIGHT: _Dimension = (0, 1, 0, "")
_WARMTH: _Dimension = (0, 0, 1, "")
_TIME: _Dimension = (0, 0, 0, "[time]")


@dataclass(frozen=True)
class Unit:
    """What one of a unit is in metres, kilograms, kelvins or seconds, and where its zero lies."""

    dimension: _Dimension
    factor: float
    offset: float = 0.0


def _metric() -> Mapping[str, Unit]:
    names: dict[_Dimension, dict[float, tuple[str, ...]]] = {
        _NONE: {1.0: ("1", "piece", "pieces", "pcs", "disc", "discs", "sheet", "sheets"), 0.01: ("%", "percent")},
        _LENGTH: {
            1.0: ("m", "metre", "metres", "meter", "meters"),
            0.1: ("dm",),
            0.01: ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
            1e-3: ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
            1e-6: ("µm", "μm", "um", "micron", "microns", "micrometre", "micrometer"),
        },
        _VOLUME: {
            1e-3: ("L", "l", "litre", "litres", "liter", "liters"),
            1e-6: ("ml", "mL", "millilitre", "millilitres", "milliliter", "milliliters", "cc", "ccm"),
        },
        _WEIGHT: {
            1.0: ("kg", "kilo", "kilos", "kilogram", "kilograms"),
            1e-3: ("g", "gram", "grams"),
            1000.0: ("t", "tonne", "tonnes"),
        },
        _TIME: {
            60.0: ("min", "minute", "minutes"),
            3600.0: ("h", "hr", "hrs", "hour", "hours"),
            86_400.0: ("day", "days"),
            604_800.0: ("week", "weeks"),
        },
    }  # fmt: skip
    table = {
        name: Unit(dimension, factor)
        for dimension, sizes in names.items()
        for factor, words in sizes.items()
        for name in words
    }
    warm = Unit(_WARMTH, 1.0, 273.15)
    return table | dict.fromkeys(("°C", "degC", "C", "celsius"), warm)


_METRIC = _metric()

_INCH, _POUND, _GALLON = 0.0254, 0.45359237, 0.003785411784  # by definition; a gallon is 231 cubic inches


def _customary() -> Mapping[str, Unit]:
    """Give what is defined exactly, rounded as the library's answers are (`_plain`), under the library's names."""
    sizes: dict[_Dimension, dict[float, tuple[str, ...]]] = {
        _LENGTH: {
            _INCH / 1000: ("thou",),
            _INCH: ("in", "inch", "inches"),
            12 * _INCH: ("ft", "foot", "feet"),
            36 * _INCH: ("yd", "yard", "yards"),
        },
        _WEIGHT: {_POUND: ("lb", "pound", "pounds"), _POUND / 16: ("oz", "ounce", "ounces")},
        _VOLUME: {
            _GALLON: ("gal", "gallon", "gallons"),
            _GALLON / 4: ("qt", "quart", "quarts"),
            _GALLON / 8: ("pt", "pint", "pints"),
            _GALLON / 128: ("fluid_ounce",),
            0.00454609: ("imperial_gallon",),
        },
    }
    table = {
        name: Unit(dimension, _plain(factor))
        for dimension, words in sizes.items()
        for factor, names in words.items()
        for name in names
    }
    return table | {"degree_Fahrenheit": Unit(_WARMTH, _plain(5 / 9), _plain(459.67 * 5 / 9))}


_OTHER_WORDS: Mapping[str, str] = {
    '"': "inch", "″": "inch", "'": "foot", "′": "foot", "mil": "thou", "mils": "thou", "lbs": "pound",
    "fl oz": "fluid_ounce", "fl. oz": "fluid_ounce", "fl_oz": "fluid_ounce", "floz": "fluid_ounce",
    "us gal": "gallon", "us gallon": "gallon", "gals": "gallon", "imp gal": "imperial_gallon",
    "imperial gallon": "imperial_gallon", "uk gal": "imperial_gallon", "°f": "degree_Fahrenheit",
    "degf": "degree_Fahrenheit", "f": "degree_Fahrenheit", "fahrenheit": "degree_Fahrenheit",
}  # fmt: skip
"""Words of workshops and shops that the library knows by another name, or as something else (its mil is an angle)."""

_WORD = re.compile(r"[A-Za-z_]{2,24}")
_POWERED = re.compile(r"(?P<name>.*?)\s*(?:\^|\*\*)?(?P<power>[23²³])")
_SQUARED = re.compile(r"(?P<power>square|sq|cubic|cu)[ .]+(?P<name>.+)|(?P<short>sq|cu)(?P<rest>[a-z]+)")
_LONGEST = 40
_MANY = 1e6  # so many of a unit whose zero lies elsewhere tell its size to the last digit

_CALLED: Mapping[_Dimension, tuple[str, str]] = {
    _NONE: ("a plain number", "no unit"),
    _LENGTH: ("a length", "µm, mm, cm, m, mil, in, ft or yd"),
    _AREA: ("an area", "cm2, m2, in2, ft2 or yd2"),
    _VOLUME: ("a volume", "ml, L, m3, fl oz, pt, qt, gal or ft3"),
    _WEIGHT: ("a weight", "g, kg, oz or lb"),
    _WARMTH: ("a temperature", "°C or °F"),
    _TIME: ("a time", "min, h, days, weeks or months"),
    (-3, 1, 0, ""): ("a density", "kg/L or lb/gal"),
    (-2, 1, 0, ""): ("a weight of an area", "g/m2, oz/ft2 or oz/yd2"),
    (-1, 0, 0, ""): ("an area from a volume", "m2/L or ft2/gal"),
    (-2, 0, 0, ""): ("a number on an area", "1/m2 or 1/ft2"),
}
"""What each dimension is called, and which units are likely to be meant."""


A_SUM, A_SHARE, A_PERCENTAGE = "a sum of money", "a share", "a percentage"
"""What takes no unit, in words."""


@lru_cache(maxsize=500)
def read_unit(text: str) -> Unit | None:
    """Read a unit as it is written; None for a word that is no unit, such as ``cartridges``."""
    written = text.strip()
    if not written:
        return Unit(_NONE, 1.0)
    if len(written) > _LONGEST:
        return None
    top, *below = re.split(r"\s*/\s*|\s+per\s+", re.sub(r"^per\s+", "1/", written))
    powers = [0, 0, 0]
    factor, offset, others = 1.0, 0.0, ""
    for sign, part in ((1, top), *((-1, part) for part in below)):
        one = _term(part)
        if one is None:
            return None
        if below and one.offset:
            return None
        powers = [total + sign * power for total, power in zip(powers, one.dimension[:3], strict=True)]
        others = others or one.dimension[3]
        factor, offset = factor * one.factor**sign, one.offset
    return Unit((powers[0], powers[1], powers[2], others), factor, offset)


def _term(text: str) -> Unit | None:
    """Read one unit with its power."""
    text = text.strip()
    if (one := _named(text)) is not None:
        return one
    name, power = text, 0
    if match := _POWERED.fullmatch(text):
        name, power = match["name"], 2 if match["power"] in "2²" else 3
    elif match := _SQUARED.fullmatch(text.lower()):
        name = match["name"] or match["rest"]
        power = 2 if (match["power"] or match["short"]).startswith("sq") else 3
    one = _named(name) if power else None
    if one is None or one.dimension != _LENGTH:
        return None
    return Unit((power, 0, 0, ""), one.factor**power)


def _named(name: str) -> Unit | None:
    """Read a name without a power, as it is written and in small letters."""
    for word in dict.fromkeys((name, name.lower().rstrip("."))):
        if word in _METRIC:
            return _METRIC[word]
    small = name.lower().rstrip(".")
    words = (_OTHER_WORDS[small],) if small in _OTHER_WORDS else dict.fromkeys((small, name))
    return next((one for one in map(_looked_up, words) if one is not None), None)


def _looked_up(word: str) -> Unit | None:
    return _CUSTOMARY[word] if word in _CUSTOMARY else _in_library(word)


@lru_cache(maxsize=500)
def _in_library(word: str) -> Unit | None:
    """Ask pint, whatever stands in the tables."""
    if not _WORD.fullmatch(word):
        return None
    import pint

    registry = _registry()
    if not any(prefix == "" for prefix, _, _ in registry.parse_unit_name(word)):
        return None  # metric prefixes stand in the table: a quarter of the alphabet before a letter is a slip
    try:
        unit = registry.Unit(word)
        nothing, many = (
            float(registry.Quantity(count, unit).to_base_units().magnitude) for count in (0.0, _MANY)
        )
    except (pint.PintError, AttributeError, ArithmeticError, TypeError, ValueError):
        return None
    powers = {str(name): power for name, power in unit.dimensionality.items()}
    length, mass, warmth = (
        int(float(str(powers.pop(name, 0)))) for name in ("[length]", "[mass]", "[temperature]")
    )  # fmt: skip
    return Unit(
        (length, mass, warmth, " ".join(sorted(powers))), _plain((many - nothing) / _MANY), _plain(nothing)
    )


def _plain(number: float) -> float:
    """Take away the last digit, where conversions of the library leave their rounding."""
    return float(f"{number:.15g}")


_CUSTOMARY = _customary()


@cache
def _registry() -> UnitRegistry[float]:
    import pint

    return pint.UnitRegistry()


def fits(written: str, own: str) -> bool:
    """Tell whether a unit measures what the tool counts in ``own``; a word that is no unit may name a plain number."""
    unit, base = read_unit(written), read_unit(own)
    assert base is not None
    return (base.dimension == _NONE) if unit is None else unit.dimension == base.dimension


def measured_by(written: str) -> str:
    """Say what a unit measures, such as ``a weight``, or that it is none."""
    unit = read_unit(written)
    if unit is None:
        return "which is none that is known"
    return _CALLED.get(unit.dimension, ("something else", ""))[0]


def no_unit(figure_unit: str | None, what: str) -> tuple[str, str] | None:
    """Give what was found and how to mend it where something that takes no unit has one; None where it has none.

    A percentage may bear its sign.
    """
    if not figure_unit or (what == A_PERCENTAGE and figure_unit.strip().lower() in ("%", "percent")):
        return None
    mend = f"This is {what}, which has no unit: leave it out."
    if is_currency(figure_unit.strip().upper()):
        return (
            f"unit is {figure_unit!r}",
            f'{mend} Money is told by currency = "{figure_unit.strip().upper()}".',
        )
    return f"unit is {figure_unit!r}, {measured_by(figure_unit)}", mend


def priced_for(unit: str | None) -> str | None:
    """Give what a price is for where its unit says so: ``lb`` for ``lb``, ``per lb`` and ``/lb``."""
    return unit.strip().removeprefix("per ").removeprefix("/").strip() if unit else None


def misfit(written: str | None, own: str) -> tuple[str, str] | None:
    """Give what was found and how to mend it where a unit does not measure what is wanted; None where it does."""
    if not written or fits(written, own):
        return None
    unit, base = read_unit(written), read_unit(own)
    assert base is not None
    wanted, legal = _CALLED.get(base.dimension, ("something else", own))
    found = f"unit is {written!r}, {measured_by(written)}"
    mend = f"This is {wanted}: write {legal}"
    if base.dimension == _NONE:
        return found, f"{mend}."
    mend += f", or leave the unit out for {own}."
    if (
        base.dimension == _VOLUME
        and unit is not None
        and unit.dimension == _WEIGHT
        and "oz" in written.lower()
    ):
        mend += " A fluid ounce is fl oz."
    return found, mend


def conversion(written: str | None, own: str) -> tuple[float, float]:
    """Give by what to multiply, and what to add, to count in ``own`` what is written in another unit that fits."""
    if not written or written == own:
        return 1.0, 0.0
    unit, base = read_unit(written), read_unit(own)
    if unit is None or base is None or unit.dimension != base.dimension:
        return 1.0, 0.0
    return _plain(unit.factor / base.factor), _plain((unit.offset - base.offset) / base.factor)


def counted_in(own: str, number: float, written: str | None) -> float:
    """Give a number that is written in a unit as it counts in ``own``."""
    factor, offset = conversion(written, own)
    return number * factor + offset


def formula_in(own: str, node: Formula, written: str | None) -> Formula:
    """Give a formula in ``own`` for one in the unit that is written: the node itself where they are the same."""
    factor, offset = conversion(written, own)
    if (factor, offset) == (1.0, 0.0):
        return node
    scaled = Product((Constant(factor), node))
    return Sum((scaled, Constant(offset))) if offset else scaled


def rate_in(own: str, written: str | None) -> float:
    """Give by what to multiply a price for one of the unit that is written, to have the price for one of ``own``."""
    return conversion(own, written)[0] if written else 1.0


_USUAL = frozenset(
    {"ft", "in", "yd", "foot", "feet", "inch", "inches", "yards", "lb", "oz", "gal", "qt", "pt"}
)
_NAMES = re.compile(r"[^/*^23²³ ]+")


def like_metric(written: str | None, own: Iterable[str]) -> str | None:
    """Give which of the tool's own units a word counts like, ``m²`` for ``ft2``; None where it counts things.

    Words that name things, such as ``cartridges``, are told without the units library.
    """
    if not written or not all(
        name in _METRIC or name.lower() in _USUAL or name.lower() in _OTHER_WORDS
        for name in _NAMES.findall(written)
    ):
        return None
    return next((one for one in own if is_measure(written) and fits(written, one)), None)


def is_measure(written: str | None) -> bool:
    """Tell whether a word is a unit of something that is measured, not counted."""
    if not written:
        return False
    unit = read_unit(written)
    return unit is not None and unit.dimension != _NONE


class Written(float):
    """A number in the tool's own unit that was written in another, and remembers how: ``text``."""

    text: str

    def __new__(cls, value: float, text: str = "") -> Written:
        """Make one; without a text only when it is copied, which puts the text back."""
        made = super().__new__(cls, value)
        made.text = text
        return made


__all__ = [
    "A_PERCENTAGE", "A_SHARE", "A_SUM", "Unit", "Written", "conversion", "counted_in", "fits", "formula_in",
    "is_measure", "like_metric", "measured_by", "misfit", "no_unit", "priced_for", "rate_in", "read_unit",
]  # fmt: skip
