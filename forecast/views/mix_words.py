"""Mixes in words: who does what, what a mix needs, and what each choice of the best one saves and risks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from forecast.buildfile.oneself import OWN_ROUTE, own_hazards_sentence
from forecast.decide.mixes import SOME_HOURS, Mix, Mixes, MixReason, package_words
from forecast.words.chances import listed, rounded_hours
from forecast.words.money import Money, rounded

_BY = {"shop": "a shop"}
_WAYS = {OWN_ROUTE: "doing it yourself", "shop": "a shop"}


def route_words(routes: Mapping[str, str]) -> list[str]:
    """Say who does which work package, from the route of each."""
    by_route: dict[str, list[str]] = {}
    for package, route in routes.items():
        by_route.setdefault(route, []).append(package_words(package))
    away = {route: packages for route, packages in by_route.items() if route != OWN_ROUTE}
    parts = [
        f"{listed(packages)} by {_BY.get(route, package_words(route))}" for route, packages in away.items()
    ]
    if by_route.get(OWN_ROUTE):
        return [*parts, "the rest by yourself" if away else "everything by yourself"]
    if len(away) == 1 and len(routes) > 1:
        return [f"everything by {_BY.get(route, package_words(route))}" for route in away]
    return parts


def mix_words(mix: Mix, titles: Mapping[str, str] | None = None) -> str:
    """Name the mix: who does what, and which options, by their titles where those are given."""
    named = titles or {}
    parts = route_words(mix.routes)
    parts += [
        f"{package_words(choice)}: {named.get(id, package_words(id))}" for choice, id in mix.options.items()
    ]
    return "; ".join(parts)


def _times(mix: Mix) -> list[str]:
    weeks = [] if mix.weeks is None else [f"{mix.weeks:.0f} weeks"]
    return [f"{rounded_hours(mix.hours_p80)} own hours", *weeks]


def time_words(mix: Mix) -> str:
    """Say what it takes at P80: own hours, and weeks where they are known."""
    return listed(_times(mix))


def needs_words(found: Mixes, mix: Mix, money: Money) -> str:
    """Say what it costs and takes at P80."""
    return listed([rounded(money, found.p80_of(mix)), *_times(mix)])


def taken_in_words(reason: MixReason) -> str:
    """Say what is taken."""
    return reason.titles.get(reason.taken) or _WAYS.get(reason.taken, package_words(reason.taken))


def instead_in_words(reason: MixReason) -> str:
    """Say what it is held against."""
    return reason.titles.get(reason.instead) or _WAYS.get(reason.instead, package_words(reason.instead))


def reason_sentence(reason: MixReason, money: Money, hourly: Money | None = None) -> str:
    """Say what the choice saves and risks."""
    name = package_words(reason.choice).capitalize()
    saves = reason.mean.value
    sum_ = money(abs(saves), error=reason.mean.error)
    word = f"saves {sum_}" if saves >= 0 else f"costs {sum_} more"
    text = f"{name}: {taken_in_words(reason)} {word} on average against {instead_in_words(reason)}"
    if saves >= 0 > reason.p90.value:
        text += f", but its bad outcomes cost {money(-reason.p90.value, error=reason.p90.error)} more at P90"
    elif saves < 0 < reason.p90.value:
        text += f", but spares {rounded(money, reason.p90)} at P90"
    if abs(reason.hours) >= SOME_HOURS:
        text += f"; {rounded_hours(abs(reason.hours))} own hours {'more' if reason.hours > 0 else 'fewer'}"
        if reason.per_own_hour is not None:
            text += f" ({(hourly or money)(reason.per_own_hour)} per own hour)"
    return f"{text}."


def hazards_sentence(found: Mixes, money: Money) -> str:
    """Say what of the mix may hurt, and what the best one without it needs; nothing where nothing may."""
    said = own_hazards_sentence(found.hazards)
    if found.spared is None:
        return said
    needs = needs_words(found, found.spared, money)
    return (
        f"{said} The best mix with {'that' if len(found.hazards) == 1 else 'these'} farmed out: "
        f"{mix_words(found.spared, found.titles)}. It needs {needs} at P80"
        f"{'' if found.fits(found.spared) else ', which is beyond your limits'}."
    )


def agreed_sentences(found: Mixes, left: Sequence[str], money: Money) -> list[str]:
    """Say which mix would cost less with an agreed price left, or which keeps them where none within the limits does.

    Parameters
    ----------
    found : Mixes
    left : sequence of str
        What is said of each price agreed that is left.
    money : callable
    """
    if found.leaving is not None:
        named = mix_words(found.leaving, found.titles)
        needs = needs_words(found, found.leaving, money)
        return [f"Cheaper, with an agreed price left: {named}. It needs {needs} at P80.", *left]
    if found.keeping is None:
        return list(left)
    return [
        *left,
        f"Cheapest with what is agreed kept: {mix_words(found.keeping, found.titles)}. It needs "
        f"{needs_words(found, found.keeping, money)} at P80, which is beyond your limits.",
    ]


def mix_mark(found: Mixes, item: Mix) -> str:
    """Say what a mix in the list is: the best, the way in force, both or neither."""
    return ", ".join(
        word
        for word, one in (("best", found.best), ("your way", found.yours))
        if one is not None and item == one
    )


def mixes_sentence(found: Mixes, money: Money, entered: Money | None = None) -> str:
    """Say which mix is best within the limits, or that there is none; ``entered`` writes the limit in money."""
    limits = []
    if found.money is not None:
        limits.append((entered or money)(found.money))
    if found.hours is not None:
        limits.append(f"{found.hours:.0f} own hours")
    if found.weeks is not None:
        limits.append(f"{found.weeks:.0f} weeks")
    within = f" within {listed(limits)}" if limits else ""
    if found.best is not None:
        best = found.best
        kept = "" if found.leaving is None else ", with what is agreed kept"
        return (
            f"Best of {len(found.mixes):,} mixes{within}{kept}: {mix_words(best, found.titles)}. "
            f"In 80 of 100 builds (P80) it costs no more than {rounded(money, found.p80_of(best))} and takes "
            f"no more than {time_words(best)}."
        )
    return (
        f"No mix stays{within} in 80 of 100 builds. The cheapest needs {needs_words(found, found.cheapest, money)}; "
        f"the one with least work {needs_words(found, found.least_work, money)}{_soonest_words(found, money)}."
    )


def _soonest_words(found: Mixes, money: Money) -> str:
    if found.soonest is None or found.weeks is None or found.soonest in (found.cheapest, found.least_work):
        return ""
    return f"; the soonest {needs_words(found, found.soonest, money)}"
