"""What the law and the carriers say, as dated data: one file per country, and the models that hold it."""

from __future__ import annotations

from forecast.trade.rules.load import (
    ArrivalDefaults,
    Volatilities,
    called,
    countries,
    load_arrival,
    load_carriage,
    load_rules,
    load_volatilities,
)
from forecast.trade.rules.model import RuleFigure, Rules, RuleWarning, doubt
from forecast.words.sources import Certainty

__all__ = [
    "ArrivalDefaults",
    "Certainty",
    "RuleFigure",
    "RuleWarning",
    "Rules",
    "Volatilities",
    "called",
    "countries",
    "doubt",
    "load_arrival",
    "load_carriage",
    "load_rules",
    "load_volatilities",
]
