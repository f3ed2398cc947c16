"""``forecast demo``: a demo build to try things on."""

from __future__ import annotations

import argparse

from forecast.views.commands.common import answer, command


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    detail = "Makes your own copy of a demo build, its receipts entered, and says where it is. Its data are invented."
    parser = command(commands, "demo", "a demo build to try things on", run, detail)
    parser.add_argument("name", nargs="?", help="which one; all are listed when left out")
    parser.add_argument("--afresh", action="store_true", help="put an earlier copy aside and start over")


def run(options: argparse.Namespace) -> int:
    """Run the command."""
    from forecast.ledger.folder import demos, open_demo

    if options.name is None:
        names = demos()
        text = "\n".join(["Demo builds; open one with: forecast demo NAME", *(f"  {name}" for name in names)])
        return answer(options, text, {"demos": list(names)})
    folder = open_demo(options.name, afresh=options.afresh)
    return answer(options, str(folder.folder), {"folder": str(folder.folder)})
