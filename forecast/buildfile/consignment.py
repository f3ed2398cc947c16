"""What the build file says of goods bought abroad: the ``[[consignment]]`` tables, and no arithmetic.

A consignment is everything that travels together from one seller. The trade room turns it into lines.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from math import ceil
from typing import Annotated, Literal

from pydantic import BaseModel, Field, ValidationInfo, field_validator, model_validator

from forecast.figures.figure import FigureBase
from forecast.figures.file_values import (
    CountryCode,
    CurrencyCode,
    Day,
    Flag,
    Identifier,
    Name,
    Part,
    Text,
    keys_of,
    wrong,
)
from forecast.figures.kinds import Known, UncertainFigure
from forecast.figures.units import (
    A_PERCENTAGE,
    A_SHARE,
    A_SUM,
    fits,
    measured_by,
    misfit,
    no_unit,
    priced_for,
)

Mode = Literal["courier", "air", "sea", "road"]
"""How the goods travel; sea means a part of a shared container."""

UNITS: Mapping[str, str] = {"courier": "kg", "air": "kg", "sea": "W/M", "road": "kg"}
"""What each mode charges for: kg, or W/M, the larger of tonnes and cubic metres."""

Incoterm = Literal["EXW", "FCA", "FOB", "CPT", "CIP", "CFR", "CIF", "DAP", "DPU", "DDP"]
"""Incoterms 2020 rules that a kit seller may quote."""

ArrivalCharge = Literal["terminal", "documents", "surcharges", "entry", "delivery", "storage", "disbursement"]
"""A charge between the border and the door."""

GoodsGroup = Literal["kit", "consumables", "wheels", "hardware", "finish", "other"]

Share = Annotated[float, Field(strict=True, ge=0, le=1)]
Days = Annotated[float, Field(strict=True, ge=0, le=3650)]
HsCode = Annotated[str, Field(strict=True, pattern=r"^[0-9]{4}(\.?[0-9]{2}){0,3}$")]
RuleFigureId = Annotated[str, Field(strict=True, pattern=r"^[A-Za-z][A-Za-z0-9_.-]*$", max_length=80)]

KIT_CODE = "8708.29"
"""What goods count as that name no tariff code: other body parts of motor vehicles."""

Moment = float | date
"""When something is paid: on a date, or so many days after the day of the rate of exchange."""


class Goods(Part):
    """One thing of a consignment that has a price, and perhaps a tariff code, of its own.

    Attributes
    ----------
    price : figure
        In the consignment's currency unless it names its own.
    hs : str
        Tariff code; other body parts of motor vehicles when left out.
    """

    id: Identifier
    name: Name | None = None
    price: UncertainFigure
    hs: HsCode = KIT_CODE
    group: GoodsGroup = "kit"


BOX_UNITS = {"length": "cm", "width": "cm", "height": "cm", "weight": "kg"}
"""In what boxes are measured where no unit is written; any other that fits may be."""


class Box(Part):
    """Boxes of one size: outermost measures in cm, weight of one in kg, or in the unit that is written."""

    length: UncertainFigure
    width: UncertainFigure
    height: UncertainFigure
    weight: UncertainFigure
    count: Annotated[int, Field(strict=True, ge=1, le=1000)] = 1

    @field_validator("length", "width", "height", "weight", mode="after")
    @classmethod
    def _fitting_unit(cls, figure: FigureBase, info: ValidationInfo) -> FigureBase:
        if told := misfit(figure.unit, BOX_UNITS[str(info.field_name)]):
            wrong(*told)
        return figure


class StorageStep(Part):
    """A price of storage per chargeable unit and day, for so many days (the last step: for ever)."""

    days: Annotated[float, Field(strict=True, gt=0, le=3650)] | None = None
    rate: UncertainFigure


class Storage(Part):
    """What the depot charges for goods that wait after arrival.

    Attributes
    ----------
    free_days : float or None
        Days without charge; the usual when left out.
    steps : tuple of StorageStep
        One after the other from the first charged day; the usual when left out.
    days : figure or None
        Days from arrival until the goods leave the depot; the usual when left out.
    minimum : figure or None
        The least that is charged once anything is.
    """

    free_days: Days | None = None
    steps: tuple[StorageStep, ...] = ()
    days: UncertainFigure | None = None
    minimum: UncertainFigure | None = None

    @model_validator(mode="after")
    def _open_end(self) -> Storage:
        _open_ended(self.steps)
        return self


def _open_ended(steps: tuple[StorageStep, ...]) -> None:
    """Refuse steps of which the last ends, or another does not."""
    for place, step in enumerate(steps, start=1):
        last = place == len(steps)
        if last and step.days is not None:
            wrong(
                f"the last step ends after {step.days:g} days",
                "Leave days out of the last step: its rate holds from there on.",
            )
        if not last and step.days is None:
            wrong(f"step {place} has no days", "Every step but the last says for how many days it holds.")


class Container(Part):
    """A full container: what its terminal and its owner charge by the day, for one container.

    Attributes
    ----------
    count : int
        How many containers.
    free_days, days : float, figure
        Days at the terminal without charge, and days there in all.
    demurrage : tuple of StorageStep
        What the terminal charges a day for its space, from the first charged day.
    detention_free_days, detention_days : float, figure or None
        Days until the empty container must be back, and days until it is.
    detention : tuple of StorageStep
        What the container's owner charges a day for its use beyond.
    """

    count: Annotated[int, Field(strict=True, ge=1, le=100)] = 1
    free_days: Days = 0
    days: UncertainFigure
    demurrage: tuple[StorageStep, ...]
    detention_free_days: Days = 0
    detention_days: UncertainFigure | None = None
    detention: tuple[StorageStep, ...] = ()

    @model_validator(mode="after")
    def _complete(self) -> Container:
        if not self.demurrage:
            wrong("has no demurrage", "Write demurrage = [{ days = 4, rate = 60 }, { rate = 110 }].")
        _open_ended(self.demurrage)
        _open_ended(self.detention)
        if bool(self.detention) != (self.detention_days is not None):
            wrong(
                "detention and detention_days belong together",
                "Write both: detention = [{ rate = 80 }], detention_days = { low = 2, high = 8 }.",
            )
        return self


class Arrival(Part):
    """What is charged between the border and the door: the usual where left out, nothing where 0.

    All are taken without tax, which is counted on them; where a price holds it already, ``holds_tax`` says so.

    Attributes
    ----------
    terminal : figure or None
        Terminal and unpacking, per chargeable unit (W/M by sea, kg by air).
    documents, surcharges, entry, delivery : figure or None
        Sums per consignment; ``entry`` is the agent's customs entry.
    disbursement_percent, disbursement_minimum : figure or None
        Fee for advancing duty and tax: the larger of the percentage and the minimum.
    holds_tax : bool or tuple of str
        Which charges hold their tax: true for all that are written, or a list of them.
    """

    terminal: UncertainFigure | None = None
    documents: UncertainFigure | None = None
    surcharges: UncertainFigure | None = None
    entry: UncertainFigure | None = None
    delivery: UncertainFigure | None = None
    disbursement_percent: UncertainFigure | None = None
    disbursement_minimum: UncertainFigure | None = None
    holds_tax: Flag | tuple[ArrivalCharge, ...] = False

    def has_tax_in(self, charge: ArrivalCharge, is_own: bool) -> bool:
        """Tell whether the price of a charge holds its tax; a usual price does only where it is listed."""
        listed = self.holds_tax
        return (listed and is_own) if isinstance(listed, bool) else charge in listed


class Examination(Part):
    """Customs look into the boxes: how likely, and what it costs then."""

    chance: Annotated[float, Field(strict=True, ge=0, le=1)]
    cost: UncertainFigure


class Returned(Part):
    """Goods that may go back to the seller: how likely, what that costs, and what comes back of price and dues.

    Attributes
    ----------
    chance : float
        That it comes to that.
    goods : tuple of str
        Ids of the goods that would go back; everything when left out.
    refund : figure
        Share of their price that the seller gives back: 0.9 for 90 %.
    freight : figure or None
        What sending them back costs.
    dues_back : figure or None
        Share of their duty and import tax that customs give back on application (repayment or drawback); nothing is
        counted when left out. What is theirs goes by price.
    fee : figure or None
        What the claim costs, where an agent makes it.
    """

    chance: Annotated[float, Field(strict=True, gt=0, lt=1)]
    goods: tuple[Identifier, ...] = ()
    refund: UncertainFigure = Known(value=1.0)
    freight: UncertainFigure | None = None
    dues_back: UncertainFigure | None = None
    fee: UncertainFigure | None = None

    @field_validator("refund", "dues_back", mode="after")
    @classmethod
    def _is_a_share(cls, figure: FigureBase | None) -> FigureBase | None:
        most = [getattr(figure, key) for key in ("value", "high", "max") if hasattr(figure, key)]
        if most and most[0] > 1:
            wrong(f"found {most[0]:g}", "It is a share from 0 to 1: write 0.9 for 90 %.")
        return figure


class Consignment(Part):
    """What is bought from whom, how it is paid for and how it travels.

    Attributes
    ----------
    goods : tuple of Goods
        What is bought; or ``price`` and ``hs`` for one price of everything.
    currency : str or None
        ISO 4217 code of the prices; the build's own when left out.
    origin : str or None
        Where the goods were made (not: whence they were sent), ISO 3166-1 alpha-2.
    sent_from : str or None
        Where they are sent from; where they were made when left out. Within one customs territory no duty is due.
    incoterm, place : str
        The Incoterms 2020 rule of the quotation and its named place.
    place_is : str or None
        ``door`` where the named place is the builder's, ``port`` where it is a port or depot, from which the builder
        has the goods fetched.
    deposit : float
        Share of the price paid after ``deposit_days``; the balance is paid after ``balance_days``.
    order_on, deposit_on, balance_on, freight_on, customs_on : date or None
        The day of the order, and dates in place of days. All days count from the order, or else from the deposit's
        date; from the day of the rate of exchange where neither is given.
    customs_days : float or None
        Days until the customs entry, whose rate of exchange holds for duty and tax; the balance's day and the
        usual time on the way when left out.
    customs_rate : figure or None
        The rate of exchange that customs publish, where it is known already.
    freight, freight_rate : figure or None
        Freight as a sum, or per chargeable unit (kg or W/M) with ``freight_minimum``. A rate may be for another unit
        of the same measure, which it then names: ``{ value = 2, unit = "lb" }``.
    shown_freight, shown_delivery : figure or None
        What the seller's invoice shows apart as international freight (and insurance), and as carriage after
        the border, where the price includes them; the customs value may leave them out then.
    export_inland : figure or None
        What the buyer pays from the seller's door to the point of export.
    insurance : figure or None
        Premium as a sum, in place of ``insurance_percent``.
    insurance_percent : float or None
        Premium in percent of 110 % of the insured value (price, freight and premium); none when left out.
    deposit_rate : figure or None
        The rate at which the deposit was paid already, before what card or bank added: units of the build's money.
    tax_in_price : bool or None
        Under DDP: false where the seller's price holds duty and no import tax ("DDP, VAT unpaid").
    shared_by : int
        So many consignments come in one container with one entry, and split what is charged once for all of them:
        entry, delivery, what a full container costs by the day and at the terminal. Freight as a sum is this one's
        own part.
    card_margin, payment_fee : float, figure or None
        Percent that card or bank adds, that of the currency when left out; and what a transfer costs on top.
    container : Container or None
        Of goods that come in a full container of their own: its terminal and its owner charge by the day, and no depot
        stores them. The usual is a part of a shared one.
    additional : tuple of str
        Additional duties of the country's rules that apply, such as ``section232``.
    agreed_arrival : bool
        Use the customs authority's agreed amounts for arrival costs in the tax base, where it has them.
    private_use : bool or None
        The country's rule for goods for one's own use counts, where it has one, or does not; when left out it does
        not, and what duty and tax come to under it is told beside them.
    gift : bool
        A present from one private person to another: nothing is paid for it, and its price is the value that customs
        count. Up to the ``gift.limit`` of overrides it bears neither duty nor import tax.
    returned : Returned or None
        Goods that may go back, and what customs give back of their duty and tax.
    overrides : dict
        Other values for figures of the rules, by id: ``{ vat = 0.21, "duty.8708.29" = 0.0 }``.
    """

    id: Identifier
    name: Name | None = None
    seller: Name | None = None
    goods: tuple[Goods, ...] = ()
    price: UncertainFigure | None = None
    hs: HsCode | None = None
    currency: CurrencyCode | None = None
    origin: CountryCode | None = None
    sent_from: CountryCode | None = None
    incoterm: Incoterm
    place: Name | None = None
    place_is: Literal["door", "port"] | None = None
    mode: Mode
    boxes: tuple[Box, ...] = ()
    deposit: Share = 0.3
    deposit_days: Days = 0
    balance_days: Days = 60
    freight_days: Days | None = None
    customs_days: Days | None = None
    order_on: Day | None = None
    deposit_on: Day | None = None
    balance_on: Day | None = None
    freight_on: Day | None = None
    customs_on: Day | None = None
    customs_rate: UncertainFigure | None = None
    crating: UncertainFigure | None = None
    export_inland: UncertainFigure | None = None
    freight: UncertainFigure | None = None
    freight_rate: UncertainFigure | None = None
    freight_minimum: UncertainFigure | None = None
    shown_freight: UncertainFigure | None = None
    shown_delivery: UncertainFigure | None = None
    insurance: UncertainFigure | None = None
    insurance_percent: Annotated[float, Field(strict=True, ge=0, le=20)] | None = None
    deposit_rate: UncertainFigure | None = None
    tax_in_price: Flag | None = None
    shared_by: Annotated[int, Field(strict=True, ge=1, le=20)] = 1
    card_margin: Annotated[float, Field(strict=True, ge=0, le=50)] | None = None
    payment_fee: UncertainFigure | None = None
    arrival: Arrival = Arrival()
    storage: Storage = Storage()
    container: Container | None = None
    examination: Examination | None = None
    additional: tuple[Identifier, ...] = ()
    agreed_arrival: bool = False
    private_use: bool | None = None
    gift: Flag = False
    returned: Returned | None = None
    overrides: dict[RuleFigureId, UncertainFigure] = {}
    note: Text | None = None

    @model_validator(mode="after")
    def _not_negative(self) -> Consignment:
        for path, figure in figures_in(self):
            is_measure = path[0] == "boxes"
            if isinstance(figure, Known) and (figure.value < 0 or (is_measure and figure.value == 0)):
                name = ".".join(str(part + 1) if isinstance(part, int) else part for part in path)
                wrong(
                    f"{name} is {figure.value:g}",
                    "It must be above zero." if is_measure else "Not below zero.",
                )
        if self.items and all(isinstance(item.price, Known) and item.price.value == 0 for item in self.items):
            wrong("everything costs 0", "Give at least one of the goods a price; customs value gifts too.")
        return self

    @model_validator(mode="after")
    def _fitting_units(self) -> Consignment:
        for path, figure in figures_in(self):
            if figure.unit and path[0] != "boxes" and (told := self._unit_told(path, figure.unit)):
                name = ".".join(str(part + 1) if isinstance(part, int) else part for part in path)
                wrong(f"{name}: {told[0]}", told[1])
        return self

    def _unit_told(self, path: FigurePath, unit: str) -> tuple[str, str] | None:
        """Give what is wrong with the unit of a figure, by what the figure is, and how to mend it."""
        keys = tuple(part for part in path if isinstance(part, str))
        if keys in _TIMES:
            return misfit(unit, "days")
        if keys in _RATES and not (self.container is not None and keys == ("arrival", "terminal")):
            own, per = self.charged_in, priced_for(unit) or ""
            if per.upper() == UNITS[self.mode].upper() or fits(per, own):
                return None
            legal = "kg, lb or t" if own == "kg" else "m3, ft3 or W/M"
            return (
                f"unit is {unit!r}, {measured_by(per)}",
                f"By {self.mode} this is a price for {measured_by(own)}: write {legal}, or leave the unit out for "
                f"{UNITS[self.mode]}.",
            )
        what = A_SHARE if keys[0] == "returned" and keys[-1] in ("refund", "dues_back") else A_SUM
        what = A_PERCENTAGE if keys[-1].endswith("percent") else what
        what = "a rate of exchange" if keys[-1] in ("customs_rate", "deposit_rate") else what
        what = "a figure of the rules" if keys[0] == "overrides" else what
        return no_unit(unit, what)

    @property
    def charged_in(self) -> str:
        """The measure in which rates per chargeable unit count: kg, or m³ for W/M."""
        return "m3" if UNITS[self.mode] == "W/M" else UNITS[self.mode]

    @model_validator(mode="after")
    def _complete(self) -> Consignment:
        if bool(self.goods) == (self.price is not None):
            found = "has goods as well as a price" if self.goods else "nothing is bought"
            wrong(found, "Give either price = … for everything, or goods = [{ id, price, hs }, …].")
        if self.goods and self.hs is not None:
            wrong("hs beside goods", "Write the tariff code into each of the goods.")
        ids = [item.id for item in self.goods]
        if len(set(ids)) != len(ids):
            wrong("two goods have the same id", "Give each of the goods an id of its own.")
        if clash := sorted(set(ids) & RESERVED_IDS):
            wrong(
                f"goods are called {clash[0]!r}",
                "A line of the consignment has that name; choose another id.",
            )
        if self.returned is not None and (
            strange := set(self.returned.goods) - {item.id for item in self.items}
        ):
            wrong(
                f"returned.goods names {sorted(strange)[0]!r}",
                f"Legal: {', '.join(item.id for item in self.items)}; or leave it out where everything would go back.",
            )
        if self.returned is not None and self.gift:
            wrong("a present that goes back to a seller", "Keep gift, or returned.")
        if self.freight is not None and self.freight_rate is not None:
            wrong("has freight as well as freight_rate", "Keep one: a sum, or a rate per chargeable unit.")
        if self.insurance is not None and self.insurance_percent is not None:
            wrong(
                "has insurance as well as insurance_percent", "Keep one: the premium as a sum, or in percent."
            )
        if self.deposit_rate is not None and (self.deposit == 0 or self.currency is None):
            wrong(
                "deposit_rate without a deposit in foreign money", "Add deposit and currency, or take it out."
            )
        if self.tax_in_price is not None and self.incoterm != "DDP":
            wrong(
                f"tax_in_price under {self.incoterm}",
                "Only a DDP price may hold import tax; under any other rule it is counted. Take it out.",
            )
        if self.container is not None and self.mode != "sea":
            wrong(
                f"a container by {self.mode}", 'Containers come by sea: write mode = "sea", or take it out.'
            )
        if self.container is not None and self.freight_rate is not None:
            wrong(
                "freight_rate of a full container",
                "A full container has one price: write freight = … in place of freight_rate and freight_minimum.",
            )
        if self.container is not None and self.storage != Storage():
            wrong("storage beside a full container", "No depot stores it: keep container, or storage.")
        if self.freight_rate is not None and not self.boxes:
            wrong("freight_rate without boxes", "A rate per kg or W/M needs boxes = [{ length, width, … }].")
        if self.freight_minimum is not None and self.freight_rate is None:
            wrong("freight_minimum without freight_rate", "A minimum belongs to a rate.")
        return self

    @model_validator(mode="after")
    def _holds_its_carriage(self) -> Consignment:
        shown = [one for one in (self.shown_freight, self.shown_delivery) if isinstance(one, Known)]
        prices = [item.price for item in self.items]
        known = [price for price in prices if isinstance(price, Known)]
        counted = {figure.currency or self.currency for figure in (*shown, *known)}
        if shown and len(known) == len(prices) and len(counted) == 1:
            inside, price = sum(one.value for one in shown), sum(one.value for one in known)
            if inside >= price:
                wrong(
                    f"the carriage shown apart comes to {inside:g}, the price that holds it to {price:g}",
                    "shown_freight and shown_delivery are parts of the price: correct one of them. Freight that comes "
                    "on top of the price is freight = ….",
                )
        return self

    @model_validator(mode="after")
    def _in_order(self) -> Consignment:
        for name in ("deposit", "balance", "freight", "customs"):
            if getattr(self, f"{name}_on") is not None and f"{name}_days" in self.model_fields_set:
                wrong(f"has {name}_on as well as {name}_days", "Keep one: the date, or the days.")
        for name in ("deposit_on", "balance_on"):
            day = getattr(self, name)
            if self.order_on is not None and day is not None and day < self.order_on:
                wrong(
                    f"{name} is {day}, before order_on, which is {self.order_on}",
                    "Correct one of the two: nothing is paid before it is ordered.",
                )
        first, then = self.deposit_at, self.balance_at
        if self.deposit == 0:
            return self
        if isinstance(first, date) and isinstance(then, date):
            if first > then:
                wrong(f"deposit on {first}, balance on {then}", "Swap the two: the deposit comes first.")
        elif not isinstance(first, date) and not isinstance(then, date) and first > then:
            wrong(f"deposit after {first:g} days, balance after {then:g}", "Swap the two.")
        return self

    @property
    def title(self) -> str:
        """The name to show: the one given, or one made from the id."""
        return self.name or self.id.replace("_", " ").replace("-", " ").capitalize()

    @property
    def items(self) -> tuple[Goods, ...]:
        """The goods; one of them where a single price stands for everything."""
        if self.goods:
            return self.goods
        if self.price is None:  # the validator has seen to it that there is one or the other
            return ()
        return (Goods(id="goods", name=self.title, price=self.price, hs=self.hs or KIT_CODE),)

    @property
    def comes_from(self) -> str | None:
        """Where the goods are sent from: where they were made, when nothing else is said; None where neither is."""
        return self.sent_from or self.origin

    @property
    def deposit_at(self) -> Moment:
        """When the deposit is paid."""
        return self.deposit_on or self._after(self.deposit_days)

    @property
    def balance_at(self) -> Moment:
        """When the balance is paid."""
        return self.balance_on or self._after(self.balance_days)

    @property
    def freight_at(self) -> Moment:
        """When freight is paid for: with the balance when left out."""
        if self.freight_on is not None or self.freight_days is None:
            return self.freight_on or self.balance_at
        return self._after(self.freight_days)

    def customs_at(self, on_the_way: float) -> Moment:
        """Give when customs are passed: as given, or so many days on the way after the balance."""
        if self.customs_on is not None:
            return self.customs_on
        return (
            later(self.balance_at, on_the_way)
            if self.customs_days is None
            else self._after(self.customs_days)
        )

    @property
    def dated(self) -> bool:
        """True where some payment is on a date."""
        return any(
            isinstance(moment, date)
            for moment in (self.deposit_at, self.balance_at, self.freight_at, self.customs_at(0))
        )

    def _after(self, days: float) -> Moment:
        start = self.order_on or self.deposit_on
        return days if start is None else later(start, days)


def later(moment: Moment, days: float) -> Moment:
    """Give the moment so many days later, a day begun counted as a whole one."""
    return moment + timedelta(days=ceil(days)) if isinstance(moment, date) else moment + days


MONEY_BACK = "money_back"
"""Name of a consignment's line for what comes back of goods that are returned."""

RESERVED_IDS = frozenset({
    "crating", "export", "freight", "insurance", "duty", "additional_duty", "levies", "tax", "terminal",
    "documents", "surcharges", "entry", "disbursement", "storage", "delivery", "margin", "examination", "local_tax",
    "demurrage", "detention", "returned", MONEY_BACK,
})  # fmt: skip
"""Names of a consignment's own lines, which goods may not take."""


FigurePath = tuple[str | int, ...]
"""Keys and positions from an item down to a figure."""

_RATES = frozenset({("freight_rate",), ("arrival", "terminal"), ("storage", "steps", "rate")})
"""Prices per chargeable unit, which may be for another unit of the same measure."""
_TIMES = frozenset({("storage", "days"), ("container", "days"), ("container", "detention_days")})


def figures_in(item: BaseModel) -> Iterator[tuple[FigurePath, FigureBase]]:
    """Give each uncertain figure of a consignment, however deep, with its path of keys and positions."""
    for key in keys_of(type(item), BaseModel):
        yield from _figures((key,), getattr(item, key))


def _figures(
    path: tuple[str | int, ...], value: object
) -> Iterator[tuple[tuple[str | int, ...], FigureBase]]:
    if isinstance(value, FigureBase):
        yield path, value
    elif isinstance(value, BaseModel):
        for key, figure in figures_in(value):
            yield (*path, *key), figure
    elif isinstance(value, tuple):
        for place, part in enumerate(value):
            yield from _figures((*path, place), part)
    elif isinstance(value, dict):
        for key, part in value.items():
            yield from _figures((*path, key), part)


__all__ = [
    "BOX_UNITS", "KIT_CODE", "MONEY_BACK", "UNITS", "Arrival", "Box", "Consignment", "Container", "Examination",
    "Goods", "Incoterm", "Mode", "Moment", "Returned", "Storage", "StorageStep", "figures_in", "later",
]  # fmt: skip
