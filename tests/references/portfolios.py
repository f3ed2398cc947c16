"""Portfolios with exact percentiles, as build files; sources stand in exact_percentiles.json."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build

EXACT: dict[str, Any] = json.loads(
    (Path(__file__).parent / "exact_percentiles.json").read_text(encoding="utf-8")
)
PORTFOLIOS: dict[str, dict[str, Any]] = {item["id"][0]: item for item in EXACT["portfolios"]}
GAO: dict[str, Any] = EXACT["gao"]
RECEIPT_UPDATE: dict[str, Any] = EXACT["receipt_update"]


EXACTLY = "estimating_size = 0\nlearn_ranges = false\n"
"""Under ``[build]``: every line says as much of the others as any other, and every range is as wide as it is stated."""


def _figure(item: dict[str, Any]) -> str:
    match item["kind"]:
        case "triangular" | "beta_pert":
            shape = item["kind"].replace("_", "-")
            return f'{{ shape = "{shape}", min = {item["min"]}, mode = {item["mode"]}, max = {item["max"]} }}'
        case "uniform":
            return f'{{ shape = "uniform", min = {item["min"]}, max = {item["max"]} }}'
        case "lognormal_p10_p90":
            return f'{{ shape = "lognormal", p10 = {item["p10"]}, p90 = {item["p90"]} }}'
        case "lognormal_median_sigma":
            return f'{{ shape = "lognormal", median = {item["median"]}, sigma = {item["sigma_log"]} }}'
        case "risk_event_fixed":
            return str(item["impact"])
        case "risk_event_triangular":
            least, mode, most = item["impact_min"], item["impact_mode"], item["impact_max"]
            return f'{{ shape = "triangular", min = {least}, mode = {mode}, max = {most} }}'
    raise AssertionError(item["kind"])


def build_of(items: list[dict[str, Any]], correlation: float) -> Build:
    """Write a portfolio as a build file and read it; item k becomes line or event ``i<k>``."""
    return parse_build(text_of(items, correlation))


def text_of(items: list[dict[str, Any]], correlation: float) -> str:
    """Write a portfolio as the text of a build file."""
    text = f'[build]\nname = "portfolio"\ncurrency = "NZD"\ncountry = "NZ"\nestimating = {correlation}\n{EXACTLY}'
    for place, item in enumerate(items):
        if item["kind"].startswith("risk_event"):
            text += f'[[event]]\nid = "i{place}"\nchance = {item["probability"]}\ncost = {_figure(item)}\n'
        else:
            text += f'[[line]]\nid = "i{place}"\ngroup = "other"\namount = {_figure(item)}\n'
    return text


def normals(means_and_sds: list[tuple[float, float]], correlation: float = 0.0) -> Build:
    """Give a build of normal lines ``n0``, ``n1`` … with one correlation between any two."""
    text = (
        f'[build]\nname = "normals"\ncurrency = "EUR"\ncountry = "IE"\nestimating = {correlation}\n{EXACTLY}'
    )
    for place, (mean, sd) in enumerate(means_and_sds):
        text += (
            f'[[line]]\nid = "n{place}"\ngroup = "other"\n'
            f'amount = {{ shape = "normal", mean = {mean}, sd = {sd} }}\n'
        )
    return parse_build(text)
