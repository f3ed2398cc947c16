"""Rates of exchange: that each that is needed is there and can be one, and what a euro is in a build's money."""

from __future__ import annotations

from collections.abc import Collection

from forecast.buildfile.consignment import figures_in
from forecast.buildfile.locate import Path
from forecast.buildfile.schema import Build
from forecast.words.currencies import reference

FAR_RATE = 0.25
"""How far a rate may lie off the reference rate on file before it is asked about."""


def wrong_rates(build: Build) -> list[tuple[Path, str, str]]:
    """Find rates of exchange that cannot be one."""
    found: list[tuple[Path, str, str]] = []
    own = build.build.currency
    if own in build.currency:
        mend = "Leave it out: it is the build's own currency."
        found.append((("currency", own), f"a rate for {own}", mend))
    for code, currency in build.currency.items():
        rate, at = currency.rate, ("currency", code, "rate")
        stated = {key: getattr(rate, key, None) for key in ("value", "min", "lower")}
        numbers = [*getattr(rate, "values", ()), *(value for value in stated.values() if value is not None)]
        if (numbers and min(numbers) < 0) or 0 in (getattr(rate, "value", 1), *getattr(rate, "values", ())):
            found.append((at, f"found {min(numbers):g}", f"A rate is above zero: {own} for one {code}."))
        if rate.currency is not None:
            mend = f"Leave currency out: a rate is always {own} for one {code}."
            found.append(((*at, "currency"), f"a rate in {rate.currency}", mend))
    return [*found, *_undated(build)]


def _undated(build: Build) -> list[tuple[Path, str, str]]:
    """Find rates without a day, in which something is paid on a date: nobody knows how far away that is."""
    found: dict[str, str] = {}
    for item in build.consignment:
        if not item.dated:
            continue
        named = (item.currency, *(figure.currency for _, figure in figures_in(item)))
        codes = {code for code in named if code in build.currency}
        found |= {code: item.id for code in sorted(filter(None, codes)) if build.currency[code].as_of is None}
    return [
        (
            ("currency", code),
            "as_of is missing",
            f"Consignment {id!r} is paid on dates: add as_of = 2026-11-25, the day of this rate.",
        )
        for code, id in found.items()
    ]


def unknown_currency(
    path: Path, code: str | None, build: Build, extra: Collection[str]
) -> list[tuple[Path, str, str]]:
    """Find a currency that has no rate, unless its rate stands there and cannot be read (``extra``)."""
    if code is None or code == build.build.currency or code in build.currency or code in extra:
        return []
    return [
        (
            path,
            f"no rate for {code}",
            f"Add [currency.{code}] with rate = … ({build.build.currency} for one {code}).",
        )
    ]


def per_euro(build: Build) -> float | None:
    """Give units of the build's money for one euro, by which starter figures are scaled.

    The builder's own rate of the euro wins; then the reference rate on file; then the builder's own rate of another
    currency that has a reference rate.

    Returns
    -------
    float or None
        None where nothing tells it: see `ask_for_rate`.
    """
    home = build.build.currency
    own = build.currency.get("EUR")
    if home != "EUR" and own is not None:
        return own.rate.rough_middle
    known = reference("EUR", home)
    if known is not None:
        return known.rate
    for code, currency in build.currency.items():
        through = reference("EUR", code)
        if through is not None:
            return through.rate * currency.rate.rough_middle
    return None


def ask_for_rate(home: str) -> str:
    """Say what to write where neither the file nor the table tells what a euro is in the build's money."""
    return (
        f"no reference rate for {home} is on file: add [currency.EUR] with rate = … ({home} for one EUR) to the build "
        "file."
    )
