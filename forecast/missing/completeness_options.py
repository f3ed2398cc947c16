"""What has been left out with one option of a choice: the build is judged as it stands when the option is taken."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import replace

from forecast.buildfile.library import library_of
from forecast.buildfile.options import with_option
from forecast.buildfile.rates import ask_for_rate, per_euro
from forecast.buildfile.schema import Build, Option
from forecast.missing.completeness_rules import Finding
from forecast.missing.completeness_usual import without_causes
from forecast.start.text import toml_value

Look = Callable[[Build], list[Finding]]
"""Gives what a build without options lacks."""


def of_options(build: Build, known: Collection[str], look: Look) -> Iterator[Finding]:
    """Find what is missing only where an option is taken, once for all options that lack it.

    Parameters
    ----------
    build : Build
    known : collection of str
        Rules of what the build lacks in any case.
    look : callable
    """
    lacking: dict[str, list[tuple[Option, Finding]]] = {}
    for option in build.option:
        for item in look(with_option(build, option)):
            if item.narrow and item.line in option.override:
                continue  # what is quoted is as narrow as it was quoted
            if item.rule not in known:
                lacking.setdefault(item.rule, []).append((option, item))
    for found in lacking.values():
        names = " and ".join(dict.fromkeys(f'"{option.title}"' for option, _ in found))
        option, item = found[0]
        yield replace(
            item, missing=f"{item.missing}, with option {names}", starter=None, change=None,
            mend=_mend(build, option, item),
        )  # fmt: skip


def _mend(build: Build, option: Option, item: Finding) -> str:
    """Say what to write into the option itself, so that it counts where the option is taken and nowhere else."""
    place = f'[[option]] with id = "{option.id}"'
    if item.starter is not None and item.line is None:
        if per_euro(build) is None:
            return f"{place}: {ask_for_rate(build.build.currency)}"
        library = library_of(build)
        present = {line.id for line in (*build.line, *option.line)}
        timed = build.build.hours_per_week is not None
        kind, table = library.table(item.starter, present, timed=timed)
        table.pop("note")
        table = without_causes(table, {cause.id for cause in build.cause})
        words = ", ".join(f"{key} = {toml_value(value)}" for key, value in table.items())
        return f"Under {place} add [[option.{kind}]] with the keys {words}."
    for kind in ("line", "event"):
        item = replace(item, mend=item.mend.replace(f"[[{kind}]]", f"[[option.{kind}]]", 1))
    if item.line in option.override:
        return f"{item.mend} That of {place} is meant: write it into its override."
    return item.mend


__all__ = ["of_options"]
