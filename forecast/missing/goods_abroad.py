"""What has been left out of goods from abroad: each consignment judged by what it says, and percentages of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from forecast.buildfile.cautions import mentions
from forecast.buildfile.changes import SetKey
from forecast.buildfile.checks import dependencies
from forecast.buildfile.consignment import Consignment
from forecast.buildfile.incoterms import incoterm
from forecast.buildfile.library import PRACTICE, Range
from forecast.buildfile.library.starters import rounded
from forecast.buildfile.rates import ask_for_rate, per_euro
from forecast.buildfile.schema import Line
from forecast.figures.figure import FigureBase
from forecast.figures.kinds import Known
from forecast.missing.build_facts import Facts, text_of
from forecast.missing.rules import Finding, load_rules, usual_cost
from forecast.start.kit import EXPORT_COST

_FOLLOWS_GOODS = (
    "card", "bank", "payment", "transfer fee", "currency", "insurance", "insured", "broker", "import",
)  # fmt: skip
"""Words of a percentage that is taken of all that is bought."""


def _is_nothing(figure: FigureBase | None) -> bool:
    return isinstance(figure, Known) and figure.value == 0


def of_consignments(facts: Facts) -> Iterator[Finding]:
    """Find freight, tax and charges at either end that a consignment is silent on, or says are nothing."""
    for bought in facts.build.consignment:
        rule = incoterm(bought.incoterm)
        ships = not rule.seller_ships
        freight = bought.freight if bought.freight is not None else bought.freight_rate
        if ships and (freight is None or _is_nothing(freight)):
            yield _freight(facts, bought)
        if rule.buyer_exports and (bought.export_inland is None or _is_nothing(bought.export_inland)):
            yield _export(facts, bought)
        yield from _untaxed(facts, bought)
        if rule.seller_unloads:
            continue
        unloading = (bought.arrival.terminal, bought.arrival.documents)
        if bought.mode == "sea" and all(map(_is_nothing, unloading)):
            yield from _from_rule(
                facts, bought, "arrival_charges",
                "take terminal and documents out of arrival, so that the usual counts, or write what the agent asks, "
                "such as arrival = { terminal = { low = 40, high = 120 }, documents = { low = 30, high = 120 } }",
            )  # fmt: skip
        if ships and _is_nothing(bought.arrival.delivery):
            yield from _from_rule(
                facts, bought, "kit_delivery",
                "take delivery out of arrival, so that the usual counts, or write arrival = { delivery = { low = 90, "
                "middle = 140, high = 260 } }",
            )  # fmt: skip


def _place(bought: Consignment) -> str:
    return f'[[consignment]] with id = "{bought.id}"'


def _key_set(bought: Consignment, key: str, cost: Range | None) -> tuple[SetKey | None, str]:
    """Give the change that writes a usual range under a key, and how it reads."""
    if cost is None:
        return None, f"{key} = {{ low = …, middle = …, high = … }}"
    low, middle, high = cost
    change = SetKey(bought.id, key, {"low": low, "middle": middle, "high": high})
    return change, f"{key} = {{ low = {low:g}, middle = {middle:g}, high = {high:g} }}"


def _freight(facts: Facts, bought: Consignment) -> Finding:
    usual = usual_cost(facts.build, "freight")
    change, words = _key_set(bought, "freight", usual.cost)
    return Finding(
        f"freight-{bought.id}", "must", f"Freight of {bought.title}",
        f"Under {bought.incoterm} the freight is the buyer's, and none is given. Most countries take duty and tax of "
        "it too, so a line of its own does not do.",
        usual.cost, usual.unit, usual.source, line=bought.id, change=change,
        mend=f"In {_place(bought)} add {words}, or freight_rate per kg or W/M with boxes.",
    )  # fmt: skip


def _export(facts: Facts, bought: Consignment) -> Finding:
    currency = facts.build.build.currency
    factor, cost = per_euro(facts.build), None
    if factor is not None:
        low, middle, high = (rounded(number * factor) for number in EXPORT_COST)
        cost = (low, middle, high)
    change, words = _key_set(bought, "export_inland", cost)
    return Finding(
        f"export_inland-{bought.id}", "must", f"Costs in the export country of {bought.title}",
        f"Under {bought.incoterm} the goods are handed over at the seller's door: carriage to the port, export "
        "clearance and loading are the buyer's, and none are given. Customs count them into the value, so a line of "
        "its own does not do.",
        cost, currency, PRACTICE if cost else ask_for_rate(currency), line=bought.id, change=change,
        mend=f"In {_place(bought)} add {words}, or ask the seller for FCA.",
    )  # fmt: skip


def _untaxed(facts: Facts, bought: Consignment) -> Iterator[Finding]:
    """Find a consignment whose import tax is overwritten with nothing."""
    zero = [
        name
        for name, figure in bought.overrides.items()
        if name in facts.law.tax_names and _is_nothing(figure)
    ]
    if not zero or not facts.law.taxed or incoterm(bought.incoterm).seller_pays_dues:
        return
    usual = usual_cost(facts.build, "import_tax")
    kept = {name: figure.as_written() for name, figure in bought.overrides.items() if name not in zero}
    yield Finding(
        f"import_tax-{bought.id}", "must", f"Import tax of {bought.title}",
        f"{zero[0]} is overwritten with 0, but goods for a private buyer are taxed at the border, on the duty too. "
        "Reliefs are few (a removal, an inheritance): answer here if one holds.",
        usual.cost, usual.unit, usual.source, line=bought.id, change=SetKey(bought.id, "overrides", kept or None),
        mend=f"In {_place(bought)} take {zero[0]} out of overrides, so that the rate on file counts.",
    )  # fmt: skip


def _from_rule(facts: Facts, bought: Consignment, rule: str, edit: str) -> Iterator[Finding]:
    need = next(need for need in load_rules() if need.rule == rule)
    if need.is_there(facts):
        return
    usual = usual_cost(facts.build, need.starter)
    yield Finding(
        f"{rule}-{bought.id}", need.grade, f"{need.missing} of {bought.title}", need.why, usual.cost, usual.unit,
        usual.source, need.starter, bought.id, f"In {_place(bought)} {edit}.",
    )  # fmt: skip


def storage(facts: Facts) -> Iterator[Finding]:
    """Find storage that says nothing of free days."""
    why = (
        "Depots grant some free days and charge by the day after them; how many, and how soon the goods are fetched, "
        "decides whether storage costs nothing or more than the freight. 3 to 7 free days are usual (common practice)."
    )
    for line in facts.lines(("storage", "demurrage", "quay rent", "detention"), ("import", "freight")):
        if isinstance(line.amount, Known):  # a bill that came, or is known to the cent: no day changes it
            continue
        if mentions(f"{text_of(line)} {line.note or ''}", ("free", "broker", "arrival")):
            continue
        yield Finding(
            f"free_days-{line.id}", "usual", f"Free days of {line.title}", why, line=line.id,
            mend=f'In [[line]] with id = "{line.id}" say the free days in the name or the note, such as note = "after '
            '5 free days", and let the range follow from them; or use a [[consignment]].',
            sheet="Say them in its name, such as \u201cStorage after 5 free days\u201d, and let its range follow from "
            "them.",
        )  # fmt: skip
    for bought in facts.build.consignment:
        if bought.storage.steps and bought.storage.free_days is None:
            yield Finding(
                f"free_days-{bought.id}", "usual", f"Free days of {bought.title}'s storage", why, line=bought.id,
                mend=f"In {_place(bought)} add them to storage, such as storage = {{ free_days = 5, … }}; the usual is "
                "taken until then.",
            )  # fmt: skip


def percentages(facts: Facts) -> Iterator[Finding]:
    """Find percentages, in any group, whose base leaves out a part of what is bought."""
    bases = dependencies(facts.build)
    for line in facts.build.line:
        if line.percent is None:
            continue
        missed = {item.id: item.title for item in _missed_lines(facts, line, bases)}
        missed |= {item.id: item.title for item in _missed_consignments(facts, line, set(bases[line.id]))}
        if missed:
            names = ", ".join(f'"{name}"' for name in (*line.of, *missed))
            yield Finding(
                f"percent_misses-{line.id}", "usual", f"{line.title} is not taken of {', '.join(missed.values())}",
                "A percentage of a consignment follows all of its parts: name the group, or the lines, in of = […].",
                line=line.id, mend=f'In [[line]] with id = "{line.id}" write of = [{names}].',
                change=SetKey(line.id, "of", [*line.of, *missed]),
            )  # fmt: skip


def _missed_lines(facts: Facts, line: Line, bases: Mapping[str, tuple[str, ...]]) -> list[Line]:
    """Give the lines of kit, freight and duty that a percentage should be taken of and is not."""
    build, base = facts.build, set(bases[line.id])
    kit = [item for item in build.line if item.group == "kit"]
    freight = [
        item
        for item in build.line
        if item.group == "freight"
        and not mentions(text_of(item), ("delivery", "collection", "insurance", "arrival"))
    ]
    wanted: list[Line] = []
    if line in facts.duty:
        wanted = kit + (freight if facts.law.duty_on_freight else [])
    elif line in facts.import_tax:
        wanted = kit + list(facts.duty) + (freight if facts.law.tax_on_freight else [])
    elif base & {item.id for item in kit}:
        wanted = [item for item in kit if item.percent is None or line.group != "kit"]
    return [
        item
        for item in wanted
        if item.id not in base and item.id != line.id and line.id not in _everything_below(item, bases)
    ]


def _everything_below(line: Line, bases: Mapping[str, tuple[str, ...]]) -> set[str]:
    """Give all lines that a line follows, so that none is asked to follow one that follows it."""
    found: set[str] = set()
    left = [line.id]
    while left:
        new = set(bases.get(left.pop(), ())) - found
        found |= new
        left += new
    return found


def _missed_consignments(facts: Facts, line: Line, base: set[str]) -> list[Consignment]:
    """Give the consignments that a percentage should be taken of and is not; each has its own duty and tax."""
    bought = facts.build.consignment
    if line in facts.duty or line in facts.import_tax:
        return []
    kit = {item.id for item in facts.build.line if item.group == "kit"}
    left = [item for item in bought if not _is_in(item, line.of)]
    touches = bool(base & kit) or len(left) < len(bought)
    if not touches and not mentions(text_of(line), _FOLLOWS_GOODS):
        return []
    return left


def _is_in(bought: Consignment, names: tuple[str, ...]) -> bool:
    groups = {"kit", "freight", "import", *(item.group for item in bought.items)}
    return bought.id in names or any(name in groups or name.startswith(f"{bought.id}.") for name in names)


__all__ = ["of_consignments", "percentages", "storage"]
