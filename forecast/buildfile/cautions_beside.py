"""Cautions beside the lines, goods and events of a build, as they count in a scenario."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from forecast.buildfile.cautions import Caution, cautions_for, goods_cautions
from forecast.buildfile.scenario import choose
from forecast.buildfile.schema import Build


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


__all__ = ["Beside", "cautions_beside"]
