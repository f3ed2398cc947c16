"""Writes out what a consignment costs up to the border: goods, crating, what a carrier charges for, freight, insurance.

Measure at the outermost points. A body kit is bulky and light: a box of 200 × 120 × 60 cm and 45 kg is billed
as 288 kg by a courier, so the volume, not the weight, decides.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from forecast.buildfile.consignment import BOX_UNITS, UNITS, Box, Consignment, Mode, Moment
from forecast.buildfile.incoterms import IncotermsRule, buyer_pays, who_pays
from forecast.errors import RuleError
from forecast.figures.figure import FigureBase
from forecast.figures.formula import Constant, Formula, Larger, LineValue, Product, Quotient, RoundedUp, Sum
from forecast.figures.units import formula_in
from forecast.trade.arrival import above, insurance_premium, less
from forecast.trade.customs import Article, Parts
from forecast.trade.exact import decimal, evaluate
from forecast.trade.expansion import Words
from forecast.trade.rules import load_carriage
from forecast.trade.working_sheet import CurrencySum, Sheet, times, total


@dataclass(frozen=True)
class BoxFormulas:
    """Boxes of one size as formulas: outermost measures in cm, weight of one in kg."""

    length: Formula
    width: Formula
    height: Formula
    weight: Formula
    count: int = 1

    @property
    def cubic_cm(self) -> Formula:
        """Volume of one box in cm³."""
        return Product((self.length, self.width, self.height))


def volume(boxes: Sequence[BoxFormulas]) -> Formula:
    """Give the volume of all boxes in m³."""
    parts = tuple(Product((Constant(box.count), box.cubic_cm)) for box in boxes)
    return Quotient(Sum(parts), Constant(1_000_000))


def weight(boxes: Sequence[BoxFormulas]) -> Formula:
    """Give the weight of all boxes in kg."""
    return Sum(tuple(Product((Constant(box.count), box.weight)) for box in boxes))


def chargeable_quantity(
    mode: Mode, boxes: Sequence[BoxFormulas], overrides: Mapping[str, float] | None = None
) -> Formula:
    """Give what the carrier charges for, in kg or W/M (see `forecast.buildfile.consignment.UNITS`).

    Parameters
    ----------
    mode : str
        ``courier``: each box by itself, the larger of kg and cm³ / 5000, rounded up. ``air``: all boxes
        together, the larger of kg and cm³ / 6000, rounded up. ``sea``: the larger of m³, tonnes and 1.
        ``road``: the larger of kg and 333 kg per m³, rounded up.
    boxes : sequence of BoxFormulas
    overrides : mapping, optional
        Other figures by id, such as ``sea.kg_per_m3``; see the carriage figures of the rules.

    Returns
    -------
    Formula

    Raises
    ------
    RuleError
        When there is no box, or an override makes no sense.
    """
    if not boxes:
        message = (
            "boxes: none is given. Give boxes = [{ length, width, height, weight, count }] in cm and kg."
        )
        raise RuleError(message)
    figures = {id: figure.value for id, figure in load_carriage().items()} | dict(overrides or {})
    for id, value in figures.items():
        if value <= 0 and id.startswith(mode):
            message = f"overrides {id!r}: found {value:g}. It must be above zero."
            raise RuleError(message)
    kg, m3 = weight(boxes), volume(boxes)
    match mode:
        case "courier":
            divisor, step = Constant(figures["courier.divisor"]), figures["courier.step"]
            each = [RoundedUp(Larger((box.weight, Quotient(box.cubic_cm, divisor))), step) for box in boxes]
            return Sum(
                tuple(Product((Constant(box.count), one)) for box, one in zip(boxes, each, strict=True))
            )
        case "air":
            cubic_cm = Sum(tuple(Product((Constant(box.count), box.cubic_cm)) for box in boxes))
            volumetric = Quotient(cubic_cm, Constant(figures["air.divisor"]))
            return RoundedUp(Larger((kg, volumetric)), figures["air.step"])
        case "sea":
            by_weight = Quotient(kg, Constant(figures["sea.kg_per_m3"]))
            return Larger((m3, by_weight, Constant(figures["sea.minimum"])))
        case "road":
            by_volume = Product((m3, Constant(figures["road.kg_per_m3"])))
            return RoundedUp(Larger((kg, by_volume)), figures["road.step"])


@dataclass(frozen=True)
class Cost:
    """A line that the buyer pays up to the border, and the same cost at the customs rate."""

    line: LineValue
    customs: Formula
    currency: str


@dataclass(frozen=True)
class Journey:
    """The costs up to the border.

    Attributes
    ----------
    articles : tuple of Article
        Goods by tariff code at the customs rate.
    parts : Parts
        Costs for the customs value and the tax base; what happens after the border is not in yet.
    units : Formula or None
        Chargeable quantity; None where no boxes are given.
    gross_kg : Formula or None
        Weight of all boxes.
    payments : tuple of Cost
        Lines that a card or bank may add a margin to.
    """

    articles: tuple[Article, ...]
    parts: Parts
    units: Formula | None
    gross_kg: Formula | None
    payments: tuple[Cost, ...]


def write_journey(sheet: Sheet, rule: IncotermsRule, carriage: Mapping[str, float]) -> Journey:
    """Write the lines up to the border.

    Parameters
    ----------
    sheet : Sheet
    rule : IncotermsRule
        The consignment's.
    carriage : mapping
        Overridden figures of how carriers count.

    Returns
    -------
    Journey
    """
    bought = sheet.consignment
    goods = [_goods_line(sheet, place) for place in range(len(bought.items))]
    articles = tuple(Article(item.hs, cost.customs) for item, cost in zip(bought.items, goods, strict=True))
    units, kg, units_words = _quantity(sheet, carriage)
    before: list[Cost] = []
    if bought.crating is not None:
        before.append(_plain(sheet, "crating", "Crating", bought.crating, bought.balance_at))
    if (export := _export(sheet, rule)) is not None:
        before.append(export)
    freight = _freight(sheet, rule, units, units_words)
    price: Formula = total(*(cost.customs for cost in goods))
    carried: list[Formula] = [freight.customs] if freight else []
    onward: list[Formula] = []
    for name, shown, target in (
        ("shown_freight", bought.shown_freight, carried),
        ("shown_delivery", bought.shown_delivery, onward),
    ):
        if shown is None:
            continue
        if not rule.seller_ships:
            sheet.note(f"{bought.incoterm}: the price holds no carriage, so {name} is left out.")
            continue
        inside = sheet.at_customs(sheet.money(name, shown, bought.currency))
        price = less(price, inside)
        target.append(inside)
    _say_large_carriage(sheet, price)
    insurance = _insurance(sheet, rule, [*goods, *before, *([freight] if freight else [])], carriage)
    return Journey(
        articles=articles,
        parts=Parts(
            price=price,
            export=total(*(cost.customs for cost in before)),
            freight=total(*carried),
            insurance=insurance,
            arrival=total(*onward),
        ),
        units=units,
        gross_kg=kg,
        payments=(*goods, *before, *([freight] if freight else [])),
    )


def _say_large_carriage(sheet: Sheet, price: Formula) -> None:
    """Say that carriage which the price is said to hold may be as dear as the price itself."""
    bought = sheet.consignment
    if bought.shown_freight is None and bought.shown_delivery is None:
        return
    low = {name: decimal(figure.cautious_low) for name, figure in sheet.inputs.items()}
    lines: dict[str, Decimal] = {}
    for line in sheet.lines:
        lines[line.id] = evaluate(line.formula, low, lines)
    if evaluate(price, low, lines) <= 0:
        sheet.note(
            "shown_freight and shown_delivery are as dear as the price that holds them, or dearer: nothing is left to "
            "take duty of. Correct one of them; freight that comes on top of the price is freight = …."
        )


def _goods_line(sheet: Sheet, place: int) -> Cost:
    """Write one of the goods: its price, the deposit at one day's rate and the balance at another's."""
    bought = sheet.consignment
    item = bought.items[place]
    money = sheet.money(f"{item.id}.price", item.price, bought.currency)
    formula: Formula
    if bought.gift:
        formula, working = Constant(0), f"nothing: a present, worth {money.words} {money.currency} to customs"
    elif money.currency == sheet.home:
        formula, working = money.amount, f"{money.words} {sheet.home}"
    else:
        formula, working = _in_two_payments(sheet, money)
    label = item.name or item.id.replace("_", " ").replace("-", " ").capitalize()
    line = sheet.add(item.id, label, item.group, formula, working)
    paid_at_home = money.currency == sheet.home and not bought.gift
    customs: Formula = line if paid_at_home else sheet.at_customs(money)
    return Cost(line, customs, money.currency)


def _in_two_payments(sheet: Sheet, money: CurrencySum) -> tuple[Formula, str]:
    bought = sheet.consignment
    share = bought.deposit
    parts: list[Formula] = []
    said: list[str] = []
    paid = bought.deposit_rate if money.currency == bought.currency else None
    payments = ((share, bought.deposit_at, paid), (round(1 - share, 12), bought.balance_at, None))
    for part, day, known in payments:
        if part > 0:
            rate, words = sheet.rate(money.currency, day)
            if known is not None:
                rate = sheet.figure("deposit_rate", known)
                words = f"{sheet.say(rate)}, paid already"
            parts.append(times(Constant(part), rate))
            said.append(f"{100 * part:.4g} % at {words}")
    return times(money.amount, total(*parts)), f"{money.words} {money.currency}: {', '.join(said)}"


def _plain(sheet: Sheet, name: str, label: str, figure: FigureBase, day: Moment, note: str = "") -> Cost:
    """Write a line that is one figure, paid on one day."""
    money = sheet.money(name, figure)
    formula, working = sheet.paid(money, day)
    line = sheet.add(name, label, "freight", formula, working, note)
    customs: Formula = line if money.currency == sheet.home else sheet.at_customs(money)
    return Cost(line, customs, money.currency)


def _export(sheet: Sheet, rule: IncotermsRule) -> Cost | None:
    bought = sheet.consignment
    mine = [
        cost
        for cost in ("pre_carriage_to_export_terminal", "export_clearance", "origin_terminal_handling")
        if buyer_pays(rule.code, cost)
    ]
    if bought.export_inland is None:
        if rule.buyer_exports:
            sheet.note(
                "EXW: carriage to the port, export clearance and loading are the buyer's, and no export_inland "
                "is given. Add export_inland = …, or ask the seller for FCA."
            )
        elif mine:
            sheet.note(
                f"{rule.code}: handling at the terminal of departure is the buyer's; it is taken to be part of "
                "the freight. Add export_inland = … where it is charged apart."
            )
        return None
    if not mine:
        sheet.note(
            f"{rule.code}: the seller pays all costs in the export country; the line export is left out."
        )
        return None
    return _plain(sheet, "export", "Costs in the export country", bought.export_inland, bought.balance_at)


def _quantity(sheet: Sheet, carriage: Mapping[str, float]) -> tuple[Formula | None, Formula | None, str]:
    bought = sheet.consignment
    if not bought.boxes:
        return None, None, ""
    boxes = [_box(sheet, place, box) for place, box in enumerate(bought.boxes, start=1)]
    kg = weight(boxes)
    own = carriage.get("sea.minimum", load_carriage()["sea.minimum"].value)
    least = f"{own:g}"
    told = any(id.startswith(bought.mode) for id in carriage)
    if bought.shared_by > 1:
        carriage = {**carriage, "sea.minimum": own / bought.shared_by}
        least = f"{own:g} / {bought.shared_by}"
    units = chargeable_quantity(bought.mode, boxes, carriage)
    cubic = sheet.stage("volume", "Volume of all boxes", volume(boxes), _sizes(sheet, bought), "m3")
    heavy = sheet.stage("weight", "Weight of all boxes", kg, "all boxes together", "kg")
    working = {
        "courier": "for each box the larger of kg and cm³ / 5,000, rounded up",
        "air": f"the larger of {heavy} kg and {cubic} m³ × 1,000,000 / 6,000, rounded up",
        "sea": f"the largest of {cubic} m³, {heavy} kg / 1,000 and the minimum of {least}",
        "road": f"the larger of {heavy} kg and {cubic} m³ × 333 kg, rounded up",
    }[bought.mode]
    if told:
        working += " (with your own figures)"
    words = sheet.stage("chargeable", "Chargeable quantity", units, working, UNITS[bought.mode])
    return units, kg, words


def _box(sheet: Sheet, place: int, box: Box) -> BoxFormulas:
    def size(key: str) -> Formula:
        figure = getattr(box, key)
        return formula_in(BOX_UNITS[key], sheet.figure(f"box{place}.{key}", figure), figure.unit)

    return BoxFormulas(size("length"), size("width"), size("height"), size("weight"), box.count)


def _sizes(sheet: Sheet, bought: Consignment) -> str:
    return " + ".join(_measured(sheet, place, box) for place, box in enumerate(bought.boxes, start=1))


def _measured(sheet: Sheet, place: int, box: Box) -> str:
    """Put a box's sides into words as the builder wrote them, a unit once where it is the same for all."""
    figures = {key: getattr(box, key) for key in ("length", "width", "height")}
    numbers = [sheet.say(sheet.figure(f"box{place}.{key}", figure)) for key, figure in figures.items()]
    units = [figure.unit or "cm" for figure in figures.values()]
    if len(set(units)) == 1:
        return f"{box.count} × {' × '.join(numbers)} {units[0]}"
    return f"{box.count} × " + " × ".join(
        f"{number} {unit}" for number, unit in zip(numbers, units, strict=True)
    )


def _freight(sheet: Sheet, rule: IncotermsRule, units: Formula | None, units_words: str) -> Cost | None:
    bought = sheet.consignment
    given = bought.freight if bought.freight is not None else bought.freight_rate
    if not buyer_pays(rule.code, "main_carriage"):
        if given is not None:
            sheet.note(
                f"{rule.code}: the seller pays the freight; the line freight is left out. What the invoice "
                "shows as freight inside the price goes into shown_freight."
            )
        return None
    if given is None:
        sheet.note(
            f"{rule.code}: the freight is the buyer's, and none is given. Add freight = … or "
            "freight_rate = … with boxes."
        )
        return None
    if bought.freight is not None or units is None:
        return _plain(sheet, "freight", "Freight", given, bought.freight_at)
    money = sheet.per_unit("freight_rate", given)
    amount: Formula = Product((units, money.amount))
    words = f"{units_words} {UNITS[bought.mode]} × {money.words}"
    pieces: tuple[Words, ...] = ()
    if bought.freight_minimum is not None:
        least = sheet.part_of(sheet.money("freight_minimum", bought.freight_minimum, money.currency))
        _, plain = sheet.paid(CurrencySum(amount, money.currency, words), bought.freight_at)
        taken = f"{least.words}, the least that is charged ({words} is less)"
        _, said = sheet.paid(CurrencySum(least.amount, money.currency, taken), bought.freight_at)
        pieces = (Words(plain, ((above(least.amount, amount), said),)),)
        amount = Larger((least.amount, amount))
        words += f", at least {least.words}"
    formula, working = sheet.paid(CurrencySum(amount, money.currency, words), bought.freight_at)
    line = sheet.add("freight", "Freight", "freight", formula, working, pieces=pieces)
    customs: Formula = (
        line if money.currency == sheet.home else times(amount, sheet.customs_rate(money.currency))
    )
    return Cost(line, customs, money.currency)


def _insurance(
    sheet: Sheet, rule: IncotermsRule, insured: list[Cost], carriage: Mapping[str, float]
) -> Formula:
    """Write the premium, as a sum or in percent; give it as customs count it, nothing where there is none."""
    bought = sheet.consignment
    percent, premium = bought.insurance_percent, bought.insurance
    if who_pays(rule.code, "cargo_insurance") == "seller":
        cover = "minimum cover" if "minimum" in rule.cells["cargo_insurance"] else "wide cover"
        text = f"{rule.code}: the seller insures the transit ({cover})"
        sheet.note(text + ("; the line insurance is left out." if percent or premium is not None else "."))
        return Constant(0)
    at_risk = not rule.risk_at_destination
    if not percent and premium is None:
        if at_risk:
            sheet.note(
                f"{rule.code}: damage on the way is the buyer's risk ({rule.risk_passes}), and no insurance is "
                "counted. Add insurance_percent = … to insure it, or insurance = … for a premium as a sum."
            )
        return Constant(0)
    if not at_risk:
        sheet.note(f"{rule.code}: the seller bears the risk of the transit; insuring it may be needless.")
    if premium is not None:
        return _plain(sheet, "insurance", "Transit insurance", premium, bought.freight_at).customs
    uplift = carriage.get("insurance.uplift", 1.10)
    base = Sum(tuple(cost.line for cost in insured))
    working = f"{percent or 0:g} % of {100 * uplift:.4g} % of (" + " + ".join(
        f"{{{cost.line.id}}}" for cost in insured
    )
    return sheet.add(
        "insurance",
        "Transit insurance",
        "freight",
        insurance_premium(base, percent or 0.0, uplift),
        working + " + the premium itself)",
    )
