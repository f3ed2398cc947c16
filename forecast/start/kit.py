"""The kit and its way home: a consignment where it crosses a customs border, plain lines where it does not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from forecast.buildfile.consignment import KIT_CODE
from forecast.buildfile.incoterms import incoterm
from forecast.buildfile.library import PRACTICE, Library, Range, StarterRates, load_rates
from forecast.buildfile.library.starters import rounded
from forecast.buildfile.places import Panel, load_places
from forecast.buildfile.rulefiles import Country, countries, is_meant, unknown_country
from forecast.buildfile.schema import ESTIMATING
from forecast.errors import MoneyError
from forecast.start.answers import Answers
from forecast.start.toml_text import TomlTable
from forecast.words.currencies import Reference, reference
from forecast.words.day_words import long_day

USUAL_PANELS = ("front", "rear", "skirts", "arches", "spoiler")
"""The parts of a usual kit: their shares add up to one."""

EXPORT_COST: Range = (80, 180, 400)
"""What it costs in euro to bring a kit from the seller's door on board (common practice, no source)."""

USUAL_VOLUME = 1.7
"""m³ of a usual kit in its boxes (our measure, without a source; yours to overwrite)."""

_TWO_ARCHES = 0.55
"""Of the work and material of four inner arches; setting up is done once (our choice)."""

GUESSED_RATE = (0.97, 1.0, 1.03)
"""Range on a rate that was not looked up (our choice)."""


def panels_of(answers: Answers) -> tuple[Panel, ...]:
    """Give the kit's parts, the usual ones where they are not known."""
    return parts_of(answers.panels)


def parts_of(panels: Sequence[str] | None) -> tuple[Panel, ...]:
    """Give the parts that were told of a kit, the usual ones where none were."""
    known, told = load_places().panels, panels or USUAL_PANELS
    return tuple(known[id] for id in told if id != "arches_two" or "arches" not in told)  # four hold two


def widens_arches(answers: Answers) -> bool:
    """Tell whether the kit has arches."""
    return not {"arches", "arches_two"}.isdisjoint(panel.id for panel in panels_of(answers))


def arches_of(answers: Answers) -> float:
    """Give what cutting the inner arches takes, as a share of that of four: two are a little more than half of it."""
    return _TWO_ARCHES if "arches_two" in {panel.id for panel in panels_of(answers)} else 1.0


def work_of(answers: Answers) -> float:
    """Give the work that a kit brings, as a share of a usual one's: a small kit is less work, but not in proportion."""
    return 0.35 + 0.65 * share_of(answers)


def arches_cut(answers: Answers) -> bool | None:
    """Tell whether inner arches are cut; a kit without arches leaves them whole, unless the builder says otherwise."""
    if answers.arches_cut is None and not widens_arches(answers):
        return False
    return answers.arches_cut


def share_of(answers: Answers) -> float:
    """Give the size of the kit, as a share of a usual one."""
    return round(sum(panel.share for panel in panels_of(answers)), 4)


def shops_of(answers: Answers) -> StarterRates:
    """Give what an hour in a shop costs where the builder lives."""
    shops = countries()[answers.rules].shops
    return next(item for item in load_rates() if item.id == shops)


def no_shop_seen(answers: Answers) -> str:
    """Say that no shop's price is on file where the builder lives; nothing where one is."""
    if shops_of(answers).seen:
        return ""
    return (
        f"No price of a shop in {countries()[answers.rules].name} is on file, so its hours have a wide range: ask two "
        "shops before you compare ways."
    )


def stretched(numbers: Range, low: float, middle: float, high: float) -> Range:
    """Give a range times a factor, to two digits; to three where that has a range too, as it may widen little."""
    found = times(numbers, (low, middle, high))
    digits = 2 if low == middle == high else 3
    return rounded(found[0], digits), rounded(found[1], digits), rounded(found[2], digits)


def times(one: Range, other: Range) -> Range:
    """Give low, middle and high of a product of two unknowns that have nothing to do with each other.

    Both are rarely at their worst together: 10 of 100 times 10 of 100 is 1 of 100. So the ends lie by the root of the
    squared distances away from the middle, on a scale of ratios, as those of a product of two lognormals do;
    multiplying the ends themselves would make every question that is left open count as if all went wrong at once.
    """
    middle = one[1] * other[1]
    below = math.hypot(math.log(one[1] / one[0]), math.log(other[1] / other[0]))
    above = math.hypot(math.log(one[2] / one[1]), math.log(other[2] / other[1]))
    return middle * math.exp(-below), middle, middle * math.exp(above)


def together(parts: Sequence[Range]) -> Range:
    """Give low, middle and high of a sum of unknowns that move as far together as large guesses do (`ESTIMATING`)."""
    ends = []
    for end in (0, 2):
        away = [abs(part[end] - part[1]) for part in parts]
        squares = sum(one * one for one in away)
        ends.append(math.sqrt(squares + ESTIMATING * (sum(away) ** 2 - squares)))
    middle = sum(part[1] for part in parts)
    return middle - ends[0], middle, middle + ends[1]


def as_figure(numbers: Range, **extra: Any) -> dict[str, Any]:
    """Give a starter range as it stands in a build file."""
    return {"low": numbers[0], "middle": numbers[1], "high": numbers[2]} | extra | {"starter": True}


def kit_price(answers: Answers, library: Library) -> Any:
    """Give what the kit costs in its currency: as told, or the starter range scaled to the parts."""
    if answers.kit_price is not None:
        return answers.kit_price.as_written()
    home_rate = rate_of(answers, answers.kit_currency)
    factor = share_of(answers) / home_rate
    return as_figure(stretched(library.line("kit").range, factor, factor, factor))


def rate_of(answers: Answers, code: str) -> float:
    """Give units of the builder's currency for one of another: as told, or as on file.

    Raises
    ------
    MoneyError
        Where it is neither; `read_answer` asks for it before.
    """
    if code == answers.currency:
        return 1.0
    if code == answers.kit_currency and answers.rate is not None:
        return answers.rate
    return _on_file(answers, code).rate


def _on_file(answers: Answers, code: str) -> Reference:
    known = reference(code, answers.currency)
    if known is None:
        message = f"no rate for {code} is on file: write what one {code} costs in {answers.currency}."
        raise MoneyError(message)
    return known


def currency_tables(answers: Answers) -> tuple[TomlTable, ...]:
    """Give the ``[currency.XXX]`` tables: that of the kit, and that of the customs where it is another."""
    wanted = [answers.kit_currency]
    if answers.imported:
        wanted.append(countries()[answers.rules].currency)
    return tuple(_currency(answers, code) for code in dict.fromkeys(wanted) if code != answers.currency)


def _currency(answers: Answers, code: str) -> TomlTable:
    margin = "percent that card or bank adds; 1 to 3 is common practice, read your bank's terms"
    if code == answers.kit_currency and answers.rate is not None:
        rate: Any = {"value": answers.rate, "estimated": False}
        return TomlTable(
            f"[currency.{code}]",
            {"rate": rate, "margin": 2},
            {"rate": f"{answers.currency} for one {code}, as you told it", "margin": margin},
            ("The rate moves until the day you pay, by the usual movement of this pair.",),
        )
    known = _on_file(answers, code)
    low, middle, high = (float(f"{known.rate * factor:.4g}") for factor in GUESSED_RATE)
    return TomlTable(
        f"[currency.{code}]",
        {"rate": {"low": low, "middle": middle, "high": high}, "volatility": 0.1, "margin": 2},
        {
            "volatility": "movement in a year; about 0.1 is usual between floating currencies",
            "margin": margin,
        },
        (
            f"LOOK UP TODAY'S RATE: this one is {answers.currency} for one {code} as of {long_day(known.as_of)}, "
            f"rounded, with 3 % to both sides ({known.source}). Then write your number alone, such as "
            f"rate = {middle:g}, and leave volatility out.",
        ),
    )


def mode_of(answers: Answers) -> str:
    """Give how it travels; by road where there is one and by sea elsewhere, when not known."""
    if answers.shipping is not None:
        return answers.shipping
    away, home = load_places().origins.get(answers.comes_from or ""), countries()[answers.rules]
    return "road" if away and away.region and away.region == home.region else "sea"


def incoterm_of(answers: Answers) -> str:
    """Give the Incoterms rule; FOB by sea and FCA otherwise, when not known."""
    if answers.incoterm is not None:
        return answers.incoterm
    return "FOB" if mode_of(answers) == "sea" else "FCA"


def freight_range(answers: Answers, library: Library) -> Range:
    """Give the freight of one chargeable unit, wider where mode, rule or the place it comes from are not known."""
    known: Range = (1.0, 1.0, 1.0)
    if answers.shipping is None:
        known = times(known, (0.8, 1.0, 1.5))
    if answers.sent_from is None:
        known = times(known, (0.85, 1.0, 1.3))
    if answers.incoterm is None:
        known = times(known, (1.0, 1.0, 1.15))  # handling at departure may be the buyer's
    factor = library.currency_factor
    return stretched(load_places().freight[mode_of(answers)].rate, *(factor * end for end in known))


def consignment_table(answers: Answers, library: Library) -> TomlTable:
    """Give the ``[[consignment]]`` table."""
    mode, rule = mode_of(answers), incoterm_of(answers)
    terms, law = incoterm(rule), countries()[answers.rules]
    freight = load_places().freight[mode]
    values: dict[str, Any] = {"id": "kit", "name": "Body kit", "price": kit_price(answers, library)}
    remarks = {
        "price": "as you told it"
        if answers.kit_price
        else "sellers ask very different prices: take an offer's price instead",
        "incoterm": "as you told it" if answers.incoterm else "taken, as you do not know: ask the seller",
        "mode": "as you told it" if answers.shipping else "taken, as you do not know: ask the seller",
        "deposit": "share paid when ordering; 0.2 to 0.5 is common practice",
        "balance_days": "days from today until it is paid; or balance_on = 2027-01-14, and as_of with the rate",
    }
    if answers.kit_currency != answers.currency:
        values["currency"] = answers.kit_currency
    if answers.origin:
        values["origin"] = answers.origin
        remarks["origin"] = "where it is made; with proof of origin the duty may be lower, or nothing"
    if answers.sent_from:
        values["sent_from"] = answers.sent_from
        remarks["sent_from"] = "where it is sent from; where it is made, if it is left out"
    values |= {"incoterm": rule, "mode": mode, "deposit": 0.3, "deposit_days": 0, "balance_days": 60}
    if terms.buyer_exports:
        values["export_inland"] = as_figure(stretched(EXPORT_COST, *([library.currency_factor] * 3)))
    if not terms.seller_ships:
        values["freight_rate"] = as_figure(
            freight_range(answers, library), causes={"shipping_market": "strong"}
        )
        values["freight_minimum"] = rounded(freight.minimum * library.currency_factor)
        remarks["freight_rate"] = f"for one {freight.unit}"
    if not terms.seller_bears_transit:
        values["insurance_percent"] = 1.6
        remarks["insurance_percent"] = "of price and freight + 10 %; 1 to 2.5 is common practice"
    if answers.private_use is not None and law.own_use is not None:
        values["private_use"] = answers.private_use
        remarks["private_use"] = (
            "the rule for goods for your own use, as you told it; look up whether it still holds"
        )
    suggested = [
        duty.id for duty in law.suggested if not duty.origins or is_meant(answers.origin, duty.origins)
    ]
    if suggested:
        values["additional"] = suggested
        remarks["additional"] = (
            "additional duties that parts of passenger cars may bear: take out what does not apply"
        )
    values["boxes"] = _boxes(answers)
    if answers.country is None:
        values["overrides"] = dict(unknown_country().overrides)
    values["note"] = (
        f"{PRACTICE} Duty, tax and arrival charges follow from the rules on file, with source and date."
    )
    return TomlTable("[[consignment]]", values, remarks, _consignment_words(answers, mode, rule, law))


def _consignment_words(answers: Answers, mode: str, rule: str, law: Country) -> tuple[str, ...]:
    words = [
        "Freight, insurance, duty, tax and what is charged between border and door follow from this, and open with "
        "`forecast open`. Every figure of theirs can be overwritten: arrival = { entry = 95, delivery = { low = 90, "
        'middle = 140, high = 260 } }, overrides = { "duty.8708.29" = 0.0 }, storage = { free_days = 7 }.',
    ]
    if countries()[answers.rules].taxed:
        words.append(
            "Charges on arrival are taken without tax, as agents, ports and carriers mostly quote them, and the tax on "
            "them is counted. Where a price holds it, say so: arrival = { entry = 95, holds_tax = "
            '["entry"] }.'
        )
    if (rough := law.look_up.get(f"duty.{KIT_CODE}")) is not None:
        low, high = (f"{100 * rate:g}" for rate in rough)
        words.append(
            f"LOOK THIS UP FIRST: the rate of duty of {law.name} on other body parts, tariff code {KIT_CODE}. Only a "
            f'range is on file, {low} to {high} %. Then write overrides = {{ "duty.{KIT_CODE}" = … }}, 0.1 for 10 %.'
        )
    if answers.boxes is None:
        words.append(
            "Boxes: you do not know them, so the volume follows from the parts, with a wide range (common practice, "
            "yours to overwrite). Kits are charged by volume: ask the seller for outside measures."
        )
    if mode == "sea":
        words.append(
            "By sea the bill at the port is often more than the freight: ask the agent for it in writing."
        )
    if incoterm(rule).seller_ships:
        words.append(f"{rule}: the seller pays the freight, so it must be in the price.")
    if incoterm(rule).seller_pays_dues:
        words.append(
            f"{rule}: have it in writing who is importer of record; many sellers cannot clear goods abroad."
        )
    if answers.country is None:
        words.append(
            f"You did not name a country: {unknown_country().words}. Write yours under [build], and leave "
            "overrides out."
        )
    return tuple(words)


def _boxes(answers: Answers) -> list[dict[str, Any]]:
    if answers.boxes is not None:
        return [
            {
                "length": box.length, "width": box.width, "height": box.height, "weight": box.weight,
                "count": box.count,
            }
            for box in answers.boxes
        ]  # fmt: skip
    share = share_of(answers)
    height = USUAL_VOLUME * share / (1.9 * 1.05) * 100
    narrow = min(1.0, height / 40)  # a small part needs no crate of full length
    wide = 1.15 if answers.panels is None else 1.0
    return [
        {
            "length": as_figure(stretched((165, 190, 215), narrow, narrow, narrow)),
            "width": as_figure(stretched((90, 105, 125), 1, 1, 1)),
            "height": as_figure(
                stretched((height, height, height), 0.7 / wide / narrow, 1 / narrow, 1.5 * wide / narrow)
            ),
            "weight": as_figure(stretched((30, 48, 80), share, share, share)),
            "count": 1,
        }
    ]


def plain_lines(answers: Answers, library: Library) -> tuple[dict[str, Any], ...]:
    """Give the kit's lines where there is no customs border: price, freight and delivery with tax in them."""
    share = share_of(answers)
    price = kit_price(answers, library)
    if answers.kit_currency != answers.currency:
        price = ({"value": price} if not isinstance(price, dict) else price) | {
            "currency": answers.kit_currency
        }
    freight = library.line("freight")
    words = "From within the same customs territory: no duty and no import tax; the price has its tax in it."
    return (
        {"id": "kit", "name": "Body kit", "group": "kit", "amount": price, "note": f"{PRACTICE} {words}"},
        {
            "id": "freight", "name": "Freight by road, to the door", "group": "freight",
            "amount": as_figure(
                stretched(freight.range, 0.4 * share, 0.4 * share, 0.5 * share), causes={"shipping_market": "strong"}
            ),
            "note": PRACTICE,
        },
    )  # fmt: skip
