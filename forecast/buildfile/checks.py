"""Checks that need more than one item: names that refer to each other, circles, loadings."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from forecast.buildfile.consignment import Consignment, figures_in
from forecast.buildfile.kept import Kept
from forecast.buildfile.limits import Raised, costed_items, out_of_reach, wrong_times
from forecast.buildfile.locate import Path
from forecast.buildfile.rates import unknown_currency, wrong_rates
from forecast.buildfile.rulefiles import regions_of
from forecast.buildfile.schema import (
    GROUPS,
    OWN_ESTIMATING,
    STARTER_SHARE,
    Build,
    Cause,
    Costed,
    Event,
    Line,
    Measure,
    Option,
    Scenario,
)  # fmt: skip
from forecast.buildfile.takeoff_base import AreaTakeoff, Surface
from forecast.errors import MOST_MISTAKES
from forecast.figures.figure import FigureBase
from forecast.figures.file_values import keys_of

Item = TypeVar("Item", Line, Event)


def figures_of(item: BaseModel) -> Iterator[tuple[str, FigureBase]]:
    """Give each uncertain figure of an item with its key."""
    for key in keys_of(type(item), FigureBase):
        value = getattr(item, key)
        if isinstance(value, FigureBase):
            yield key, value


_FEW = 200
"""Legal names that a word is held against, and words of one file that are: it takes a while where both are many."""
_suggestions: ContextVar[int | None] = ContextVar("_suggestions", default=None)


@contextmanager
def few_suggestions() -> Iterator[None]:
    """Have `nearest` look for likely names only for the first words that are unknown; a file may have any number."""
    token = _suggestions.set(_FEW) if _suggestions.get() is None else None
    try:
        yield
    finally:
        if token is not None:
            _suggestions.reset(token)


def nearest(word: str, legal: Iterable[str]) -> str:
    """Suggest the legal name most like a word, or list what is legal."""
    names = legal if isinstance(legal, list) else list(legal)
    left = _suggestions.get()
    if left is not None:
        _suggestions.set(left - 1)
    close: list[str] = []
    if left is None or left > 0:
        alike = names
        if len(names) > _FEW:  # only those that begin alike
            alike = [name for name in names if name[:1].casefold() == word[:1].casefold()][:_FEW]
        close = difflib.get_close_matches(word, alike, n=1, cutoff=0.6)
    if close:
        return f"Did you mean {close[0]!r}?"
    if not names:
        return "There is none in this file."
    parted = any("," in name for name in names)  # else nobody sees where one ends
    shown = ", ".join(f"\u201c{name}\u201d" if parted else name for name in names[:12]) + (
        ", …" if len(names) > 12 else ""
    )
    return f"Known here: {shown}."


_MISTAKES: Kept[list[Raised]] = Kept()


def mistakes_in(build: Build) -> list[Raised]:
    """Find what `cross_check` does, once for as long as the build is held: nothing in one that was read from text."""
    return _MISTAKES.get(build, "", lambda: cross_check(build))


def found_right(build: Build) -> Build:
    """Note of a build that its very items were checked already, and raised nothing."""
    _MISTAKES.get(build, "", list)
    return build


def cross_check(build: Build, extra_ids: Sequence[str] = ()) -> list[Raised]:
    """Find every mistake that a single item cannot show.

    Parameters
    ----------
    build : Build
        The build, of which some items may have been left out as unreadable.
    extra_ids : sequence of str
        Ids, packages and routes of the items left out, so that references to them raise no second alarm.

    Returns
    -------
    list
        Path, what was found and how to mend it, for each mistake.
    """
    extra = set(extra_ids)
    of_items = _of_items(build, extra)
    found = [*_double_ids(build), *wrong_rates(build), *_wrong_region(build), *of_items]
    for check in (_surfaces, _routes, _overrides, _measures, _options, _handing_over):
        found += check(build, extra)
    return [*found, *_as_changed(build, extra, of_items)]


def _wrong_region(build: Build) -> list[Raised]:
    """Find a region that the country's rules do not know."""
    told, asked = build.build.region, regions_of(build.build.country)
    if told is None or (asked is not None and told in asked.choices):
        return []
    path, found = ("build", "region"), f"found {told!r}"
    if asked is None:
        return [(path, found, f"Take it out: the rules of {build.build.country} ask for no region.")]
    listed = ", ".join(f"{one.code} ({one.name})" for one in asked.choices.values())
    return [(path, found, f"Legal: {listed}.")]


def _double_ids(build: Build) -> list[Raised]:
    found: list[Raised] = []
    seen: dict[str, Path] = {}
    named: list[tuple[Path, Costed | Cause | Consignment | Measure | Surface]] = [*costed_items(build)]
    named += [(("cause", place), cause) for place, cause in enumerate(build.cause)]
    named += [(("consignment", place), item) for place, item in enumerate(build.consignment)]
    named += [(("measure", place), item) for place, item in enumerate(build.measure)]
    named += [(("surface", place), item) for place, item in enumerate(build.surface)]
    for path, item in named:
        if item.id in seen:
            first = seen[item.id]
            found.append(
                (
                    (*path, "id"),
                    f"{item.id!r} is the id of a {first[0]} already",
                    "Every line, event and cause needs an id of its own.",
                )
            )
        seen.setdefault(item.id, path)
        if item.id == OWN_ESTIMATING:
            found.append(((*path, "id"), f"{item.id!r} is taken", "Choose another id."))
    return found


def _references(build: Build, extra: set[str]) -> list[Raised]:
    found: list[Raised] = []
    legal = {line.id for line in build.line} | extra | set(GROUPS) | {item.id for item in build.consignment}
    names = sorted(legal)
    causes = [*(cause.id for cause in build.cause), *sorted(extra)]
    for path, item in costed_items(build):
        for place, name in enumerate(item.of):
            if name.partition(".")[0] not in legal:
                mend = nearest(name, names)
                found.append(((*path, "of", place), f"there is no line, group or consignment {name!r}", mend))
        if isinstance(item, Event):
            found += _unknown_causes(path, item.causes, causes)
    for at, figure in _all_figures(build):
        found += _unknown_causes(at, figure.causes, causes)
        found += unknown_currency((*at, "currency"), figure.currency, build, extra)
    for place, consignment in enumerate(build.consignment):
        found += unknown_currency(("consignment", place, "currency"), consignment.currency, build, extra)
    return found


def _unknown_causes(path: Path, loadings: Iterable[str], causes: Sequence[str]) -> list[Raised]:
    return [
        (
            (*path, "causes"),
            f"there is no cause {cause!r}",
            f"{nearest(cause, causes)} Or add a [[cause]] with that id.",
        )
        for cause in loadings
        if cause not in causes and cause != OWN_ESTIMATING
    ]


def _all_figures(build: Build) -> Iterator[tuple[Path, FigureBase]]:
    """Give every uncertain figure of lines, events and consignments, and an own hour's value, with its path."""
    if build.build.own_hour_value is not None:
        yield ("build", "own_hour_value"), build.build.own_hour_value
    for path, item in costed_items(build):
        for key, figure in figures_of(item):
            yield (*path, key), figure
        if isinstance(item, Line) and item.takeoff is not None:
            for keys, figure in figures_in(item.takeoff):
                yield (*path, "takeoff", *keys), figure
    for place, consignment in enumerate(build.consignment):
        for keys, figure in figures_in(consignment):
            yield ("consignment", place, *keys), figure
    for place, surface in enumerate(build.surface):
        for key, figure in figures_of(surface):
            yield ("surface", place, key), figure


def loadings_of(figure: FigureBase, estimating: float) -> dict[str, float]:
    """Give a figure's loadings on shared causes, own estimating included.

    Own estimating loads √estimating on every estimated figure, so that two figures that share nothing else
    correlate at ``estimating``, and two starters at `STARTER_SHARE` of it; a figure may state its own loading on it.
    """
    loadings = {cause: value for cause, value in figure.causes.items() if value != 0}
    if estimating > 0 and figure.estimated and OWN_ESTIMATING not in figure.causes:
        loadings[OWN_ESTIMATING] = (estimating * (STARTER_SHARE if figure.starter else 1)) ** 0.5
    return loadings


def _loadings(build: Build) -> list[Raised]:
    found: list[Raised] = []
    every = [(at, loadings_of(figure, build.build.estimating)) for at, figure in _all_figures(build)]
    every += [(("event", place, "chance"), dict(event.causes)) for place, event in enumerate(build.event)]
    for at, loadings in every:
        total = sum(value**2 for value in loadings.values())
        if total >= 1:
            parts = ", ".join(f"{cause} {value:.2f}" for cause, value in loadings.items())
            mend = (
                "The squares of the loadings must stay under 1: weaken a cause, drop one, or lower estimating "
                "in [build]."
            )
            found.append(((*at, "causes"), f"{parts}: their squares add up to {total:.2f}", mend))
    return found


def _surfaces(build: Build, extra: set[str]) -> list[Raised]:
    """Find take-offs of surfaces that are not there."""
    known = {surface.id for surface in build.surface}
    return [
        (
            ("line", place, "takeoff", "surfaces"),
            f"there is no surface {id!r}",
            f"{nearest(id, known)} Or add a [[surface]] with that id.",
        )
        for place, line in enumerate(build.line)
        if isinstance(line.takeoff, AreaTakeoff)
        for id in line.takeoff.surfaces
        if id not in known | extra
    ]


def _routes(build: Build, extra: set[str]) -> list[Raised]:
    found: list[Raised] = []
    offered: dict[str, set[str]] = {}
    for path, item in costed_items(build):
        if item.route and not item.package:
            found.append(
                ((*path, "route"), f"route {item.route!r} without a package", "Name the work package too.")
            )
        if item.package:
            offered.setdefault(item.package, set())
            if item.route:
                offered[item.package].add(item.route)
    for place, line in enumerate(build.line):
        here: Path = ("line", place, "also_for")
        if line.also_for and (line.package is None or line.route is None):
            mend = "Name the work package and the route in which it counts."
            found.append((here, "work packages beside none", mend))
        for name in line.also_for:
            if name not in extra.union(offered):
                found.append((here, f"no work package {name!r}", nearest(name, offered)))
    if (plan := build.build.way) is not None and plan not in build.scenario:
        found.append((("build", "way"), f"the build has no scenario {plan!r}", nearest(plan, build.scenario)))
    known = {"self", "shop"}.union(extra, *offered.values())
    for name, scenario in build.scenario.items():
        if scenario.all not in known:
            found.append(
                (
                    ("scenario", name, "all"),
                    f"no line takes route {scenario.all!r}",
                    nearest(scenario.all, known),
                )
            )
        for package, route in scenario.routes.items():
            at: Path = ("scenario", name, package)
            if package not in offered and package not in extra:
                found.append((at, f"there is no work package {package!r}", nearest(package, offered)))
            if route not in known:
                found.append((at, f"no line takes route {route!r}", nearest(route, known)))
    return found


def _overrides(build: Build, extra: set[str]) -> list[Raised]:
    found: list[Raised] = []
    items = {item.id: item for _, item in costed_items(build)}
    for name, scenario in build.scenario.items():
        for target, changes in scenario.override.items():
            at: Path = ("scenario", name, "override", target)
            if target in extra:
                continue
            if target not in items:
                found.append((at, f"there is no line or event {target!r}", nearest(target, items)))
                continue
            if "id" in changes:
                found.append(((*at, "id"), "an override cannot change an id", "Leave id out."))
    return found


def _as_changed(build: Build, extra: set[str], of_items: Iterable[Raised]) -> list[Raised]:
    """Find what scenarios and options make wrong, and is not wrong without: names, currencies, loadings and circles."""
    found: list[Raised] = []
    before = {(path, what) for path, what, _ in of_items}
    for at, change in _changes(build):
        if not change.override and not (isinstance(change, Option) and (change.line or change.event)):
            continue  # it only takes routes: nothing in it can be wrong that is right without it
        more = change if isinstance(change, Option) else Option(id="none", choice="none")
        lines = (*(_changed(line, change.override) for line in build.line), *more.line)
        events = (*(_changed(event, change.override) for event in build.event), *more.event)
        changed = build.model_copy(update={"line": lines, "event": events})
        ids = {path: item.id for path, item in costed_items(changed)}
        old = {"line": len(build.line), "event": len(build.event)}
        for path, what, mend in _of_items(changed, extra):
            if (path, what) in before:
                continue
            key, place, *rest = path
            if isinstance(place, int) and key in old and place >= old[str(key)]:
                found.append(((*at, key, place - old[str(key)], *rest), what, mend))
            elif ids.get(path[:2]) in change.override:
                found.append(((*at, "override", ids[path[:2]], *rest), what, mend))
            else:
                found.append((at, what, mend))
    return found


def _changes(build: Build) -> Iterator[tuple[Path, Scenario | Option]]:
    """Give all that may change lines and events, with its path."""
    yield from ((("scenario", name), scenario) for name, scenario in build.scenario.items())
    yield from ((("option", place), option) for place, option in enumerate(build.option))


def _of_items(build: Build, extra: set[str]) -> list[Raised]:
    found = [*_references(build, extra), *_loadings(build), *_circles(build)]
    return [*found, *wrong_times(build), *out_of_reach(build)]


def _changed(item: Item, override: Mapping[str, Mapping[str, Any]]) -> Item:
    """Give an item as overridden; unchanged where it would not be legal, which is reported elsewhere."""
    if item.id not in override:
        return item
    try:
        changes = dict(override[item.id]) | {"id": item.id}
        return type(item).model_validate(item.model_dump(exclude_unset=True) | changes)
    except ValidationError:
        return item


def _measures(build: Build, extra: set[str]) -> list[Raised]:
    """Find measures that change something that is not there."""
    found: list[Raised] = []
    events = [event.id for event in build.event]
    consignments = {item.id for item in build.consignment}
    items = {item.id for _, item in costed_items(build)} | consignments | {"fx", "build"} | extra
    items |= {surface.id for surface in build.surface}
    for place, measure in enumerate(build.measure):
        for key, names in (("chances", measure.chances), ("impacts", measure.impacts)):
            for name in names:
                if name not in events and name not in extra and name.split(".")[0] not in consignments:
                    at: Path = ("measure", place, key, name)
                    found.append((at, f"there is no event {name!r}", nearest(name, events)))
        for key, names in (("figures", measure.figures), ("ranges", measure.ranges)):
            for name in names:
                if name.split(".")[0] not in items:
                    at = ("measure", place, key, name)
                    mend = (
                        f"{nearest(name.split('.')[0], items)} Write it as id.key, such as filler.quantity."
                    )
                    found.append((at, f"there is no figure {name!r}", mend))
        things = {line.id for line in build.line} | consignments
        found += [
            (
                ("measure", place, "before", number),
                f"there is no line or consignment {name!r}",
                nearest(name, things),
            )
            for number, name in enumerate(measure.before)
            if name not in things
        ]
    return found


def _options(build: Build, extra: set[str]) -> list[Raised]:
    """Find options that change something that is not there, or bring something that is there already."""
    found: list[Raised] = []
    items = {item.id for _, item in costed_items(build)}
    targets = items | {item.id for item in build.consignment}
    seen: set[tuple[str, str]] = set()
    for place, option in enumerate(build.option):
        at: Path = ("option", place)
        if (option.choice, option.id) in seen:
            found.append(
                ((*at, "id"), f"{option.id!r} stands twice", "Give each option of a choice its own id.")
            )
        seen.add((option.choice, option.id))
        for target, changes in option.override.items():
            if target not in targets and target not in extra:
                mend = nearest(target, targets)
                found.append(
                    ((*at, "override", target), f"there is no line, event or consignment {target!r}", mend)
                )
            if "id" in changes:
                found.append(
                    ((*at, "override", target, "id"), "an override cannot change an id", "Leave id out.")
                )
        for item in (*option.line, *option.event):
            if item.id in targets:
                mend = "Give it another id, or change the one that is there in override."
                found.append(((*at, item.id), f"{item.id!r} is in the build already", mend))
    return found


def _handing_over(build: Build, extra: set[str]) -> list[Raised]:
    """Find events that hand over work which no shop line could take."""
    offered = {line.package for line in build.line if line.package and line.route == "shop"}
    return [
        (
            ("event", place, "hands_over"),
            f"no line of work package {package!r} has route shop",
            f"Add what a shop would ask for it. {nearest(package, offered)}",
        )
        for place, event in enumerate(build.event)
        for package in event.hands_over
        if package not in offered | extra
    ]


def dependencies(build: Build, computed: Mapping[str, str] | None = None) -> Mapping[str, tuple[str, ...]]:
    """Give, for each line and event, the lines that its percentage is taken of, groups written out.

    Parameters
    ----------
    build : Build
    computed : mapping, optional
        Group by id of the lines that consignments make, such as ``kit.duty``; they count in their groups, and a
        consignment's own id stands for all of its lines.

    Returns
    -------
    mapping
        Line ids by the id of the line or event.
    """
    groups: dict[str, list[str]] = {group: [] for group in GROUPS}
    bought: dict[str, list[str]] = {consignment.id: [] for consignment in build.consignment}
    for name, group in (computed or {}).items():
        groups[group].append(name)
        bought.setdefault(name.partition(".")[0], []).append(name)
    for line in build.line:
        groups[line.group].append(line.id)
    members = groups | bought  # a consignment called like a group stands before it
    single = {line.id for line in build.line} | set(computed or {})
    result: dict[str, tuple[str, ...]] = {}
    for _, item in costed_items(build):
        names: list[str] = []
        for name in item.of:
            names += (
                [name] if name in single else [other for other in members.get(name, []) if other != item.id]
            )
        result[item.id] = tuple(dict.fromkeys(names))
    return result


def _circles(build: Build) -> list[Raised]:
    """Report each circle of percentages once, walking depth first without recursion."""
    needs = dependencies(build)
    place = {line.id: number for number, line in enumerate(build.line)}
    state: dict[str, int] = {}
    found: list[Raised] = []
    for start in place:
        if state.get(start):
            continue
        trail: list[tuple[str, Iterator[str]]] = [(start, iter(needs[start]))]
        state[start] = 1
        while trail and len(found) < MOST_MISTAKES:
            here, rest = trail[-1]
            following: Any = next(rest, None)
            if following is None:
                state[here] = 2
                trail.pop()
            elif state.get(following) == 1:
                names = [name for name, _ in trail]
                circle = [*names[names.index(following) :], following]
                mend = "A percentage cannot depend on itself: take one of these lines out of an of = [...]."
                shown = circle if len(circle) <= 12 else [*circle[:6], "…", *circle[-5:]]
                found.append((("line", place[here], "of"), "goes in a circle: " + " → ".join(shown), mend))
            elif following in place and not state.get(following):
                state[following] = 1
                trail.append((following, iter(needs[following])))
    return found
