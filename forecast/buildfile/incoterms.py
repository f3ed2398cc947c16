"""Who pays what under each Incoterms 2020 rule.

A rule splits costs and risk between seller and buyer. It does not say which charges a forwarder will bill on
arrival, nor the price, nor who owns the goods when.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Literal

from forecast.errors import RuleError

Payer = Literal["seller", "buyer", "nobody"]

COSTS: tuple[str, ...] = (
    "export_packing",
    "loading_at_seller",
    "pre_carriage_to_export_terminal",
    "export_clearance",
    "origin_terminal_handling",
    "main_carriage",
    "cargo_insurance",
    "unloading_at_arrival_terminal",
    "carriage_to_named_destination",
    "import_clearance",
    "import_duty_and_tax",
    "unloading_at_final_place",
)
"""The costs that the rules split, in the order in which the goods meet them."""


@dataclass(frozen=True)
class IncotermsRule:
    """One rule.

    Attributes
    ----------
    code, words, mode, named_place, risk_passes, note : str
        As the rule says; ``words`` in short, to a buyer; ``mode`` is ``any`` or ``sea and inland waterway``.
    instead : str
        The rule that means the same by any other mode than sea; empty where it is meant for all.
    cells : mapping
        Who pays each of `COSTS`, in the full words of the table.
    customs_value : str
        What to add to or take off the quoted price for a customs value.
    """

    code: str
    words: str
    mode: str
    named_place: str
    risk_passes: str
    note: str
    cells: Mapping[str, str]
    customs_value: str
    instead: str = ""

    @property
    def sea_only(self) -> bool:
        """Whether the rule is meant for goods put on board a ship."""
        return self.mode != "any"

    @property
    def seller_ships(self) -> bool:
        """Whether the seller pays the main carriage."""
        return self.cells["main_carriage"] == "seller"

    @property
    def seller_unloads(self) -> bool:
        """Whether the charges on arrival are the seller's."""
        return self.cells["unloading_at_arrival_terminal"] == "seller"

    @property
    def seller_bears_transit(self) -> bool:
        """Whether the seller insures the way, or bears its risk."""
        return self.cells["cargo_insurance"].startswith("seller") or self.risk_at_destination

    @property
    def buyer_exports(self) -> bool:
        """Whether the goods are handed over at the seller's door, with all that follows the buyer's."""
        return self.cells["export_clearance"] == "buyer"

    @property
    def seller_pays_dues(self) -> bool:
        """Whether duty and import tax are the seller's."""
        return self.cells["import_duty_and_tax"] == "seller"

    @property
    def is_c_rule(self) -> bool:
        """Whether the seller pays the carriage while the buyer bears its risk."""
        return self.seller_ships and not self.risk_at_destination

    @property
    def risk_at_destination(self) -> bool:
        """Whether the seller bears the risk of the transit."""
        return self.risk_passes.startswith("at destination")


@lru_cache(maxsize=1)
def incoterms() -> Mapping[str, IncotermsRule]:
    """Give all rules on file by code."""
    path = resources.files("forecast").joinpath("trade/rules/incoterms.json")
    raw: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return MappingProxyType({
        code: IncotermsRule(
            code=code,
            words=row["in_short"],
            mode=row["mode"],
            named_place=row["named_place"],
            risk_passes=row["risk_passes"],
            note=row["note"],
            cells=MappingProxyType({cost: row[cost] for cost in COSTS}),
            customs_value=row["customs_value_from_quoted_price"],
            instead=row.get("by_other_modes", ""),
        )
        for code, row in raw["matrix"].items()
    })  # fmt: skip


def incoterm(code: str) -> IncotermsRule:
    """Give a rule by its three letters.

    Raises
    ------
    RuleError
        When no such rule is on file.
    """
    rules = incoterms()
    if code not in rules:
        message = f"incoterm: found {code!r}. Legal: {', '.join(rules)} (Incoterms 2020)."
        raise RuleError(message)
    return rules[code]


def who_pays(rule: str, cost: str) -> Payer:
    """Tell who pays a cost under a rule, by the plain case of the table.

    Parameters
    ----------
    rule : str
        The rule's three letters.
    cost : str
        One of `COSTS`.

    Returns
    -------
    str
        ``seller``, ``buyer`` or ``nobody`` (insurance that no side must take out). Where the table says
        "seller up to the named place, else buyer" it is the seller: the quoted place is taken to be reached.

    Raises
    ------
    RuleError
        When the rule or the cost is not on file.
    """
    cells = incoterm(rule).cells
    if cost not in cells:
        message = f"cost: found {cost!r}. Legal: {', '.join(COSTS)}."
        raise RuleError(message)
    words = cells[cost]
    if words.startswith("nobody"):
        return "nobody"
    return "seller" if words.startswith("seller") else "buyer"


def buyer_pays(rule: str, cost: str) -> bool:
    """Tell whether a cost may reach the buyer: all that the seller does not pay."""
    return who_pays(rule, cost) != "seller"
