"""``forecast open``: what makes a line up."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from forecast.views.commands.common import Answered, add_file, answer, by_title, command, to_read, typed
from forecast.words.text import STRONG

if TYPE_CHECKING:
    from forecast.buildfile.schema import Build
    from forecast.engine.rows import Plan
    from forecast.views.answers.of_builds import ConsignmentRules, SheetAnswer
    from forecast.views.opening_words import OpenedLine
    from forecast.watching.standing import Standing


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = command(commands, "open", "open a total or a line down to what makes it up", run)
    add_file(parser)
    parser.add_argument(
        "line", nargs="?",
        help="its name or id, such as filler, kit.duty for a consignment's; the base estimate when left out",
    )  # fmt: skip
    parser.add_argument(
        "--scenario", metavar="S", help="one of the build's scenarios; your plan when left out"
    )


def run(options: argparse.Namespace) -> Answered[SheetAnswer | OpenedLine]:
    """Run the command."""
    from forecast.engine.plan import compile_plan
    from forecast.ledger.folder import BuildFolder
    from forecast.watching.reforecast import scenario_in_force
    from forecast.watching.standing import Record

    folder = BuildFolder.at(options.file)
    build = folder.read()
    standing = Record.read(to_read(folder)).standing() if folder.has_ledger() else None
    baseline = None if standing is None else standing.baseline
    plan = compile_plan(build, scenario_in_force(build, options.scenario, baseline))
    consignments = {item.consignment for item in plan.consignments}
    if options.line is None or options.line in consignments:
        return _total(options, build, plan, standing)
    shown = {row.id: row.title for row in plan.rows if row.is_money}
    if options.line not in shown:
        options.line = by_title(options.line, shown) or options.line
    return _line(options, plan, standing)


def _total(
    options: argparse.Namespace, build: Build, plan: Plan, standing: Standing | None
) -> Answered[SheetAnswer]:
    from forecast.engine.rule_weights import rule_weights
    from forecast.views.commands.told import table
    from forecast.views.opening_words import open_total
    from forecast.views.rule_words import TITLE, in_order, rules_lead, rules_lines
    from forecast.views.settling_words import known_words
    from forecast.words.money import to_the_coin

    sheet = open_total(plan, list(plan.at_middle().values()), options.line)
    rows = [
        [group, name, title, to_the_coin(amount, plan.currency)] for group, name, title, amount in sheet.lines
    ]
    total = to_the_coin(sheet.total, plan.currency)
    rows.append(["", "", "Total", total])
    text = (
        f"{sheet.title}, at your middle figures, without events and maybes: {total} {plan.currency}\n\n"
        + table(["Group", "Id", "Line", plan.currency], rows, left=3)
    )
    if known := known_words(standing, plan.currency) if options.line is None else "":
        text += f"\n\n{known} 'forecast watch' shows where it ends."
    shown = [item for item in plan.consignments if options.line in (None, item.consignment)]
    for item in shown:
        weights = rule_weights(build, item)
        figures = in_order(item.figures, weights)
        lead = rules_lead(item.title, figures, weights, plan.currency).replace(STRONG, "")
        if options.line is None:
            text += f"\n\n{lead}\n  forecast open "
            text += f"{typed(options.file)} {item.consignment} lists them."
            continue
        text += f"\n\n{TITLE}: {lead}\n"
        text += "\n".join(f"  {line}" for line in rules_lines(figures, weights, plan.currency))
        if item.notes:
            text += "\n\nWhat the terms of trade leave out or add:\n" + "\n".join(
                f"  {note}" for note in item.notes
            )
    rules: list[ConsignmentRules] = [
        {
            "consignment": item.consignment, "notes": list(item.notes),
            "figures": list(item.figures),
        }
        for item in shown
    ]  # fmt: skip
    data: SheetAnswer = {"title": sheet.title, "lines": sheet.lines, "total": sheet.total, "rules": rules}
    return answer(options, text, data)


def _line(options: argparse.Namespace, plan: Plan, standing: Standing | None) -> Answered[OpenedLine]:
    from forecast.views.opening_words import open_line, sum_of
    from forecast.views.settling_words import known_words
    from forecast.words.money import builds

    opened = open_line(plan, options.line)
    text = [f"{opened.title}, at your middle figures: {sum_of(opened, plan.currency)}"]
    if opened.chance < 1:
        text[0] += f" where it is needed or happens, in {builds(opened.chance)}"
    text.append(f"  = {opened.working}")
    if known := known_words(standing, plan.currency, options.line):
        text.append(known)
    if opened.below:
        text.append("Open these next: " + ", ".join(opened.below))
    text += [f"Caution: {caution}" for caution in opened.cautions]
    text += [f"Source: {note}" for note in opened.notes]
    text += [f"Note: {note}" for note in opened.know]
    return answer(options, "\n".join(text), opened)
