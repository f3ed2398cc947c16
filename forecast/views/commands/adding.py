"""``forecast add``, ``not-needed``, ``cautions-read`` and ``add-lines``: what a build lacks, and lists of lines."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from forecast.errors import BuildFileError, ForecastError, Problem
from forecast.views.commands.common import Answered, add_file, answer, command, typed, whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from forecast.buildfile.changes import Change
    from forecast.ledger.folder import BuildFolder
    from forecast.missing.left_out import Finding
    from forecast.views.answers.of_builds import LinesAdded, ListLooked
    from forecast.views.answers.of_check import Added, CautionsReadAnswer, Changed, NotNeededAnswer
    from forecast.views.listing_words import LineList


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    adding = command(
        commands, "add", "add a starter line, its range common practice and yours to overwrite", run_add,
        "Also makes the edit of a finding that asks for another key and not for a line.",
    )  # fmt: skip
    add_file(adding)
    adding.add_argument("starter", help="its id, or the finding's name, as 'forecast check' gives it")
    unneeded = command(
        commands, "not-needed", "say why something that check misses is not needed", run_not_needed
    )
    add_file(unneeded)
    unneeded.add_argument("rule", help="the finding's name, as 'forecast check' gives it")
    unneeded.add_argument("--why", required=True, help="kept in the build file")

    read = command(
        commands,
        "cautions-read",
        "say which cautions you have read; check then only counts them",
        run_cautions_read,
    )
    add_file(read)
    read.add_argument(
        "caution", nargs="*", help="their names, as 'forecast check' gives them; all when left out"
    )
    read.add_argument("--none", action="store_true", help="show all of them again")


def _change(folder: BuildFolder, changes: Sequence[Change]) -> None:
    """Write changes into the build file, comments kept, unless the result would not be a build."""
    from forecast.buildfile.edit import edit_build

    edit_build(folder.build_file, changes)


def run_add(options: argparse.Namespace) -> Answered[Added | Changed]:
    """Add a starter line."""
    from forecast.buildfile.changes import AddItem
    from forecast.buildfile.checks import nearest
    from forecast.buildfile.library import load_library
    from forecast.buildfile.sheet import starter
    from forecast.ledger.folder import BuildFolder
    from forecast.missing.left_out import findings

    folder = BuildFolder.at(options.file)
    build = folder.read()
    library = load_library()
    legal = [line.id for line in library.lines] + [event.id for event in library.events]
    edits = {item.rule: item for item in findings(build) if item.change is not None}
    if options.starter in edits:
        return _edit(options, folder, edits[options.starter])
    if options.starter not in legal:
        message = (
            f"there is no starter line {options.starter!r}. {nearest(options.starter, [*legal, *edits])}"
        )
        raise ForecastError(message)
    if options.starter in {item.id for item in (*build.line, *build.event)}:
        message = f"{options.starter!r} is in the build already."
        raise ForecastError(message)
    wanted = starter(build, options.starter)
    last = wanted[-1]
    table = last.table if isinstance(last, AddItem) else {}
    if "percent" in table and not table.get("of"):
        message = f"{options.starter!r} is a share of other lines, and the build has none of those yet: add them first."
        raise ForecastError(message)
    _change(folder, wanted)
    text = f"{options.starter} is added. Its range is common practice, no source: overwrite it with your own."
    beside = [caution for line in library.lines if line.id == options.starter for caution in line.cautions]
    if beside:
        topics = ", ".join(caution.topic.lower() for caution in beside)
        text += f" Cautions stand beside it in the build file: {topics}."
    return answer(
        options, text, {"added": options.starter, "cautions": [caution.sentence for caution in beside]}
    )


def _edit(options: argparse.Namespace, folder: BuildFolder, item: Finding) -> Answered[Added | Changed]:
    """Make the edit of a finding."""
    from forecast.buildfile.changes import AddItem

    change = item.change
    if change is None:
        message = f"{item.rule}: {item.mend}"
        raise ForecastError(message)
    _change(folder, [change])
    if isinstance(change, AddItem):
        id = str(change.table["id"])
        text = f"{id} is added. Its range is common practice, no source: overwrite it with your own."
        return answer(options, text, {"added": id})
    done = "taken out" if change.value is None else "written"
    text = f"{change.key} of {change.item} is {done}."
    if item.cost is not None and change.value is not None and change.key != "overrides":
        text += f" {item.source}"
    return answer(options, text, {"changed": change.item, "key": change.key, "value": change.value})


def run_not_needed(options: argparse.Namespace) -> Answered[NotNeededAnswer]:
    """Answer a finding for good."""
    from forecast.buildfile.changes import NotNeeded
    from forecast.buildfile.checks import nearest
    from forecast.ledger.folder import BuildFolder
    from forecast.missing.left_out import findings

    folder = BuildFolder.at(options.file)
    rules = [item.rule for item in findings(folder.read())]
    if options.rule not in rules and options.rule.partition("-")[0] not in {
        rule.partition("-")[0] for rule in rules
    }:
        message = f"'forecast check' finds nothing called {options.rule!r}. {nearest(options.rule, rules)}"
        raise ForecastError(message)
    if not options.why.strip():
        message = "--why: say in a few words why it is not needed; it is kept in the build file."
        raise ForecastError(message)
    _change(folder, [NotNeeded(options.rule, options.why)])
    return answer(
        options, f"{options.rule} is answered: {options.why}", {"rule": options.rule, "why": options.why}
    )


def run_cautions_read(options: argparse.Namespace) -> Answered[CautionsReadAnswer]:
    """Note in the build file which cautions were read."""
    from forecast.buildfile.cautions import cautions_of
    from forecast.buildfile.changes import SetBuild
    from forecast.buildfile.checks import nearest
    from forecast.ledger.folder import BuildFolder

    folder = BuildFolder.at(options.file)
    build = folder.read()
    beside = [caution.id for caution, _ in cautions_of(build)]
    if strange := [name for name in options.caution if name not in beside]:
        message = (
            f"there is no caution {strange[0]!r} beside this build's lines. {nearest(strange[0], beside)}"
        )
        raise ForecastError(message)
    before = build.build.cautions_read or ()
    read = () if options.none else tuple(dict.fromkeys((*before, *(options.caution or beside))))
    if read != before:
        _change(folder, [SetBuild("cautions_read", list(read) or None)])
    new = len([name for name in beside if name not in read])
    told = f"{len(read) or 'None'} read, noted in the build file; {new or 'none'} still to read."
    return answer(
        options, told, {"read": list(read), "unread": [name for name in beside if name not in read]}
    )


DETAIL = """\
Shows how the list was read and what would become of each row; --enter adds the lines, all or none.

One row a line, with headings such as: name, group, low, middle, high, quantity, unit, price, chance, note.
Low, middle and high are amounts of the whole line: P10, P50 and P90. A quantity takes the price of one.
A price that stands alone gets a starting range of 15 % less to 35 % more, invented, yours to overwrite;
with --known it is taken as known."""


def add_lists(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = command(commands, "add-lines", "lines from your own list (CSV or XLSX)", run_lists, DETAIL)
    add_file(parser)
    parser.add_argument("list", type=Path, help="the list")
    parser.add_argument("--enter", action="store_true", help="add the lines; without it nothing is changed")
    parser.add_argument(
        "--known", action="store_true", help="prices that stand alone are known, not estimates"
    )
    parser.add_argument(
        "--leave-out", action="append", default=[], type=whole, metavar="ROW", help="not this row"
    )
    parser.add_argument(
        "--column", action="append", default=[], metavar="ROLE=HEADING",
        help="what a column holds, where it was taken for something else; ROLE= takes a role away",
    )  # fmt: skip
    parser.add_argument(
        "--decimal", choices=(".", ","), help="the decimal mark, where the list leaves it open"
    )
    parser.add_argument("--encoding", help="where it is recognised wrongly, such as cp1252")
    parser.add_argument("--delimiter", help="what parts the cells, where it is recognised wrongly")
    new = parser.add_argument_group("a new build of the list, in place of adding to one")
    new.add_argument("--new", action="store_true", help="FILE is a folder to make")
    new.add_argument("--name", default="My conversion", help="what you call it (My conversion)")
    new.add_argument("--currency", help="of its prices, such as EUR; needed for a new build")
    new.add_argument("--country", help="whose customs and tax rules hold, such as IE; needed for a new build")


def run_lists(options: argparse.Namespace) -> Answered[ListLooked | LinesAdded]:
    """Run the command."""
    from forecast.buildfile.edit import edit_build
    from forecast.ledger.folder import BuildFolder
    from forecast.start import check_free, put_build
    from forecast.start.listing import build_of_list, lines_to_add
    from forecast.views.listing_words import check_decided, open_list

    columns = dict(_column(text) for text in options.column)
    build, file = None, Path(options.file)
    if options.new:
        check_new(options.currency, options.country)
        check_free(options.file)
    elif options.currency or options.country:
        message = "--currency and --country are those of a new build: add --new, or leave them out."
        raise ForecastError(message)
    else:
        folder = BuildFolder.at(options.file)
        build, file = folder.read(), folder.build_file
    found = open_list(
        options.list, build.build.currency if build is not None else options.currency, build=build,
        encoding=options.encoding, delimiter=options.delimiter, decimal=options.decimal, columns=columns,
        known=options.known, leave_out=options.leave_out,
    )  # fmt: skip
    if not options.enter:
        return answer(options, preview_text(found), _data(found))
    check_decided(found)
    added = [item.table["id"] for item in lines_to_add(found.rows)]
    if build is None:
        file = put_build(
            options.file, build_of_list(options.name, options.currency, options.country, found.rows)
        )
    else:
        edit_build(file, lines_to_add(found.rows))
    noun = "line is" if len(added) == 1 else "lines are"
    said = f"{file}: {len(added)} {noun} added.\nNext: forecast check {typed(options.file)}"
    return answer(options, said, {"file": str(file), "added": added})


def check_new(currency: str | None, country: str | None) -> None:
    """Refuse a new build without a currency and a country that can be ones.

    Raises
    ------
    BuildFileError
    """
    from forecast.words.minor_units import exponent

    problems = []
    try:
        exponent(currency or "")
    except ForecastError:
        mend = "Write the three capital letters of ISO 4217, such as EUR."
        problems.append(Problem("currency", f"found {currency!r}" if currency else "missing", mend))
    if not (country and len(country) == 2 and country.isascii() and country.isalpha() and country.isupper()):
        mend = "Write the two capital letters of ISO 3166-1, such as IE."
        problems.append(Problem("country", f"found {country!r}" if country else "missing", mend))
    if problems:
        heading = "new build"
        raise BuildFileError(heading, problems)


def _column(text: str) -> tuple[str, str]:
    role, equals, heading = text.partition("=")
    if not equals:
        message = f"--column {text!r}: write it as ROLE=HEADING, such as --column name=Bezeichnung."
        raise ForecastError(message)
    return role.strip(), heading.strip()


def _data(found: LineList) -> ListLooked:
    return {
        "layout": {
            "encoding": found.encoding,
            "delimiter": found.delimiter,
            "decimal": found.decimal,
            "decimal_is_open": found.open_decimal,
            "columns": dict(found.columns),
        },
        "rows": [
            {
                "row": row.number,
                "state": row.state,
                "name": row.name,
                "group": row.group,
                "line": dict(row.table),
                "why": row.why,
            }
            for row in found.rows
        ],
    }


def preview_text(found: LineList) -> str:
    """Write how the list was read and what would become of each row."""
    from forecast.views.commands.told import table, wrapped
    from forecast.views.listing_words import STATES, count_sentence, figures, layout_sentence

    rows = [
        [str(row.number), wrapped(row.name, 30), row.group, STATES[row.state], *figures(row)]
        for row in found.rows
    ]
    parts = [
        count_sentence(found),
        layout_sentence(found),
        "",
        table(["Row", "Name", "Group", "Becomes", "Low", "Middle", "High"], rows, left=4),
        "",
    ]
    parts += [f"{number}. {problem}" for number, problem in enumerate(_problems(found), start=1)]
    if found.open_decimal:
        parts.append(f"{found.doubt}, and no other number tells: say --decimal . or --decimal , first.")
    elif _problems(found):
        parts.append("Mend the list, or leave rows out with --leave-out ROW; then add --enter.")
    else:
        parts.append("Nothing was changed yet: add --enter when this is right.")
    return "\n".join(parts)


def _problems(found: LineList) -> list[Problem]:
    return [problem for row in found.rows for problem in row.problems]
