"""Writes the build file of the guided start: complete, commented, and readable as it stands."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

from forecast.buildfile.cautions import Caution, cautions_for
from forecast.buildfile.library import Library, load_library
from forecast.buildfile.library.starters import rounded
from forecast.buildfile.schema import ESTIMATING, SMALL_LINE
from forecast.errors import BuildFileError, Problem
from forecast.start.answers import Answers
from forecast.start.kit import (
    consignment_table,
    currency_tables,
    no_shop_seen,
    panels_of,
    shops_of,
    widens_arches,
)
from forecast.start.proposed_lines import (
    AT_HAND,
    LEFT_OUT_WORDS,
    add_waits,
    cost_lines,
    name_surfaces,
    work_lines,
)
from forecast.start.questions import WEEK_HOURS
from forecast.start.risks import events, measures, scenarios
from forecast.start.toml_text import Section, TomlTable, write_sections
from forecast.tables.files import why_not, write_file

_OPENING = """
{name}: begun with `forecast new`.

All ranges are common practice without a published source, yours to overwrite: starting values, never statistics.
How to read a range: { low, middle, high }. In 10 of 100 builds it is less than low, in half less than middle, in 90
of 100 less than high. A plain number is known. starter = true: nobody has made this range their own yet, so it says
less of your other guesses; strike it out where you change the numbers. Prices of shops include tax. A kit from abroad,
and what is charged on its arrival, are without, and their tax is counted. Replace a range by your own as soon as there
is a quotation: amount = { quotes = [410, 455] }, or one number.

`forecast check` says what is missing, `forecast budget` what to hold, `forecast compare` which way is cheaper. It plans
money and approves nothing: cautions stand beside the lines that they concern, and local rules and licensed practice
decide.
"""

SECTIONS = {
    "Buy and import": "",
    "Place": "",
    "Tools": "What you said is at hand is left out. Those that only one way of working needs count only there.",
    "Consumables": "Quantities with a [line.takeoff] follow from the kit's parts; `forecast open` shows the working.",
    "Car side": "Safety lines (safety = true) are never proposed for saving.",
    "Bought-in work": "What a shop does at a price of its own; what it does by the hour stands under Work.",
    "Papers": "Ask the inspector and the insurer before ordering.",
    "End": "",
}
"""Headings of a build file's costs, in their order, with what is said under each."""


def library_for(answers: Answers, factor: float | None = None) -> Library:
    """Give the starter library, scaled to the builder's currency and the shops of their country.

    Parameters
    ----------
    answers : Answers
    factor : float, optional
        Units of the builder's currency for one euro; the reference rate where it is left out.
    """
    factor = load_library(factor, currency=answers.currency).currency_factor
    low, middle, high = (rounded(number * factor) for number in shops_of(answers).range)
    if answers.country is None:
        low, high = rounded(low * 0.6), rounded(high * 1.2)
    return load_library(factor, (low, middle, high), currency=answers.currency)


def write_build(answers: Answers) -> str:
    """Give the text of a complete, commented build file.

    Parameters
    ----------
    answers : Answers

    Returns
    -------
    str
        TOML that `forecast.buildfile.reader.read_build` accepts.
    """
    library = library_for(answers)
    by_section: dict[str, list[dict[str, Any]]] = {name: [] for name in SECTIONS}
    for section, table in cost_lines(answers, library):
        by_section[section].append(table)
    work = list(work_lines(answers, library))
    add_waits([*(table for tables in by_section.values() for table in tables), *work], library)
    surfaces = name_surfaces((table for tables in by_section.values() for table in tables), answers)
    every = [table for tables in by_section.values() for table in tables] + work
    listed = events(answers, library, every)
    kit = (consignment_table(answers, library),) if answers.imported else ()
    sections = [
        Section("Build", "", (_build_table(answers, library.currency_factor), *currency_tables(answers))),
        Section(
            "Shared causes", "Unseen things that push several figures the same way: slight, moderate or strong.",
            tuple(TomlTable("[[cause]]", cause.table()) for cause in library.causes),
        ),
        Section("Ways to do it", _WAYS, scenarios(answers, library, every, listed)),
        *([Section("The kit and its way home", "", tuple(map(_with_cautions, kit)))] if kit else []),
        Section("Surfaces", _SURFACES, tuple(TomlTable("[[surface]]", surface) for surface in surfaces)),
        *(
            Section(name, f"{words} {_more(name, answers)}".strip(), tuple(_line(table) for table in by_section[name]))
            for name, words in SECTIONS.items() if by_section[name]
        ),
        Section(
            "Work", "Own hours cost nothing, unless [build] sets own_hour_value; a shop's are paid.",
            tuple(_line(table) for table in work),
        ),
        Section("Risk events", "What may happen or not, with its chance.", listed),
        Section("Measures", "What can be done about them.", measures(library, every, (*listed, *kit))),
        Section("Left out", LEFT_OUT_WORDS, _not_needed(answers)),
    ]  # fmt: skip
    return write_sections(_OPENING.replace("{name}", answers.name), sections)


_SURFACES = (
    "Measured once, for every line that works on them: filler, primer, paint and discs are short or over together. "
    "Areas are in m² where no unit is written; ft2 may be."
)

_WAYS = (
    "The first one is shown unless another is asked for. A work package takes the route that a scenario says: self, or "
    "shop; lines of the other route do not count then."
)


def _more(section: str, answers: Answers) -> str:
    return no_shop_seen(answers) if section == "Bought-in work" else ""


def _build_table(answers: Answers, currency_factor: float) -> TomlTable:
    values: dict[str, Any] = {"name": answers.name, "currency": answers.currency, "country": answers.rules}
    if answers.region is not None and answers.imported:
        values["region"] = answers.region
    if answers.budget is not None:
        values["budget"] = answers.budget
    values["hours_per_week"] = answers.week_hours or WEEK_HOURS
    values["estimating"] = ESTIMATING
    values["estimating_size"] = rounded(SMALL_LINE * currency_factor)
    above = [] if answers.budget is not None else ["No budget yet: add budget = … when you commit to one."]
    above += [
        "How narrow your ranges were is learnt from the lines you close; learn_ranges = false switches that off.",
        "How a line is paid for follows from its group: a kit or a bill once, materials in several goes, rent as it "
        'runs. Say otherwise with bought = "once", "several" or "running" on the line.',
    ]
    remark = "whose customs and tax rules hold"
    if answers.country is None:
        remark = "TAKEN, as you did not name one: write yours"
    remarks = {
        "country": remark, "region": "where in it you live: a rate of import tax follows from it",
        "budget": "what you want to spend at most",
        "hours_per_week": "own hours that a usual week has room for; with wait_weeks, weeks follow",
        "estimating": "how far large guesses err together, all too low or all too high; 0 switches it off",
        "estimating_size": "lines under this hardly tell anything about the others",
    }  # fmt: skip
    if answers.week_hours is None:
        remarks["hours_per_week"] = "TAKEN, as you did not say: own hours that a usual week has room for"
    return TomlTable("[build]", values, remarks, tuple(above))


def _not_needed(answers: Answers) -> tuple[TomlTable, ...]:
    """Answer beforehand what ``forecast check`` would ask, where the builder told why it is not there."""
    said: dict[str, str] = {}
    if not answers.imported:
        said["import_dues"] = "bought within the same customs territory: no duty and no import tax"
    at_hand = answers.at_hand or ()
    said |= {line: "at hand already" for line, name in AT_HAND.items() if name in at_hand}
    panels = panels_of(answers)
    if not any(panel.bonded for panel in panels):
        said |= dict.fromkeys(("adhesive", "body_fasteners"), "no part of this kit is bonded or riveted on")
    if not any(panel.filled for panel in panels):
        said["filler"] = "no part of this kit has a joint that is filled"
    if answers.wheels_new is False and not widens_arches(answers):
        said["wheel_fixings"] = "the wheels that it has stay, and no arch is widened"
    words = ("What `forecast check` need not ask for again.",)
    return (TomlTable("[not_needed]", said, above=words),) if said else ()


def _line(table: dict[str, Any]) -> TomlTable:
    return _with_cautions(TomlTable("[[line]]", table))


def _with_cautions(table: TomlTable) -> TomlTable:
    values = table.values
    id = str(values["id"])
    plain = id.removesuffix("_self")
    found: tuple[Caution, ...] = ()
    if not id.endswith("_shop"):
        found = cautions_for(plain)
    return TomlTable(table.header, values, table.remarks, table.above, found)


def create_build(folder: str | Path, answers: Answers) -> Path:
    """Make a build folder with its build file, and beside it the schema by which editors complete keys.

    Parameters
    ----------
    folder : str or pathlib.Path
        Made where it does not exist.
    answers : Answers

    Returns
    -------
    pathlib.Path
        The build file.

    Raises
    ------
    BuildFileError
        When there is a build file already, which is left as it is, or the folder cannot be written.
    """
    from forecast.buildfile.toml_schema import (  # loaded late: only a new build needs it
        FILE_NAME,
        LINE,
        schema_text,
    )

    file = put_build(folder, f"{LINE}\n\n{write_build(answers)}")
    with suppress(OSError):  # the build stands without it
        write_file(file.parent / FILE_NAME, schema_text().encode())
    return file


def put_build(folder: str | Path, text: str) -> Path:
    """Make a build folder with a build file of this text; all of it, or nothing; see `create_build`."""
    check_free(folder)
    target = Path(folder) / "build.toml"
    made = [parent for parent in (target.parent, *target.parent.parents) if not parent.exists()]
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        write_file(target, text.encode(), replace=False)
    except BaseException as error:
        for parent in made:
            if parent.is_dir() and not any(parent.iterdir()):
                parent.rmdir()
        if isinstance(error, FileExistsError):
            raise _taken(target) from None
        if isinstance(error, OSError):
            mend = "Choose a folder that you may write to."
            raise BuildFileError(str(target), [Problem("folder", why_not(error), mend)]) from None
        raise
    return target


def check_free(folder: str | Path) -> None:
    """Refuse a folder that has a build file already, or that is a file; so that nobody answers in vain.

    Raises
    ------
    BuildFileError
    """
    path = Path(folder)
    if path.exists() and not path.is_dir():
        mend = "Give a folder: it is made if it does not exist."
        raise BuildFileError(str(path), [Problem("folder", "is a file", mend)])
    if (path / "build.toml").exists():
        raise _taken(path / "build.toml")


def _taken(target: Path) -> BuildFileError:
    mend = "Choose another folder, or edit that file. It was left as it is."
    return BuildFileError(str(target), [Problem("build.toml", "is there already", mend)])


__all__ = ["check_free", "create_build", "library_for", "put_build", "write_build"]
