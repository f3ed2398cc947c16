"""The build file's models: exactly what the builder may write, and no arithmetic.

Field names are the keys of the build file. ``Build`` is frozen; a change makes a new one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from forecast.buildfile.consignment import MONEY_BACK, Consignment
from forecast.buildfile.kept import Kept
from forecast.buildfile.measure import Measure
from forecast.buildfile.takeoff import Takeoff
from forecast.buildfile.takeoff_base import Surface
from forecast.figures.file_values import (
    Chance,
    CountryCode,
    CurrencyCode,
    Day,
    Flag,
    Identifier,
    Loading,
    Name,
    Number,
    Part,
    Text,
    wrong,
)
from forecast.figures.kinds import UncertainFigure
from forecast.figures.units import (
    A_PERCENTAGE,
    A_SHARE,
    A_SUM,
    counted_in,
    fits,
    is_measure,
    measured_by,
    misfit,
    no_unit,
    priced_for,
)

Group = Literal["kit", "freight", "import", "consumables", "wheels", "hardware", "labour", "finish", "other"]
Reference = Annotated[
    str, Field(strict=True, pattern=r"^[A-Za-z][A-Za-z0-9_-]*(\.[A-Za-z0-9_-]+)?$", max_length=130)
]
"""Names a line, a group, a consignment, or one line of a consignment as ``kit.duty``."""

GROUPS: tuple[str, ...] = (
    "kit", "freight", "import", "consumables", "wheels", "hardware", "labour", "finish", "other",
)  # fmt: skip
"""Where a line may stand in the cost breakdown, in the order of display."""

HazardKey = Literal[
    "stripping", "panels", "laminating", "filling", "sanding", "spraying", "solvents", "welding", "structure",
    "grinding", "electrics", "bonding", "jacking", "lifting", "compressed_air", "wheels", "wheel_cover", "tyres",
    "running_gear", "lamps", "refitting", "approval", "insurance", "waste", "storing",
]  # fmt: skip
"""What a line may bear that hurts somebody or breaks a rule, as ``cautions.toml`` lists it."""

Bought: TypeAlias = Literal["once", "several", "running"]
"""How a line is paid for."""

_SPANS_OF_TIME = frozenset({"day", "week", "month", "quarter", "year"})


def usually_bought(group: str, unit: str | None) -> Bought:
    """Give how things of a group are usually paid for; by the week or month where that is how they are counted."""
    if unit is not None and unit.lower().rstrip("s") in _SPANS_OF_TIME:
        return "running"
    return "several" if group in ("consumables", "hardware") else "once"


OWN_ESTIMATING = "own_estimating"
"""The one shared cause that moves every figure of the builder's own."""

ESTIMATING = 0.25
"""How far large guesses err together, where a build does not say."""

STARTER_SHARE = 0.4
"""How far two starter ranges err together, against two guesses of the builder's own: no one person made them, though
one garage and one car stand behind all of them. With it the totals of builds of starters alone spread with a standard
deviation of the logarithm of 0.37, inside the 0.3 to 0.4 that published totals of building projects show; as if all
were one person's guesses, 0.47."""

SMALL_LINE = 150.0
"""Euro under which a line says less about the others, where the build states no `estimating_size`: our reading of two
published findings. Totals of building projects spread with a standard deviation of the logarithm of 0.3 to 0.4, so
large lines err together; single tasks of one estimator correlate at 0.02 to 0.06 only, so small ones hardly do: with
0.25 between large ones, two lines of 40 to 75 euro do so."""


class BuildInfo(Part):
    """The ``[build]`` table.

    Attributes
    ----------
    name : str
        What the builder calls it.
    currency : str
        ISO 4217 code of the money everything is added up in.
    country : str
        ISO 3166-1 alpha-2 code of the country whose customs and tax rules hold.
    region : str or None
        Where in it, where a rate of the country's rules follows from that, such as ``ON`` in Canada.
    estimating : float
        Correlation that own estimating puts between any two figures of large lines; 0 switches it off.
    estimating_size : float or None
        Sum of money under which a line says less about the others, and they about it. 0 lets every line say as much
        as any other; a usual sum when left out.
    learn_ranges : bool
        Whether closed lines teach how wide the open ranges should have been.
    budget : float or None
        The sum the builder commits to.
    own_hour_value : figure or None
        What an hour of own work counts for; nothing when left out.
    hours_per_week : float or None
        Own hours that a usual week has room for; with it the work is shown in weeks as well.
    notice : str or None
        Shown wherever the build is shown, for example that its data are invented.
    way : str or None
        The scenario that is the plan: every answer is of it unless another is asked for. When left out, the one that
        the budget was frozen with, else the first.
    cautions_read : tuple of str or None
        Cautions that were read, by their ids: from then on they are only counted where they would be repeated.
    """

    name: Name
    currency: CurrencyCode
    country: CountryCode
    region: Annotated[str, Field(strict=True, pattern=r"^[A-Z0-9]{1,3}$")] | None = None
    estimating: Annotated[float, Field(strict=True, ge=0, lt=1)] = ESTIMATING
    estimating_size: Annotated[float, Field(strict=True, ge=0, le=1e12)] | None = None
    learn_ranges: Flag = True
    budget: Annotated[float, Field(strict=True, gt=0, le=1e12)] | None = None
    own_hour_value: UncertainFigure | None = None
    hours_per_week: Annotated[float, Field(strict=True, gt=0, le=168)] | None = None
    notice: Text | None = None
    way: Identifier | None = None
    cautions_read: tuple[Identifier, ...] | None = None


class Cause(Part):
    """A shared cause: something unseen that pushes several figures the same way."""

    id: Identifier
    name: Name | None = None
    note: Text | None = None


class Currency(Part):
    """What a foreign currency costs.

    Attributes
    ----------
    rate : figure
        Units of the build's currency for one unit of the foreign one, today.
    as_of : date or None
        The day of the rate, from which payments are reckoned; needed where a payment is on a date.
    volatility : float or None
        Yearly standard deviation of the rate's logarithm; with it the rate moves until the day of payment.
    days : float
        Days until payment, where a line does not know better.
    margin : float
        Percent that card or bank adds to the rate.
    """

    rate: UncertainFigure
    as_of: Day | None = None
    volatility: Annotated[float, Field(strict=True, ge=0, le=2)] | None = None
    days: Annotated[float, Field(strict=True, ge=0, le=3650)] = 60
    margin: Annotated[float, Field(strict=True, ge=0, le=50)] = 0


_WITHOUT_UNITS: Mapping[str, str] = {
    "amount": A_SUM, "minimum": A_SUM, "maximum": A_SUM, "resale": A_SUM, "cost": A_SUM, "percent": A_PERCENTAGE,
    "share": A_SHARE, "penalty": "a factor",
}  # fmt: skip
"""Figures of lines and events that take no unit, and what each is."""


class Costed(Part):
    """What lines and events have in common.

    Attributes
    ----------
    own_hours : figure or None
        Hours of own work that it takes.
    wait_weeks : figure or None
        Weeks for which the build stands still for it: until a shop has room, while the car is there, while a late
        delivery is awaited. They add up, one after another.
    hazards : tuple of str or None
        What about it can hurt somebody or break a rule, such as ``spraying``; follows from its id when left out.
    """

    id: Identifier
    name: Name | None = None
    chance: Chance = 1.0
    package: Identifier | None = None
    route: Identifier | None = None
    percent: UncertainFigure | None = None
    of: tuple[Reference, ...] = ()
    own_hours: UncertainFigure | None = None
    wait_weeks: UncertainFigure | None = None
    note: Text | None = None
    hazards: tuple[HazardKey, ...] | None = None

    @model_validator(mode="after")
    def _without_units(self) -> Self:
        for key, what in _WITHOUT_UNITS.items():
            figure = getattr(self, key, None)
            if figure is not None and (told := no_unit(figure.unit, what)):
                wrong(f"{key}: {told[0]}", told[1])
        return self

    @model_validator(mode="after")
    def _timed(self) -> Self:
        for key, figure, own in (
            ("own_hours", self.own_hours, "h"),
            ("wait_weeks", self.wait_weeks, "weeks"),
        ):
            if figure is not None and (told := misfit(figure.unit, own)):
                wrong(f"{key}: {told[0]}", told[1])
        unit = None if self.own_hours is None else self.own_hours.unit
        if unit and counted_in("h", 1, unit) > 1:
            wrong(f"own_hours are in {unit!r}", "How many hours a day's work has differs: write hours.")
        return self

    @property
    def packages(self) -> tuple[str, ...]:
        """Work packages that need it: it counts where any of them takes its route."""
        return () if self.package is None else (self.package,)

    @property
    def title(self) -> str:
        """The name to show: the one given, or one made from the id."""
        return self.name or self.id.replace("_", " ").replace("-", " ").capitalize()


class Line(Costed):
    """One thing that costs money; its amount, quantity × price, or percentage of other lines.

    Attributes
    ----------
    bought : {"once", "several", "running"} or None
        How it is paid for: all at once (a kit, a shop's bill), in several goes (materials), or by the week or month
        (rent). When left out it follows from the group and the unit; see `bought_as`.
    takeoff : take-off table or None
        Dimensions, in place of a quantity; the price is then for one of what it counts.
    also_for : list of str
        Other work packages that need it too, as primer and paint both need a spray gun: it counts once, where any of
        them takes its route.
    price : figure or None
        For one of the quantity's unit, or of its own: ``{ value = 62, unit = "gal" }`` beside a quantity in litres.
    minimum, maximum : figure or None
        The least and the most that is charged, in the build's currency.
    optional : bool
        True where the build could do without.
    safety : bool
        True where trimming could hurt somebody; such a line is never proposed for trimming.
    supplier : str or None
        Where it is bought.
    resale : figure or None
        Money got back when it is sold after the build, as for a tool bought for this build alone; never more than
        it cost.
    """

    group: Group
    also_for: tuple[Identifier, ...] = ()
    amount: UncertainFigure | None = None
    quantity: UncertainFigure | None = None
    takeoff: Takeoff | None = None
    price: UncertainFigure | None = None
    minimum: UncertainFigure | None = None
    maximum: UncertainFigure | None = None
    optional: Flag = False
    safety: Flag = False
    supplier: Name | None = None
    resale: UncertainFigure | None = None
    bought: Bought | None = None

    @property
    def packages(self) -> tuple[str, ...]:
        """Work packages that need it: it counts where any of them takes its route."""
        return (*super().packages, *self.also_for)

    @property
    def only_own_work(self) -> bool:
        """Whether it costs own hours and no money: then the line is closed when its work is done."""
        sums = (self.amount, self.quantity, self.takeoff, self.price, self.percent)
        return self.own_hours is not None and not self.of and all(given is None for given in sums)

    @property
    def brings_money_in(self) -> bool:
        """Whether it is money that comes in: of what is sold less than none is bought, or it is a discount."""
        signs = (self.quantity, self.percent)
        return any(figure is not None and figure.highest < 0 for figure in signs)

    @property
    def bought_as(self) -> Bought:
        """How it is paid for: as stated, or as things of its group and unit usually are."""
        if self.bought is not None:
            return self.bought
        return usually_bought(self.group, self.quantity.unit if self.quantity is not None else None)

    @model_validator(mode="after")
    def _one_way(self) -> Line:
        ways = [
            name
            for name, given in (
                ("amount", self.amount is not None),
                (
                    "quantity and price",
                    self.quantity is not None or (self.price is not None and self.takeoff is None),
                ),
                ("takeoff and price", self.takeoff is not None),
                ("percent and of", self.percent is not None or bool(self.of)),
            )
            if given
        ]
        if len(ways) > 1:
            wrong(
                "has " + " as well as ".join(ways),
                "Keep one way: amount, quantity and price, or percent and of.",
            )
        if not ways and self.own_hours is None and self.wait_weeks is None:
            wrong(
                "costs nothing",
                "Give an amount, a quantity and a price, percent and of, own_hours, or wait_weeks.",
            )
        counted = self.quantity is not None or self.takeoff is not None
        if counted != (self.price is not None):
            missing = "price" if counted else "quantity"
            wrong(
                f"{missing} is missing",
                "A quantity needs a price and a price a quantity; or write one amount.",
            )
        _check_percent(self)
        if self.quantity is not None and self.price is not None:
            _check_priced(self.quantity.unit, priced_for(self.price.unit))
        return self

    @property
    def priced_per(self) -> str | None:
        """The measure that the price is for, such as ``gal``; None where its unit says nothing of the kind."""
        unit = priced_for(self.price.unit) if self.price else None
        return unit if is_measure(unit) else None


class Event(Costed):
    """A risk event: it may or may not happen, with a chance and an impact.

    Its impact is ``cost``, or ``percent`` of other lines, or both; ``own_hours`` come on top. ``causes`` make it
    likelier in the same trials in which they make figures higher.

    Attributes
    ----------
    paid_too : bool or None
        True where ``percent`` is of all that its lines cost, paid or not: work done again, a tax afterwards. When left
        out it is of what is not paid yet, as where a shop overruns its estimate: a bill that is paid grows no more.
    hands_over : tuple of str
        Work packages that go to the shop half-way when it happens, in scenarios where they are done otherwise.
    share : figure or None
        Share of their work that is still open then, from 0 to 1. So much of their shop lines is paid, and so much of
        their own hours is not worked; materials are taken as bought already.
    penalty : figure or None
        Factor on the shop's usual price for taking over what somebody else began; 1 when left out.
    """

    chance: Chance
    causes: dict[Identifier, Loading] = {}
    cost: UncertainFigure | None = None
    hands_over: tuple[Identifier, ...] = ()
    share: UncertainFigure | None = None
    penalty: UncertainFigure | None = None
    paid_too: Flag | None = None

    @model_validator(mode="after")
    def _some_impact(self) -> Event:
        impacts = (self.cost, self.percent, self.own_hours, self.wait_weeks)
        if all(impact is None for impact in impacts) and not self.hands_over:
            wrong(
                "has no impact",
                "Give a cost, percent and of, own_hours, wait_weeks, or hands_over and share.",
            )
        if bool(self.hands_over) != (self.share is not None) or (self.penalty and not self.hands_over):
            wrong(
                "hands_over and share belong together",
                'Write hands_over = ["filling", "paint"] and share = 0.5, the share of the work still open; '
                "penalty = 1.3 if the shop then asks more than usual.",
            )
        if self.paid_too is not None and self.percent is None:
            wrong(
                "paid_too says of what percent is", 'Give percent and of = ["paint"], or leave paid_too out.'
            )
        _check_percent(self)
        return self


def _check_priced(counted: str | None, per: str | None) -> None:
    """Refuse a price for one of something that the quantity does not measure, and say what each of the two is."""
    if not counted or not per or counted == per:
        return
    one, other = is_measure(counted), is_measure(per)
    if (one and other and fits(counted, per)) or (not one and not other):
        return
    if one and other:
        told = f"{counted!r} is {measured_by(counted)}, {per!r} {measured_by(per)}."
    else:
        told = f"{per if one else counted!r} is no unit that is known."
    wrong(
        f"quantity is in {counted!r}, price for one {per!r}",
        f"{told} The two do not fit: write the price for one {counted!r}, or the quantity in what it is sold by.",
    )


def _check_percent(item: Costed) -> None:
    if (item.percent is None) != (not item.of):
        missing = "of" if item.percent is not None else "percent"
        wrong(
            f"{missing} is missing",
            'A percentage needs both: percent = 2.5 and of = ["kit", "freight"] (lines or groups).',
        )


class Scenario(Part):
    """One way to do the whole build.

    Attributes
    ----------
    all : str
        Route of every work package that is not named.
    routes : dict
        Route by work package; in the file these stand beside ``all`` as plain keys.
    override : dict
        Changed keys by line or event id.
    """

    name: Name | None = None
    all: Identifier = "self"
    routes: dict[Identifier, Identifier] = {}
    override: dict[Identifier, dict[str, Any]] = {}
    note: Text | None = None

    @model_validator(mode="before")
    @classmethod
    def _gather_routes(cls, raw: Any) -> Any:
        if not isinstance(raw, Mapping) or "routes" in raw:
            return raw
        own = {"name", "all", "override", "note"}
        routes = {
            key: value for key, value in raw.items() if key not in own and not isinstance(value, Mapping)
        }
        return {key: value for key, value in raw.items() if key not in routes} | {"routes": routes}

    def route(self, package: str) -> str:
        """Give the route that a work package takes."""
        return self.routes.get(package, self.all)


AS_WRITTEN = "_as_written"
"""How the id of an option ends that is the builder's own estimate, after that of its choice."""


class Option(Part):
    """One answer to a question that has several: a kit, a shop, a set of terms.

    Attributes
    ----------
    choice : str
        The question, the same for all its options, such as ``kit``.
    override : dict
        Changed keys by line, event or consignment id.
    line, event : tuple
        What comes on top with this option, such as a no-show or a late delivery. Options of one choice may use the
        same id for the same risk; it is then drawn alike.
    """

    id: Identifier
    choice: Identifier
    name: Name | None = None
    override: dict[Identifier, dict[str, Any]] = {}
    line: tuple[Line, ...] = ()
    event: tuple[Event, ...] = ()
    note: Text | None = None

    @property
    def title(self) -> str:
        """The name to show: the one given, or one made from the id."""
        return self.name or self.id.replace("_", " ").replace("-", " ").capitalize()

    @property
    def own_estimate(self) -> bool:
        """Whether it is what the file says already, put beside a first quote: nobody offers it, so none can take it."""
        return self.id.startswith(self.choice + AS_WRITTEN) and not (self.override or self.line or self.event)


_FINGERPRINTS: Kept[str] = Kept()


class Build(Part):
    """One vehicle conversion, exactly as the build file says it."""

    build: BuildInfo
    currency: dict[CurrencyCode, Currency] = {}
    cause: tuple[Cause, ...] = ()
    line: tuple[Line, ...] = ()
    event: tuple[Event, ...] = ()
    consignment: tuple[Consignment, ...] = ()
    surface: tuple[Surface, ...] = ()
    scenario: dict[Identifier, Scenario] = {}
    measure: tuple[Measure, ...] = ()
    option: tuple[Option, ...] = ()
    not_needed: dict[Identifier, Text] = {}

    @property
    def name(self) -> str:
        """What the builder calls it."""
        return self.build.name

    @property
    def work_alone(self) -> frozenset[str]:
        """Lines that cost own hours and no money, by id."""
        return frozenset(line.id for line in self.line if line.only_own_work)

    @property
    def income(self) -> frozenset[str]:
        """Lines that are money that comes in, by id: what is sold, discounts, money back for goods sent back."""
        sold = {line.id for line in self.line if line.brings_money_in}
        return frozenset(
            sold | {f"{one.id}.{MONEY_BACK}" for one in self.consignment if one.returned is not None}
        )

    def fingerprint(self) -> str:
        """Give a name for exactly this content, the same on every machine.

        Keys that are not given leave no trace in it: a key that a later version knows changes no earlier name.

        Returns
        -------
        str
            64 hexadecimal digits (SHA-256 of the canonical JSON).
        """
        return _FINGERPRINTS.get(self, "", self._read_fingerprint)

    def _read_fingerprint(self) -> str:
        order = list(self.scenario)  # told apart because the first is the default
        content = self.model_dump(mode="json", exclude_none=True) | {"scenarios": order}
        text = json.dumps(content, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()


__all__ = [
    "GROUPS", "OWN_ESTIMATING", "STARTER_SHARE", "Build", "BuildInfo", "Cause", "Costed", "Currency", "Event", "Group",
    "Line", "Measure", "Number", "Option", "Scenario",
]  # fmt: skip
