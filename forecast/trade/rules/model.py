"""Customs rules as frozen data: every figure with its source, its date and a mark of certainty."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from types import MappingProxyType
from typing import Literal

from forecast.buildfile.rulefiles import TAX_NAMES, Regions, is_meant
from forecast.errors import RangeOnFileError, RuleError
from forecast.figures.figure import FigureBase
from forecast.figures.kinds import BetaPert, Known, Percentiles, Span, Uniform
from forecast.words.day_words import long_day
from forecast.words.sources import Certainty, source_words

CostPart = Literal["price", "export", "freight", "insurance", "arrival", "customs_value", "duty", "levies"]
COST_PARTS: tuple[CostPart, ...] = (
    "price", "export", "freight", "insurance", "arrival", "customs_value", "duty", "levies",
)  # fmt: skip
"""What may enter a customs value or a tax base."""

Effect = Literal["no duty", "flat duty", "flat rate", "no duty and tax", "no small tax"]

GIFT_LIMIT = "gift.limit"
"""Id of the figure up to which a present bears nothing; the builder's own alone."""

OUTDATED_AFTER = 548
"""Days (18 months) after which a figure with no end date counts as outdated."""


class _Sourced:
    """Something of the law or common practice, and who says so."""

    source: str
    certainty: Certainty
    read: date | None

    @property
    def told(self) -> str:
        """The source, in words."""
        return source_words(self.source, self.certainty, self.read)


@dataclass(frozen=True)
class RuleFigure(_Sourced):
    """A figure of trade or law.

    Attributes
    ----------
    id, label, unit : str
        Its name in overrides, in words, and what it is counted in (``share``: 0.2 for 20 %).
    low, middle, high : float
        The range; all three alike for a figure that is one number.
    source : str
        Where it was read.
    as_of : datetime.date or None
        The date for which the source gives it; None where the source bears none.
    certainty : str
        ``verified`` in the authority's own text, read with a ``third party``, of ``no source``, or
        ``common practice``.
    valid_to : datetime.date or None
        Its last day, where one is known.
    note : str
        What else to know.
    read : datetime.date or None
        The day on which it was read there: the day of the reading, not of the source.
    """

    id: str
    label: str
    low: float
    middle: float | None
    high: float
    unit: str
    source: str
    as_of: date | None
    certainty: Certainty
    valid_to: date | None = None
    note: str = ""
    read: date | None = None

    @property
    def value(self) -> float:
        """The figure, where it is one number.

        Raises
        ------
        RangeOnFileError
            When it is a range.
        """
        if self.is_range:
            raise RangeOnFileError(self.id, self.label, self.low, self.high, share=self.unit == "share")
        return self.low

    @property
    def is_range(self) -> bool:
        """True where the figure is not one number: it is the first thing to look up."""
        return self.low != self.high

    def as_figure(self, scale: float = 1.0, widen: float = 1.0) -> FigureBase:
        """Give it as an uncertain figure, times a scale, the high end times ``widen`` more.

        A range of rates goes from the least to the most that tariffs have; any other from P10 to P90.
        """
        low, high = self.low * scale, self.high * scale * widen
        if self.low == self.high:
            return Known(value=low, unit=self.unit, estimated=False)
        if self.unit == "share":
            if self.middle is None:
                return Uniform(min=low, max=high, unit=self.unit, starter=True)
            return BetaPert(min=low, mode=self.middle * scale, max=high, unit=self.unit, starter=True)
        if self.middle is None:
            return Span(low=low, high=high, unit=self.unit, starter=True)
        middle = self.middle * scale
        return Percentiles(low=low, middle=middle, high=high, unit=self.unit, starter=True)

    def doubts(self, on: date) -> tuple[str, ...]:
        """Say why the figure should be looked up again: outdated, or not verified; nothing where neither."""
        return reasons_to_doubt(self.as_of, self.certainty, on, self.valid_to, self.read)


def reasons_to_doubt(
    as_of: date | None,
    certainty: Certainty,
    on: date,
    valid_to: date | None = None,
    read: date | None = None,
) -> tuple[str, ...]:
    """Say why something read on a day, with some certainty, should be looked up again on another."""
    found: list[str] = []
    if valid_to is not None and valid_to < on:
        found.append(f"held until {long_day(valid_to)}")
    elif as_of is not None and (on - as_of).days > OUTDATED_AFTER:
        found.append(f"is of {long_day(as_of)}, more than 18 months old")
    elif as_of is None and read is not None and (on - read).days > OUTDATED_AFTER:
        found.append(f"was read on {long_day(read)}, more than 18 months ago")
    if certainty == "third party":
        found.append("was read in a third party's page only")
    elif certainty == "no source":
        found.append("has no source")
    elif certainty == "common practice":
        found.append("is common practice without a source")
    return tuple(found)


@dataclass(frozen=True)
class RuleWarning:
    """A figure in use that should be looked up before one relies on it.

    ``mend`` says how to overwrite it in a build file, after the text.
    """

    figure: str
    text: str
    mend: str = ""

    def __str__(self) -> str:
        return self.text + self.mend


@dataclass(frozen=True)
class Basis(_Sourced):
    """What enters a customs value or a tax base, and who says so.

    ``uplift`` names a figure: a share of the customs value that is added, but not for the origins in ``no_uplift``.
    ``insurance`` names a figure too: the share of the price at the port of export that stands in for a premium that is
    not known.
    """

    parts: tuple[CostPart, ...]
    words: str
    source: str
    certainty: Certainty
    as_of: date | None = None
    read: date | None = None
    note: str = ""
    uplift: str | None = None
    insurance: str | None = None
    no_uplift: tuple[str, ...] = ()

    def doubts(self, on: date) -> tuple[str, ...]:
        """Say why it should be looked up again; nothing where it need not."""
        return reasons_to_doubt(self.as_of, self.certainty, on, read=self.read)


@dataclass(frozen=True)
class Levy:
    """A charge of the state on an entry: an amount, or a rate of the customs value with its least and most.

    ``amount``, ``rate``, ``minimum``, ``maximum`` and the four limits name figures. It holds by the modes
    listed (all where none is) and for customs values above, at least, under and at most the limits.
    """

    id: str
    label: str
    amount: str | None = None
    rate: str | None = None
    minimum: str | None = None
    maximum: str | None = None
    modes: tuple[str, ...] = ()
    above: str | None = None
    at_least: str | None = None
    under: str | None = None
    at_most: str | None = None

    @property
    def figures(self) -> tuple[str, ...]:
        """Ids of all figures that it names."""
        named = (self.amount, self.rate, self.minimum, self.maximum)
        limits = (self.above, self.at_least, self.under, self.at_most)
        return tuple(id for id in (*named, *limits) if id is not None)


@dataclass(frozen=True)
class Additional:
    """A duty on top of the base duty, counted only where the consignment says so.

    ``rate`` names a figure. Where it is not on file, the builder has to write it, and is asked for it.
    ``totals`` names, by origin, figures that are the total with the base duty. The guided start counts a suggested one
    until the builder takes it out.
    """

    id: str
    label: str
    rate: str
    hs: tuple[str, ...]
    words: str
    origins: tuple[str, ...] = ()
    totals: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    suggested: bool = False

    def concerns(self, hs: str) -> bool:
        """Tell whether goods of a tariff code may bear it."""
        return hs.replace(".", "").startswith(tuple(code.replace(".", "") for code in self.hs))

    def may_hold(self, codes: Iterable[str], origin: str | None) -> bool:
        """Tell whether any of some goods that were made somewhere may bear it."""
        return any(map(self.concerns, codes)) and (not self.origins or is_meant(origin, self.origins))


@dataclass(frozen=True)
class Threshold:
    """What happens up to a small goods value (or a small tax), by the modes listed (all where none is).

    The limit is held against the goods' price, or against their customs value where ``of`` says so.
    """

    id: str
    at_most: str
    effect: Effect
    words: str
    modes: tuple[str, ...] = ()
    of: Literal["price", "customs value"] = "price"
    flat: str | None = None  # there where the effect is a flat duty or a flat rate, and nowhere else


@dataclass(frozen=True)
class PrivateUse:
    """What stands in for the customs value of goods for one's own use: a share of their price, and nothing else.

    ``share`` names a figure. ``doubt`` says why it may not hold: it is counted only where the consignment says so.
    ``question`` and ``why`` are what the guided start asks.
    """

    share: str
    words: str
    doubt: str
    question: str = ""
    why: str = ""


@dataclass(frozen=True)
class Preference(_Sourced):
    """Origins for which a trade agreement may lower the duty."""

    origins: tuple[str, ...]
    words: str
    source: str
    certainty: Certainty
    as_of: date | None = None
    read: date | None = None


@dataclass(frozen=True)
class Territory(_Sourced):
    """Countries from which goods in free circulation bear no duty, though tax and entry may be due all the same.

    ``countries`` are codes of countries or of customs unions.
    """

    countries: tuple[str, ...]
    words: str
    source: str
    certainty: Certainty
    as_of: date | None = None
    read: date | None = None


@dataclass(frozen=True)
class Remark:
    """Something to know beside the lines, for some tariff codes or origins or for all."""

    words: str
    hs: str = ""
    origins: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rules:
    """What the law of one country says of an import.

    Attributes
    ----------
    code, name, currency : str
        ISO 3166-1 alpha-2 code, name, and the currency of its sums.
    customs_value, tax_base : Basis or None
        What enters them; no tax base where there is no tax.
    tax : str or None
        FigureBase of the tax rate.
    base_step : float
        The tax base is rounded to the nearest multiple; 0 for no rounding.
    figures : mapping
        Every figure by id.
    home : Regions or None
        What is asked of the builder before a rate can be told; see `in_region`.
    gift : str
        Where it says up to which value a present bears neither duty nor tax: no such value is on file.
    services_taxed : bool
        Whether what agents, ports and carriers charge in the country bears the same tax as imports.
    """

    code: str
    name: str
    currency: str
    tax_name: str
    tax: str | None
    rate_of_exchange: str
    base_step: float
    customs_value: Basis
    tax_base: Basis | None
    figures: Mapping[str, RuleFigure]
    levies: tuple[Levy, ...] = ()
    additional: tuple[Additional, ...] = ()
    thresholds: tuple[Threshold, ...] = ()
    preferences: tuple[Preference, ...] = ()
    territories: tuple[Territory, ...] = ()
    remarks: tuple[Remark, ...] = ()
    members: frozenset[str] = frozenset()
    home: Regions | None = None
    private_use: PrivateUse | None = None
    gift: str = ""
    services_taxed: bool = True

    def in_region(self, code: str | None) -> Rules:
        """Give the rules as they hold where the builder lives: with the rate of the region, or with all that it may be.

        Raises
        ------
        RuleError
            When the country's rules know no such region.
        """
        asked = self.home
        if asked is None:
            return self
        chosen = asked.choices.get(code or "")
        if code is not None and chosen is None:
            listed = ", ".join(f"{one.code} ({one.name})" for one in asked.choices.values())
            message = f"build.region: found {code!r}. Legal in {self.name}: {listed}."
            raise RuleError(message)
        rate = RuleFigure(
            id=asked.sets,
            label=chosen.label if chosen else f"{self.tax_name}, of a region not told",
            low=chosen.value if chosen else asked.low,
            middle=None if chosen else asked.middle,
            high=chosen.value if chosen else asked.high,
            unit="share",
            source=asked.source,
            as_of=asked.as_of,
            certainty=asked.certainty,
            note=asked.note,
            read=asked.read,
        )
        return replace(self, figures=MappingProxyType({**self.figures, rate.id: rate}))

    def for_a_gift(self) -> Rules:
        """Give the rules with a limit up to which a present bears nothing: 0, until the builder tells it."""
        label = "Value up to which a present bears neither duty nor tax"
        limit = RuleFigure(GIFT_LIMIT, label, 0.0, None, 0.0, self.currency, self.gift, None, "no source")
        rule = Threshold("gift", GIFT_LIMIT, "no duty and tax", f"{label}.")
        figures = MappingProxyType({**self.figures, limit.id: limit})
        return replace(self, figures=figures, thresholds=(*self.thresholds, rule))

    def free_of_duty(self, came_from: str | None) -> Territory | None:
        """Give the customs union by which goods sent from a country bear no duty; None where there is none."""
        return next((one for one in self.territories if is_meant(came_from, one.countries)), None)

    def figure(self, id: str) -> RuleFigure:
        """Give a figure by id.

        Raises
        ------
        RuleError
            When the country's rules have no such figure.
        """
        if id not in self.figures:
            message = (
                f"{self.code}: there is no rule figure {id!r}. Legal: {', '.join(sorted(self.figures))}. "
                "Overrides take these ids and duty.<tariff code>."
            )
            raise RuleError(message)
        return self.figures[id]

    def by(self, mode: str) -> Rules:
        """Give the rules that hold for goods that travel by a mode."""
        kept = tuple(rule for rule in self.thresholds if not rule.modes or mode in rule.modes)
        return self if kept == self.thresholds else replace(self, thresholds=kept)

    def is_share(self, id: str) -> bool:
        """Tell whether a figure, or one that the builder is asked for, is a rate."""
        asked = id.startswith("duty.") or any(rule.rate == id for rule in self.additional)
        return asked or (id in self.figures and self.figures[id].unit == "share")

    def canonical(self, id: str) -> str:
        """Give the id that is meant: ``tax``, ``vat`` and ``gst`` all stand for the country's import tax."""
        return self.tax if self.tax is not None and id in TAX_NAMES else id

    def duty_id(self, hs: str) -> str | None:
        """Give the duty figure of a tariff code: the longest code on file that it begins with, or None."""
        digits = hs.replace(".", "")
        found = [
            id
            for id in self.figures
            if id.startswith("duty.") and digits.startswith(id.removeprefix("duty.").replace(".", ""))
        ]
        return max(found, key=len, default=None)

    def warnings(self, on: date, used: frozenset[str] | None = None) -> tuple[RuleWarning, ...]:
        """Say which figures are outdated or not verified on a day.

        Parameters
        ----------
        on : datetime.date
            The day.
        used : frozenset of str, optional
            Ids of the figures in use, with ``customs_value`` and ``tax_base``; all when left out.

        Returns
        -------
        tuple of RuleWarning
            One for each figure in doubt.
        """
        chosen = [f for id, f in self.figures.items() if used is None or id in used]
        chosen.sort(key=lambda figure: not figure.is_range)  # what is only known roughly comes first
        found = [w for figure in chosen if (w := doubt(figure, self.code, on)) is not None]
        for id, basis in (("customs_value", self.customs_value), ("tax_base", self.tax_base)):
            if basis is None or (used is not None and id not in used):
                continue
            if reasons := basis.doubts(on):
                what = id.replace("_", " ")
                text = f"{self.code}, what enters the {what} {' and '.join(reasons)}{_in(basis.source)}."
                found.append(RuleWarning(id, text))
        return tuple(found)


def _in(place: str) -> str:
    return f" ({place})" if place else ""


def doubt(figure: RuleFigure, where: str, on: date) -> RuleWarning | None:
    """Put a figure's doubts into one warning; None where there is none."""
    doubts = figure.doubts(on)
    if not doubts:
        return None
    shown = f"{figure.low:g}" if figure.low == figure.high else f"{figure.low:g} to {figure.high:g}"
    if figure.unit == "share":
        shown = " to ".join(f"{100 * rate:g}" for rate in dict.fromkeys((figure.low, figure.high))) + " %"
    else:
        shown = f"{shown} {figure.unit}"
    look = "Look it up before you rely on it"
    if figure.is_range and figure.unit == "share":
        look = "Look this up first: a range stands in for the rate"
    text = f"{where}, {figure.label} ({shown}) {' and '.join(doubts)}{_in(figure.source)}. {look}"
    return RuleWarning(figure.id, text, f'; overwrite it with overrides = {{ "{figure.id}" = … }}.')
