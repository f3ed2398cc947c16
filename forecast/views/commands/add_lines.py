"""``forecast add-lines``: lines from a builder's own list, into a build or as a new one."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from forecast.errors import BuildFileError, ForecastError, Problem
from forecast.views.commands.common import add_file, answer, command, typed, whole

if TYPE_CHECKING:
    from forecast.views.listing_words import LineList

DETAIL = """\
Shows how the list was read and what would become of each row; --enter adds the lines, all or none.

One row a line, with headings such as: name, group, low, middle, high, quantity, unit, price, chance, note.
Low, middle and high are amounts of the whole line: P10, P50 and P90. A quantity takes the price of one.
A price that stands alone gets a starting range of 15 % less to 35 % more, invented, yours to overwrite;
with --known it is taken as known."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = command(commands, "add-lines", "lines from your own list (CSV or XLSX)", run, DETAIL)
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


def run(options: argparse.Namespace) -> int:
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


def _data(found: LineList) -> dict[str, object]:
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
    from forecast.views.commands.told import shorten, table
    from forecast.views.listing_words import STATES, count_sentence, figures, layout_sentence

    rows = [
        [str(row.number), shorten(row.name, 30), row.group, STATES[row.state], *figures(row)]
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
