"""Checks of rates of exchange: that there is one where one is needed, and that it can be one."""

from __future__ import annotations

from collections.abc import Collection

from forecast.build.consignment import figures_in
from forecast.build.locate import Path
from forecast.build.schema import Build


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
