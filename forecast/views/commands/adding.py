"""``forecast add``, ``not-needed`` and ``cautions-read``: answers to what ``forecast check`` says."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from forecast.errors import ForecastError
from forecast.views.commands.common import add_file, answer, command

if TYPE_CHECKING:
    from collections.abc import Sequence

    from forecast.buildfile.changes import Change
    from forecast.ledger.folder import BuildFolder
    from forecast.missing.left_out import Finding


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


def run_add(options: argparse.Namespace) -> int:
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


def _edit(options: argparse.Namespace, folder: BuildFolder, item: Finding) -> int:
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


def run_not_needed(options: argparse.Namespace) -> int:
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


def run_cautions_read(options: argparse.Namespace) -> int:
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
