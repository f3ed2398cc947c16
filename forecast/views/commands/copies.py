"""``forecast backup``, ``restore`` and ``verify``: copies of a build, putting one back, and whether all is whole."""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

from forecast.views.commands.common import Answered, add_file, answer, command, typed
from forecast.words.chances import so_many
from forecast.words.day_words import short_moment

if TYPE_CHECKING:
    from forecast.ledger.backup import Copy, Restored, Verified
    from forecast.views.answers.of_builds import CopiesListed, CopyData, CopyRestored, VerifyAnswer

RESTORE = """\
Puts a copy back: the build file, the ledger and its documents. Without COPY it lists those that are kept beside
the build by themselves: one for each of the last ten days on which something was entered, and the last twenty texts
of the build file. How all stands now is kept as a copy first, so that this can be taken back, too."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    backup = command(commands, "backup", "one file with all of a build: to keep somewhere else", run_backup)
    add_file(backup)
    backup.add_argument(
        "target",
        type=Path,
        nargs="?",
        metavar="BACKUP",
        help="the file to write; NAME-DATE.zip here when left out",
    )
    backup.add_argument("--replace", action="store_true", help="write over a file that is there")
    restore = command(
        commands, "restore", "put a copy of a build back; alone it lists them", run_restore, RESTORE
    )
    add_file(restore)
    restore.add_argument(
        "copy", nargs="?", metavar="COPY", help="a name from the list, or the path of a backup"
    )
    only = restore.add_mutually_exclusive_group()
    only.add_argument("--ledger", action="store_true", help="only the ledger and its documents")
    only.add_argument("--build", action="store_true", help="only the build file")
    add_file(
        command(
            commands, "verify", "whether the build file, ledger, documents and copies are whole", run_verify
        )
    )


def run_backup(options: argparse.Namespace) -> Answered[CopyData]:
    """Write a backup."""
    from forecast.ledger.backup import write_backup
    from forecast.ledger.folder import BuildFolder

    folder = BuildFolder.at(options.file)
    name = folder.build_file.resolve().parent.name or "build"
    target = options.target or Path(f"{name}-{dt.date.today().isoformat()}.zip")
    copy = write_backup(folder, target, replace=options.replace)
    text = f"{copy.path}: {held_words(copy)}. It was opened again and is whole. Keep it on another disk."
    return answer(options, text, _data(copy))


def run_restore(options: argparse.Namespace) -> Answered[CopiesListed | CopyRestored]:
    """List copies, or put one back."""
    from forecast.ledger.backup import copies, earlier_builds, find_copy, restore
    from forecast.ledger.folder import BuildFolder
    from forecast.views.commands.told import table

    folder = BuildFolder.at(options.file)
    if options.copy is None:
        found = [*copies(folder), *earlier_builds(folder)]
        rows = [[copy.name, short_moment(copy.made), held_words(copy)] for copy in found]
        text = "No copies yet: the first one is made when something is entered or a change is saved."
        if rows:
            text = table(["Copy", "Made", "Holds"], rows, left=3)
            text += f"\n\nTo put one back: forecast restore {typed(options.file)} COPY"
        return answer(options, text, {"copies": [_data(copy) for copy in found]})
    copy = find_copy(folder, options.copy)
    done = restore(folder, copy, build=not options.ledger, ledger=not options.build)
    data: CopyRestored = {
        **_data(copy),
        "build": done.build,
        "ledger": done.ledger,
        "documents_put_back": done.documents,
        "before": None if done.before is None else str(done.before),
        "documents_missing": list(done.missing),
    }
    return answer(options, restored_words(done), data)


def restored_words(done: Restored) -> str:
    """Say what was put back, and where what stood before is."""
    what = " and ".join(
        word for word, put in (("the build file", done.build), ("the ledger", done.ledger)) if put
    )
    text = f"Put back as of {short_moment(done.copy.made)}: {what or 'nothing; the copy does not hold that'}."
    if done.ledger and done.copy.receipts is not None:
        text += f" The ledger holds {so_many(done.copy.receipts, 'receipt')}."
    if done.documents:
        text += f" {so_many(done.documents, 'document')} put back."
    if done.missing:
        text += f" {so_many(len(done.missing), 'document')} could be found nowhere: attach them again."
    if done.before is not None:
        text += f" How all stood before is kept in {done.before}."
    return text


def held_words(copy: Copy) -> str:
    """Say what a copy holds."""
    if copy.only_build:
        return "the build file"
    if copy.receipts is None:
        return "the build file, no ledger"
    held = f"the build file, {so_many(copy.receipts, 'receipt')}"
    return f"{held}, {so_many(len(copy.documents), 'document')}" if copy.documents else held


def _data(copy: Copy) -> CopyData:
    return {
        "name": copy.name,
        "file": str(copy.path),
        "made": copy.made,
        "receipts": copy.receipts,
        "documents": len(copy.documents),
        "only_build": copy.only_build,
    }


def run_verify(options: argparse.Namespace) -> Answered[VerifyAnswer]:
    """Look whether all is whole; 1 when something is not."""
    from forecast.ledger.backup import verify
    from forecast.ledger.folder import BuildFolder
    from forecast.ledger.place import doubt_about

    folder = BuildFolder.at(options.file)
    found, doubt = verify(folder), doubt_about(folder.folder)
    data: VerifyAnswer = {
        "doubt": doubt,
        "wrong": list(found.wrong),
        "receipts": found.receipts,
        "documents": found.documents,
        "copies": [_data(copy) for copy in found.copies],
        "swept": [str(path) for path in found.swept],
    }
    text = verified_words(found) + (f"\n\n{doubt}" if doubt else "")
    return answer(options, text, data, 1 if found.wrong else 0)


def verified_words(found: Verified) -> str:
    """Say what was looked at, and what is wrong."""
    lines = [f"{number}. {complaint}" for number, complaint in enumerate(found.wrong, start=1)]
    if lines:
        noun = "thing is" if len(lines) == 1 else "things are"
        lines.insert(0, f"{len(lines)} {noun} wrong:")
    else:
        lines.append(
            f"All is whole: the build file, {so_many(found.receipts, 'receipt')} row by row, "
            f"{so_many(found.documents, 'document')}."
        )
    newest = max((copy.made for copy in found.copies), default=None)
    lines.append(
        "There is no copy of it yet: the first one is made when something is entered."
        if newest is None
        else f"Copies that open: {len(found.copies)}, the newest of {short_moment(newest)}."
    )
    if found.swept:
        lines.append(
            f"{so_many(len(found.swept), 'half-written file')} of programs that were stopped deleted."
        )
    return "\n".join(lines)
