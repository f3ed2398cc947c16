"""``forecast open``: what makes a line up."""

from __future__ import annotations

import argparse
from dataclasses import asdict

from forecast.views.commands.common import add_file, answer, command


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = command(commands, "open", "open a line down to what makes it up", run)
    add_file(parser)
    parser.add_argument("line", help="its id, such as filler, or kit.duty for a consignment's")
    parser.add_argument(
        "--scenario", metavar="S", help="one of the build's scenarios; the first when left out"
    )


def run(options: argparse.Namespace) -> int:
    """Run the command."""
    from forecast.engine.plan import compile_plan
    from forecast.spending.folder import BuildFolder
    from forecast.views.money import percent
    from forecast.views.opening import number, open_line

    plan = compile_plan(BuildFolder.at(options.file).read(), options.scenario)
    opened = open_line(plan, options.line)
    unit = "h" if opened.id.endswith(".own_hours") else plan.currency
    text = [f"{opened.title}, at your middle figures: {number(round(opened.total, 2))} {unit}"]
    if opened.chance < 1:
        text[0] += f" where it is needed or happens ({percent(opened.chance)} chance)"
    text.append(f"  = {opened.working}")
    if opened.below:
        text.append("Open these next: " + ", ".join(opened.below))
    text += [f"Caution: {caution}" for caution in opened.cautions]
    text += [
        f"Rule figures: {warning}"
        for item in plan.consignments
        for warning in item.warnings[:3]
        if item.consignment == opened.id.partition(".")[0]
    ]
    return answer(options, "\n".join(text), asdict(opened))
