"""What is noticed when something was left out: ``python -m tests.benchmarks.leftout [--json]``.

From guided builds of five countries each line and each risk event is taken out in turn, as a builder might have
forgotten it, and the rules of completeness are asked what they say now that they did not say before. Then many are
taken out at once, all that a shop paints for among them; and a list is judged that holds nothing but a kit and wheels.

What is missed in a guided build is found against the guided start itself, so nearly all of it is. Two harder readings
stand beside it: the same builds with ids of the builder's own, and both demos, which are in own words throughout.
"""

from __future__ import annotations

import argparse
import json
import sys
import tomllib
from collections.abc import Collection, Mapping
from copy import deepcopy
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from forecast.buildfile.reader import assemble, read_build
from forecast.buildfile.references import without as taken_out
from forecast.buildfile.schema import Build
from forecast.missing.left_out import findings
from forecast.start import read_answers, write_build

DEMOS = Path(__file__).parents[2] / "scenarios"
WORLD = {"NL": "GB", "PL": "TH", "GB": "US", "AU": "JP", "US": "JP"}
ANSWERS: dict[str, Any] = {
    "panels": ["front", "rear", "skirts", "arches", "spoiler"], "filling": "self", "paint": "shop",
    "car_state": "worn", "first_build": True,
}  # fmt: skip
"""A usual kit, painted by a shop; what is at hand, and whether wheels and arches change, is not said."""

AT_ONCE = (
    "paint_kit_parts", "blending", "trailer", "paint_defect_shop", "colour_mismatch", "filler", "primers", "lamps",
    "inspection", "insurance", "adhesive", "trial_fit_self", "filling_self", "priming_shop", "electricity", "resale",
    "late_delivery",
)  # fmt: skip
"""Seventeen that are taken out at once."""

ONLY_KIT_AND_WHEELS = """
[build]
name = "Kit and wheels"
currency = "EUR"
country = "NL"
[[line]]
id = "kit"
name = "Body kit"
group = "kit"
amount = { low = 1800, middle = 2400, high = 3200 }
[[line]]
id = "wheels"
name = "Wheels"
group = "wheels"
amount = { low = 800, middle = 1000, high = 1500 }
"""


@dataclass(frozen=True)
class Noticed:
    """What was noticed in one guided build."""

    build: str
    taken_out: int
    noticed: int
    fresh: int
    many: int
    at_once: int
    missed: tuple[str, ...]


def raw_build(country: str, answers: Mapping[str, Any] = ANSWERS) -> dict[str, Any]:
    """Give a guided build as plain values."""
    told = {"country": country, "origin": WORLD.get(country, "JP")} | answers
    return tomllib.loads(write_build(read_answers(told)))


def without(raw: Mapping[str, Any], ids: Collection[str]) -> Build:
    """Give the build with lines and events taken out, and what referred to them."""
    kept = deepcopy(dict(raw))
    for id in ids:
        if any(table["id"] == id for kind in ("line", "event") for table in kept.get(kind, ())):
            taken_out(kept, id)
    build, problems = assemble(kept)
    assert build is not None, problems
    return build


def rules_of(build: Build) -> frozenset[str]:
    """Give the rules that find something in a build."""
    return frozenset(item.rule for item in findings(build))


def noticed(country: str, raw: Mapping[str, Any] | None = None) -> Noticed:
    """Take each line and event of a guided build out in turn, and see whether it is missed."""
    raw = raw_build(country) if raw is None else raw
    fresh = rules_of(without(raw, ()))
    ids = [table["id"] for kind in ("line", "event") for table in raw[kind]]
    missed = [id for id in ids if not rules_of(without(raw, {id})) - fresh]
    many = [id for id in AT_ONCE if id in ids]
    at_once = rules_of(without(raw, many)) - fresh
    return Noticed(
        country, len(ids), len(ids) - len(missed), len(fresh), len(many), len(at_once), tuple(missed)
    )


def with_own_ids(raw: Mapping[str, Any]) -> dict[str, Any]:
    """Give a guided build whose lines and events bear ids of the builder's own, and their names as they were."""
    ids = {table["id"]: f"mine_{place}" for place, table in enumerate((*raw["line"], *raw["event"]))}

    def renamed(value: Any) -> Any:
        if isinstance(value, dict):
            return {ids.get(key, key): renamed(one) for key, one in value.items()}
        if isinstance(value, list):
            return [renamed(one) for one in value]
        return value

    found = dict(raw)
    for kind in ("line", "event"):
        found[kind] = [
            table
            | {"id": ids[table["id"]]}
            | ({"of": [ids.get(name, name) for name in table["of"]]} if "of" in table else {})
            for table in raw[kind]
        ]
    found["measure"] = []
    found["scenario"] = {
        name: way | ({"override": renamed(way["override"])} if "override" in way else {})
        for name, way in raw["scenario"].items()
    }
    return found


def raw_demo(name: str) -> dict[str, Any]:
    """Give a demo as plain values."""
    return tomllib.loads((DEMOS / name / "build.toml").read_text(encoding="utf-8"))


def kit_and_wheels() -> tuple[str, ...]:
    """Give the rules that find something in a list of kit and wheels alone, in their order."""
    build, problems = assemble(tomllib.loads(ONLY_KIT_AND_WHEELS))
    assert build is not None, problems
    return tuple(item.rule for item in findings(build))


def demos() -> dict[str, tuple[str, ...]]:
    """Give what is said of each demo, which is complete."""
    return {
        folder.name: tuple(item.rule for item in findings(read_build(folder)))
        for folder in sorted(DEMOS.iterdir())
    }


def main() -> int:
    """Print what is noticed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--json", action="store_true", help="print figures as JSON")
    options = parser.parse_args()
    found = [noticed(country) for country in WORLD]
    found += [noticed("NL, own ids", with_own_ids(raw_build("NL")))]
    found += [noticed(folder.name, raw_demo(folder.name)) for folder in sorted(DEMOS.iterdir())]
    if options.json:
        whole = {
            "guided": [asdict(one) for one in found],
            "kit and wheels": kit_and_wheels(),
            "demos": demos(),
        }
        print(json.dumps(whole, indent=2))
        return 0
    for one in found:
        print(
            f"{one.build}: of {one.taken_out} taken out in turn, {one.noticed} noticed; {one.fresh} said of the fresh "
            f"build; {one.many} at once bring {one.at_once} findings"
        )
        print(f"    not noticed: {', '.join(one.missed) or 'none'}")
    print(f"kit and wheels alone: {', '.join(kit_and_wheels())}")
    for name, said in demos().items():
        print(f"{name}: {len(said)} said ({', '.join(said)})")
    return 0


if __name__ == "__main__":
    sys.exit(main())
