"""Whether a bill that nobody told of is what a line that stands open is for, by the words of both names."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable

from forecast.buildfile.schema import Build
from forecast.engine.plan import compile_plan
from forecast.engine.rows import Plan, Row
from forecast.errors import ForecastError
from forecast.ledger import Ledger
from forecast.watching.reforecast import scenario_in_force

_ON_THE_WAY = frozenset({"kit", "freight", "import"})
"""Groups that one bill may stand in as well as another: a forwarder charges for all three."""

_ASIDE = "at by from in on per to with"
"""Words after which a name says where, by whom or how, no longer what."""

_NO_NEWS = frozenset(
    re.findall(
        r"\w+",
        """the and our new for with extra various sea ocean bill bills invoice fee fees charge charges cost costs
        expenses handling service services hire rent rental port harbour harbor""",
    )
)
"""Words that tell no two things apart: a bill may bear them, and a line may not, for one and the same."""

_PORT = frozenset({"port", "harbour", "harbor", "depot"})
"""A bill on the way that says no more than whose it is may be for all that a port or depot charges."""

_TRADE = {
    word: what
    for what, words in {
        "storage": "storage demurrage detention",
        "examination": "examination examine exam inspection inspect",
        "entry": "entry brokerage broker clearance declaration",
        "delivery": "delivery drayage haulage cartage",
    }.items()
    for word in words.split()
}
"""What agents, ports and carriers call one and the same, by each of the words (common practice, no source)."""

_OF_THE_WAY = _PORT | {"custom", "customs", "container", "demurrage", "detention", "drayage", "brokerage"}
"""Words by which a bill is one of the way here, whatever group it is said to stand in."""

_LEAST = 4
"""Letters of a word that says what something is; a shorter one only tells it from others."""


def open_lines_like(
    build: Build, ledger: Ledger | None, name: str, group: str, new: Iterable[str] = ()
) -> tuple[str, ...]:
    """Find lines and risks that stand open, unpaid, and are called what a bill is that is to have a line of its own.

    A name is taken apart at its commas and *and*: a bill of "Terminal, documents" is two things. Each has to be just
    what a line, or a part of its name, says; a word more, as in "Delivery of the compressor" beside "Delivery to the
    door", makes another thing of it. A "Port bill" is held against all that ports charge; a bill of the way here also
    against what the trade calls by another word, demurrage for storage, and against risks of the way, such as that
    customs examine it. A wrong question is worse than none.

    Parameters
    ----------
    build : Build
    ledger : Ledger or None
    name, group : str
        Of the bill. The group "other" says nothing; any other one is held against that of the line.
    new : iterable of str
        Ids of the lines that are made for it, which are no answer.

    Returns
    -------
    tuple of str
        Ids, in the order of the build.
    """
    asked = set(map(frozenset, _things(name)))
    of_port = not asked and group in _ON_THE_WAY and not _PORT.isdisjoint(re.findall(r"\w+", name.casefold()))
    if not asked and not of_port:
        return ()
    baseline = None if ledger is None else ledger.baseline()
    try:
        plan = compile_plan(build, scenario_in_force(build, None, baseline))
    except ForecastError:  # a build that cannot be simulated can be paid for
        return ()
    bill = re.findall(r"\w+", name.casefold())
    on_the_way = group in _ON_THE_WAY or not _OF_THE_WAY.isdisjoint(bill)
    goods = _goods(plan)
    meant = {told for thing in asked if (told := _in_trade(thing, goods))} if on_the_way else set()
    at_port = {name for item in plan.consignments for name in item.port_bill} if of_port else set()
    gone = set(new) | plan.unforeseen
    if ledger is not None:
        gone |= {*ledger.closed_lines(), *ledger.paid_by_line()}
        gone |= {id for id, mark in ledger.event_states().items() if mark.state == "cannot-happen"}

    def called_so(row: Row) -> bool:
        things = set(map(frozenset, _things(row.title)))
        if row.id.partition(".")[0] in consignments and meant & {_in_trade(thing, goods) for thing in things}:
            return True
        return row.kind == "line" and _may_stand_in(group, row.group) and bool(things & asked)

    consignments = {item.consignment for item in plan.consignments}
    return tuple(
        row.id
        for row in plan.rows
        if row.kind in ("line", "event") and row.id not in gone and (row.id in at_port or called_so(row))
    )


def _goods(plan: Plan) -> frozenset[str]:
    """Give the words that name goods from abroad: on the way here all is of these."""
    titles = [row.title for row in plan.rows if row.group == "kit"]
    return frozenset(word for title in titles for thing in _things(title) for word in thing)


def _in_trade(thing: Iterable[str], goods: Collection[str]) -> frozenset[str]:
    """Write a thing as the trade means it, without whose it is; empty where nothing is left."""
    return frozenset(_TRADE.get(word, word) for word in thing if word not in goods and word != "custom")


def _may_stand_in(said: str, group: str) -> bool:
    return said in ("other", group) or {said, group} <= _ON_THE_WAY


def _things(name: str) -> list[list[str]]:
    """Give the words that tell of each thing that a name lists."""
    found = []
    for part in re.split(r"[,;:+&/()]|\b(?:and|or)\b", name.casefold()):
        what = re.split(rf"\b(?:{_ASIDE.replace(' ', '|')})\b", part)[0]
        words = [_one(word) for word in re.findall(r"[^\W\d_]+", what) if word not in _NO_NEWS]
        told = [word for word in words if len(word) >= _LEAST - 1]
        if any(len(word) >= _LEAST for word in told):
            found.append(told)
    return found


def _one(word: str) -> str:
    """Write a word as of one: ``documents`` as ``document``."""
    return word[:-1] if len(word) > _LEAST and word.endswith("s") and not word.endswith("ss") else word
