"""Ways of doing the build side by side: one row each as figures and words, and what is said of two of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from forecast.buildfile.choosing import scenario_title
from forecast.buildfile.oneself import OwnHazard
from forecast.buildfile.schema import Build
from forecast.decide.dominance import Dominance
from forecast.decide.made import routes_made, ways_left
from forecast.decide.mixer import routes_offered
from forecast.decide.own_hours import OwnHourPay
from forecast.decide.scenarios import Comparison, Pair, Summary
from forecast.engine.plan import compile_plan
from forecast.views.mix_words import route_words
from forecast.views.moves import short
from forecast.watching.known_facts import Knowledge, known_from
from forecast.watching.standing import Standing
from forecast.words.chances import builds, listed, rounded_hours
from forecast.words.money import Money, about, estimated, hourly, hours, percent, rounded

ON_AVERAGE = (
    "What one way costs or works more than another is told on average: differences of two P50s or P80s come out "
    "otherwise."
)
"""Stands beside ways with percentiles of their own, for who takes the differences of these."""

_HEARD = 0.5
"""What counts for more than this among what a way learns is told of; a sum that may be a part says little."""


def least_work(comparison: Comparison) -> Summary:
    """Give the way with the fewest own hours in the middle: what the others' hours are paid against."""
    return min(comparison.scenarios, key=lambda item: item.hours[1].value)


def way_in_table(item: Summary, plan: str | None) -> str:
    """Name a way in a table of several, the builder's plan as such."""
    return f"{item.name}, your plan" if item.id == plan else item.name


def ways_table(
    comparison: Comparison, hazards: Mapping[str, Sequence[OwnHazard]] | None, plan: str | None = None
) -> tuple[list[str], list[list[str]], str]:
    """Give headings, a row for each way, and what the table shows.

    Parameters
    ----------
    comparison : Comparison
    hazards : mapping, or None
        By way, what it has one do oneself though others had better; None once the work is done, and the column is
        left out: a dash in it would say that nothing could hurt.
    plan : str, optional
        The way that is the builder's plan, where it is to be marked.
    """
    money, timed = comparison.currency, comparison.scenarios[0].weeks is not None
    least = least_work(comparison)
    headings = ["", "Hold (P80)", "P50", "P90", "Own hours", *(["Weeks"] if timed else [])]
    headings += ["An own hour pays", *([] if hazards is None else ["What can hurt"])]
    rows = [
        [
            way_in_table(item, plan),
            *(about(sum_.value, money, sum_.error) for sum_ in (item.p80, item.p50, item.p90)),
            hours(item.hours[1].value),
            *([f"{item.weeks[1].value:.0f}" if item.weeks is not None else ""] if timed else []),
            _pays(comparison, item, least),
            *([] if hazards is None else [_hurts(hazards.get(item.id, ()))]),
        ]
        for item in comparison.scenarios
    ]  # fmt: skip
    what = "hours and weeks" if timed else "hours"
    held = "Hold (P80): in 80 of 100 builds it costs no more"
    beside = f"Own {what} in the middle; what an own hour pays, against {least.name}"
    return headings, rows, f"{held}. {beside}. {ON_AVERAGE}"


def what_ways_hold(build: Build, ways: Sequence[str]) -> list[str]:
    """Say of each way in between who does what; of one that does all alike its name says it."""
    packages = [package for package, routes in routes_offered(build).items() if len(routes) > 1]
    told = []
    for name in ways:
        way = build.scenario.get(name)
        routes = {} if way is None else {package: way.route(package) for package in packages}
        if len(set(routes.values())) > 1:
            told.append(f"{scenario_title(build, name)}: {'; '.join(route_words(routes))}.")
    return told


def further_table(comparison: Comparison) -> tuple[list[str], list[list[str]], str]:
    """Give headings, a row for each way with what `ways_table` leaves out, and what the table shows."""
    money = comparison.currency
    rows = [
        [
            item.name, estimated(item.p10, money), estimated(item.mean, money), percent(item.chance_cheapest.value),
            estimated(item.regret, money),
        ]
        for item in comparison.scenarios
    ]  # fmt: skip
    caption = (
        "How often each is the cheapest, and how much dearer it is on average than whichever is the cheapest in that "
        "build"
    )
    if comparison.scenarios[0].weeks is not None:
        caption += ". Weeks are own hours at what a week has room for, then waiting"
    return ["", "P10", "On average", "Cheapest in", "Dearer by"], rows, caption


def _pays(comparison: Comparison, item: Summary, least: Summary) -> str:
    if item.id == least.id:
        return "\u2013"
    pay = comparison.pair(item.id, least.id).pay
    if pay is None or pay.worker != item.name:
        return "\u2013"
    return hourly(pay.mean.value, comparison.currency) if pay.saving > 0 else "nothing"


def _hurts(found: Sequence[OwnHazard]) -> str:
    doing = dict.fromkeys(item.caution.doing for item in found)
    return ", ".join(doing).capitalize() or "\u2013"


def taught_sentences(build: Build, known: Standing | None, ways: Sequence[str]) -> list[str]:
    """Say which ways move by prices of lines that they do not have, and why; nothing where none does.

    Parameters
    ----------
    build : Build
    known : Standing or None
    ways : sequence of str
        Ids of the scenarios that stand beside each other.
    """
    if known is None:
        return []
    moved: dict[tuple[str, ...], list[str]] = {}
    scores: dict[tuple[str, ...], list[float]] = {}
    titles: dict[str, str] = {}
    for way in ways:
        plan = compile_plan(build, way)
        taught = known_from(plan, known, build).facts.taught
        taught = {name: one for name, one in taught.items() if one.weight > _HEARD}
        if taught:
            titles |= plan.absent
            moved.setdefault(tuple(taught), []).append(f"\u201c{scenario_title(build, way)}\u201d")
            scores[tuple(taught)] = [one.score for one in taught.values()]
    told = []
    for lines, names in moved.items():
        one = len(lines) == 1
        off = "over" if min(scores[lines]) > 0 else "under" if max(scores[lines]) < 0 else ""
        moves = "changes" if len(names) == 1 else "change"
        without = f"\u201c{short(titles[lines[0]], 4)}\u201d is" if one else f"{len(lines)} lines are"
        them = "it" if len(names) == 1 else "them"
        told.append(f"{listed(names)} {moves} too, though {without} not in {them}.")
        came, your = ("Its price", "your estimate") if one else ("Their prices", "your estimates")
        if off:
            others = "low" if off == "over" else "high"
            told.append(f"{came} came {off} {your}, so the other estimates may be {others} too.")
        else:
            told.append(f"{came} tell{'s' if one else ''} how close your other estimates are.")
    return told


def made_sentences(build: Build, known: Knowledge) -> list[str]:
    """Say which choices are made, and which ways are left out for it; nothing where all ways are left."""
    made, left = routes_made(build, known), ways_left(build, known)
    gone = [way for way in build.scenario if way not in left]
    if not gone:
        return []
    done = [
        package
        for package, route in made.items()
        if any(build.scenario[way].route(package) != route for way in gone)
    ]
    what = listed([package.replace("_", " ").replace("-", " ") for package in done])
    names = listed([f"\u201c{scenario_title(build, way)}\u201d" for way in gone])
    told = [
        f"Done and paid: {what}. {names} would do that again, and {'is' if len(gone) == 1 else 'are'} left out."
    ]
    if len(left) == 1:
        told.append(f"\u201c{scenario_title(build, left[0])}\u201d is the way that is left.")
    return told


def dominance_sentence(found: Dominance) -> str:
    """Say it in words."""
    if found.order == 1:
        if found.better is None:
            return f"{found.first} and {found.second} cost the same."
        return f"Whatever sum you name, {found.better} stays within it at least as often as {found.worse}."
    if found.order == 2:
        return (
            f"{found.better} is not always cheaper, but its dear builds are less dear: it is safer than "
            f"{found.worse}."
        )
    share = max(found.cheaper_at, 1 - found.cheaper_at)
    cheaper = found.first if found.cheaper_at >= 0.5 else found.second
    if share > 0.99:
        return f"{cheaper} stays within nearly any sum at least as often; only the rarest builds differ."
    return (
        f"From the cheapest build of each to the dearest, {cheaper} costs less in {100 * share:.0f} of 100 places, "
        "more in the others. Which is better depends on how much you mind a dear build."
    )


def pay_sentence(pay: OwnHourPay, money: Money, strong: str = "") -> str:
    """Say what an own hour earns; ``strong`` is put around the key figure."""
    if pay.saving <= 0:
        more = (
            f"{pay.worker} takes {rounded_hours(pay.extra_hours)} own hours more than {pay.other} on average"
        )
        return f"{more} and saves nothing: your time earns nothing by it."
    pays = f"{strong}{money(pay.mean.value)} per own hour{strong}"
    text = f"Doing it yourself pays {pays}: {pay.worker} against {pay.other}."
    if pay.p10 is not None and pay.p90 is not None:
        text += f" In 80 of 100 builds it pays {money(pay.p10.value)} to {money(pay.p90.value)}."
    return f"{text} If your hour is worth more than that to you, farm it out."


def steps_of(found: Comparison, pair: Pair) -> tuple[OwnHourPay, OwnHourPay] | None:
    """Give the two steps that a pair of ways is made of by way of a third, that of the most own hours first.

    What its own hours pay follows from those of the steps. None where there is no third way in between, or where a step
    saves nothing.
    """
    if pair.pay is None:
        return None
    pays = [one.pay for one in found.pairs if one.pay is not None and one.pay.saving > 0]
    for first in pays:
        for second in pays:
            ends = first.worker == pair.pay.worker and second.other == pair.pay.other
            if ends and first.other == second.worker:
                return first, second
    return None


def steps_sentence(pay: OwnHourPay, steps: tuple[OwnHourPay, OwnHourPay], money: Money) -> str:
    """Say what an own hour pays from one way over a second to a third: the average of both steps, by their hours."""
    first, second = (f"{money(step.mean.value)} for {rounded_hours(step.extra_hours)}" for step in steps)
    way = f"That is both steps together, by way of {steps[0].other}"
    return f"{way}: {money(pay.mean.value)} per own hour. It comes from {first} of these hours and {second}."


def turning_sentence(pay: OwnHourPay, money: Money) -> str:
    """Say at which value of an own hour the decision turns."""
    if pay.turns_at is not None:
        return (
            f"At P80 the decision turns at {money(pay.turns_at)} per own hour: if yours is worth more to you, "
            f"{pay.other} comes out cheaper."
        )
    if pay.dearer_at_p80:
        return f"At P80 {pay.worker} is dearer even where own hours count nothing."
    return f"At P80 {pay.worker} is cheaper whatever an own hour is worth to you."


def pair_sentence(pair: Pair, money: Money) -> str:
    """Say which is cheaper, how often, and by how much."""
    ids = pair.first, pair.second
    cheaper, dearer = ids if pair.mean.value >= 0 else ids[::-1]
    less = f"{pair.name_of(cheaper)} costs {rounded(money, pair.dearer_by(dearer))} less than {pair.name_of(dearer)}"
    return f"{less} on average, and is cheaper in {builds(pair.cheaper_in(cheaper))}."


def comparison_sentence(found: Comparison, money: Money, strong: str = "") -> str:
    """Say which one is cheapest, and how sure that is; ``strong`` is put around the key figures."""
    best, on_average = found.cheapest_in_the_middle, found.cheapest
    text = (
        f"{strong}{best.name}{strong} is cheapest: {strong}{rounded(money, best.p50)}{strong} in the middle (P50), "
        f"and the cheapest of all in {strong}{builds(best.chance_cheapest.value)}{strong}."
    )
    if on_average.id != best.id:
        dearer = found.pair(best.id, on_average.id).dearer_by(best.id)
        text += (
            f" On average {on_average.name} is cheaper by {rounded(money, dearer)}: "
            "its dear builds are less dear."
        )
    return text
