"""Work that may hurt and that one does oneself: which packages hold it, and the one line that says so."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from forecast.build.cautions import Caution, cautions_for
from forecast.build.options import with_option
from forecast.build.scenario import choose, counts
from forecast.build.schema import Build, Line, Scenario

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
        route = line.route or (scenario.route(line.package) if line.package else OWN_ROUTE)
        if route != OWN_ROUTE:
            continue
        for caution in cautions_for(line.id, line.hazards):
            if caution.harm:
                found.setdefault(caution.id, (caution, []))[1].append(line.package or line.title)
    return tuple(OwnHazard(caution, tuple(dict.fromkeys(names))) for caution, names in found.values())


def own_hazards_sentence(found: Sequence[OwnHazard], way: str = "") -> str:
    """Say in one line what may hurt where, of a way that is named, and who decides; nothing where nothing is taken."""
    if not found:
        return ""
    first, *others = (
        f"{listed(item.packages)} by yourself means {item.caution.doing}, which {item.caution.harm}"
        for item in found
    )
    first = f"{way}: {first}" if way else first[0].upper() + first[1:]
    said = ". ".join((first, *(other[0].upper() + other[1:] for other in others)))
    return f"{said}. Local rules and licensed practice decide whether you may."


def listed(names: Sequence[str]) -> str:
    """List ids as words."""
    words = [name.replace("_", " ").replace("-", " ") for name in names]
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else words[0]


__all__ = ["OWN_ROUTE", "OwnHazard", "listed", "own_hazards", "own_hazards_of_mix", "own_hazards_sentence"]
