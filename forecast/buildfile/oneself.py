"""Cautions beside what a build holds, and work that may hurt and that one does oneself: which packages hold it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from forecast.buildfile.cautions import Caution, cautions_for, goods_cautions, is_done
from forecast.buildfile.choosing import choose, counts, with_option
from forecast.buildfile.schema import Build, Line, Scenario
from forecast.words.chances import listed


@dataclass(frozen=True)
class Beside:
    """A line, goods of a consignment or an event, with the cautions that concern it.

    Attributes
    ----------
    id, title : str
    kind : str
        line, goods or event.
    cautions : tuple of Caution
        In the order of display, at least one.
    """

    id: str
    title: str
    kind: Literal["line", "goods", "event"]
    cautions: tuple[Caution, ...]


def cautions_beside(build: Build, scenario: str | None = None) -> tuple[Beside, ...]:
    """Give the cautions beside each line, goods and event that counts in a scenario.

    Parameters
    ----------
    build : Build
    scenario : str, optional
        Its id; the first of the file when left out.

    Returns
    -------
    tuple of Beside
        Lines in the order of the file, then goods bought abroad, then events; those without a caution are left out.
        Bills for freight and import bear none, nor does work that a shop does by the hour.

    Raises
    ------
    SimulationError
        When the build has no scenario of that id.
    """
    return tuple(item for item in _all(build, scenario) if item.cautions)


def _all(build: Build, scenario: str | None) -> Iterator[Beside]:
    chosen = choose(build, scenario)
    for line in chosen.lines:
        if line.group not in ("freight", "import") and not line.id.endswith("_shop"):
            yield Beside(line.id, line.title, "line", cautions_for(line.id, line.hazards))
    for bought in build.consignment:
        for item in bought.items:
            id = bought.id if item.id == "goods" else f"{bought.id}.{item.id}"
            found = goods_cautions(item.id, item.group)
            yield Beside(id, item.name or item.id, "goods", found)
    for event in chosen.events:
        if not event.id.endswith("_shop"):
            yield Beside(event.id, event.title, "event", cautions_for(event.id, event.hazards))


LONGEST = 25
"""Words in a sentence."""

OWN_ROUTE = "self"
"""The route of what one does oneself."""


@dataclass(frozen=True)
class OwnHazard:
    """Something that is better left to others, and where one does it oneself.

    Attributes
    ----------
    caution : Caution
        With what is done, and the harm.
    packages : tuple of str
        Work packages, or lines where these have none, in the order of the file.
    """

    caution: Caution
    packages: tuple[str, ...]


def own_hazards(build: Build, scenario: str | None = None) -> tuple[OwnHazard, ...]:
    """Give what a scenario has one do oneself though others had better; the first scenario when left out."""
    chosen = choose(build, scenario)
    routes = build.scenario[chosen.scenario] if chosen.scenario is not None else Scenario()
    return _gathered(chosen.lines, routes)


def own_hazards_of_mix(
    build: Build, routes: Mapping[str, str], options: Iterable[str] = ()
) -> tuple[OwnHazard, ...]:
    """Give the same of a mix of routes and options."""
    taken = set(options)
    for option in build.option:
        if option.id in taken:
            build = with_option(build, option)
    mixed = Scenario(routes=dict(routes))
    return _gathered([line for line in build.line if counts(line, mixed)], mixed)


def _gathered(lines: Iterable[Line], scenario: Scenario) -> tuple[OwnHazard, ...]:
    found: dict[str, tuple[Caution, list[str]]] = {}
    for line in lines:
        if line.group in ("freight", "import") or line.id.endswith("_shop"):
            continue
        package = next((one for one in line.packages if scenario.route(one) == OWN_ROUTE), line.package)
        route = line.route or (scenario.route(package) if package else OWN_ROUTE)
        if route != OWN_ROUTE:
            continue
        for caution in cautions_for(line.id, line.hazards):
            if is_done(caution, line.id, package, line.hazards):
                found.setdefault(caution.id, (caution, []))[1].append(package or line.title)
    return tuple(OwnHazard(caution, tuple(dict.fromkeys(names))) for caution, names in found.values())


def what_can_hurt(found: Sequence[OwnHazard]) -> str:
    """Name in one line what is done that can hurt, each once."""
    return f"What can hurt: {', '.join(dict.fromkeys(item.caution.doing for item in found))}"


def own_hazards_sentence(found: Sequence[OwnHazard], way: str = "") -> str:
    """Say in one line what may hurt where, of a way that is named, and who decides; nothing where nothing is taken."""
    if not found:
        return ""
    first, *others = _parts(found)
    first = f"{way}: {first}" if way else first[0].upper() + first[1:]
    said = ". ".join((first, *(other[0].upper() + other[1:] for other in others)))
    return f"{said}. Local rules and licensed practice decide whether you may."


def _parts(found: Sequence[OwnHazard]) -> list[str]:
    """Give one part for each hazard; two of the same packages are one where that is short enough for a sentence."""
    parts: dict[tuple[str, ...], list[str]] = {}
    for item in found:
        means = f"{item.caution.doing}, which {item.caution.harm}"
        said = parts.setdefault(item.packages, [])
        together = f"{said[-1]}, and {means}" if said else ""
        if said and len(f"{_packages(item.packages)} by yourself means {together}".split()) <= LONGEST:
            said[-1] = together
        else:
            said.append(means)
    return [
        f"{_packages(packages)} by yourself means {means}"
        for packages, each in parts.items()
        for means in each
    ]


def _packages(names: Sequence[str]) -> str:
    return listed([name.replace("_", " ").replace("-", " ") for name in names])
