"""Goods that go back to the seller: what that costs, and what comes back of their price, duty and tax."""

from __future__ import annotations

from collections.abc import Sequence

from forecast.buildfile.consignment import MONEY_BACK
from forecast.figures.figure import FigureBase
from forecast.figures.formula import Constant, Formula, LineValue, Product, Quotient
from forecast.trade.customs import Article
from forecast.trade.expansion import ComputedEvent, ComputedLine
from forecast.trade.working_sheet import Sheet, total

_ON_APPLICATION = (
    "Duty and tax come back on application only, within a time limit: ask customs before you send."
)


def write_returned(sheet: Sheet, articles: Sequence[Article], dues: Sequence[LineValue]) -> None:
    """Write the event of goods that go back, where the consignment says that they may.

    Parameters
    ----------
    sheet : Sheet
    articles : sequence of Article
        The consignment's goods at the customs rate, in their order.
    dues : sequence of LineValue
        What was paid of duty and import tax; what is theirs goes by price.
    """
    said = sheet.consignment.returned
    if said is None:
        return
    chosen = [
        (item, article)
        for item, article in zip(sheet.consignment.items, articles, strict=True)
        if not said.goods or item.id in said.goods
    ]
    costs = [
        sheet.paid(sheet.money(f"returned.{key}", figure), sheet.customs_day)
        for key, figure in (("freight", said.freight), ("fee", said.fee))
        if figure is not None
    ]
    prices = [LineValue(sheet.id(item.id)) for item, _ in chosen]
    refund, words = _share(sheet, "refund", said.refund)
    back: list[Formula] = [Product((refund, total(*prices)))]
    told = [f"{words} of {_added(prices)}"]
    if said.dues_back is not None:
        of_all = total(*(article.price for article in articles))
        share = Quotient(total(*(article.price for _, article in chosen)), of_all)
        given, words = _share(sheet, "dues_back", said.dues_back)
        back.append(Product((given, share, total(*dues))))
        told.append(f"{words} of their part of {_added(dues)}")
        sheet.note(_ON_APPLICATION)
    elif dues:
        words = "Nothing of them is counted: write returned = { …, dues_back = 1.0 } where all would."
        sheet.note(f"{_ON_APPLICATION} {words}")
    names = " and ".join(item.name or item.id.replace("_", " ") for item, _ in chosen)
    sheet.events.append(
        ComputedEvent(
            sheet.id("returned"),
            f"{names} sent back",
            said.chance,
            total(*(cost for cost, _ in costs)),
            working=" + ".join(words for _, words in costs)
            or "nothing: neither freight nor a fee is written",
            back=ComputedLine(
                sheet.id(MONEY_BACK),
                f"Money back for {names}",
                "import",
                Product((Constant(-1), total(*back))),
                " + ".join(told),
                "What the seller refunds and customs give back, where it is sent back.",
            ),
        )
    )


def _share(sheet: Sheet, key: str, figure: FigureBase) -> tuple[Formula, str]:
    """Give a share as a formula and in words."""
    formula = sheet.figure(f"returned.{key}", figure.model_copy(update={"unit": "share"}))
    return formula, f"{100 * formula.value:.6g} %" if isinstance(formula, Constant) else sheet.say(formula)


def _added(lines: Sequence[LineValue]) -> str:
    words = " + ".join(f"{{{line.id}}}" for line in lines) or "nothing"
    return f"({words})" if len(lines) > 1 else words


__all__ = ["write_returned"]
