"""How safe a build is when programs are killed: ``python -m tests.benchmarks.safety [--json] [--kills N]``.

A program that attaches, imports, undoes, saves, restores or backs up without end is killed again and again at a random
moment; then all of the build is looked at. And eight programs save one build file at the same time.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from forecast.buildfile.changes import AddItem, SetBuild
from forecast.buildfile.edit import changed, edit_build, save_build
from forecast.buildfile.reader import read_text
from forecast.errors import EditedMeanwhileError
from forecast.ledger.attachments import attach_file
from forecast.ledger.backup import find_copy, restore, verify, write_backup
from forecast.ledger.folder import BuildFolder
from forecast.ledger.undoing import undo_last
from tests.benchmarks.ledger import ROOT, Figure

BUILD = (
    '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[line]]\nid = "kit"\ngroup = "kit"\namount = 9\n'
)
ROWS = 3


def attach(folder: BuildFolder, turn: int) -> None:
    """Keep a document of its own with the first receipt."""
    attach_file(folder.ledger(), 1, f"{turn}.jpg", b"\xff\xd8\xff" + str(turn).encode() * 20_000)


def load(folder: BuildFolder, turn: int) -> None:
    """Enter a file of some receipts: all of it or nothing."""
    rows = [f"2026-05-02,{turn}-{row},,Shop,1.00,EUR,kit" for row in range(ROWS)]
    text = "date,receipt,kind,supplier,amount,currency,line\n" + "\n".join(rows) + "\n"
    folder.load("rows.csv", text.encode())


def undo(folder: BuildFolder, turn: int) -> None:
    """Enter a receipt and take it back."""
    ledger = folder.ledger()
    ledger.add_receipt("2026-05-02", "Shop", 100, "EUR", [("kit", 100)], entry_key=f"undo-{turn}")
    undo_last(ledger)


def save(folder: BuildFolder, turn: int) -> None:
    """Save the build file."""
    edit_build(folder.build_file, [SetBuild("budget", 1000 + turn)])


def put_back(folder: BuildFolder, turn: int) -> None:
    """Put one of two backups back."""
    restore(folder, find_copy(folder, folder.folder.parent / f"{turn % 2}.zip"))


def back_up(folder: BuildFolder, turn: int) -> None:
    """Write a backup over the last one."""
    write_backup(folder, folder.folder.parent / "2.zip", replace=True)


WORK: dict[str, Callable[[BuildFolder, int], None]] = {
    "attach": attach, "import": load, "undo": undo, "save": save, "restore": put_back, "backup": back_up,
}  # fmt: skip


def lost(kind: str, folder: BuildFolder, done: int) -> int:
    """Count what was acknowledged, turn by turn up to `done`, and is not there, or is there by half."""
    ledger = folder.ledger()
    keys = {receipt.entry_key for receipt in ledger.list_receipts()}
    match kind:
        case "attach":
            kept = {item.name for item in ledger.attachments()}
            return len({f"{turn}.jpg" for turn in range(done + 1)} - kept)
        case "import":
            wanted = {f"{turn}-{row}" for turn in range(done + 1) for row in range(ROWS)}
            return len(wanted - keys) + sum(key[0].isdigit() for key in keys) % ROWS
        case "undo":
            return len({f"undo-{turn}" for turn in range(done + 1)} & keys)
        case "save":
            return int(done >= 0 and (folder.read().build.budget or 0) < 1000 + done)
        case "restore":
            return int(len(keys) not in (1, 2))
        case _:
            return int(find_copy(folder, folder.folder.parent / "2.zip").receipts is None)


def begin(home: Path) -> BuildFolder:
    """Make a build with a receipt, two backups of it that differ, and one to write over."""
    shutil.rmtree(home, ignore_errors=True)
    folder = BuildFolder(home / "build" / "build.toml")
    folder.folder.mkdir(parents=True)
    folder.build_file.write_text(BUILD, encoding="utf-8")
    for number in range(2):
        folder.ledger().add_receipt(
            "2026-05-02", "Shop", 100, "EUR", [("kit", 100)], entry_key=f"first {number}"
        )
        write_backup(folder, home / f"{number}.zip")
    restore(folder, find_copy(folder, home / "0.zip"))
    write_backup(folder, home / "2.zip")
    return folder


def kills(home: Path, kind: str, count: int) -> list[Figure]:
    """Kill a program that does one thing without end; count what is lost, and complaints of `verify`."""
    folder, moments = begin(home), random.Random(4)
    missing = complaints = done = 0
    following = 0
    for _ in range(count):
        command = [
            sys.executable,
            "-m",
            "tests.benchmarks.safety",
            "--work",
            kind,
            str(folder.folder),
            str(following),
        ]
        worker = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        assert worker.stdout is not None
        first = worker.stdout.readline()  # once it has done its work a first time
        time.sleep(moments.uniform(0, 0.3))
        worker.send_signal(signal.SIGKILL)
        with worker:
            rest = worker.stdout.read()
        turns = [int(line) for line in (first + rest).split("\n")[:-1]]
        last = turns[-1]
        done += len(turns)
        missing += lost(kind, folder, last)
        complaints += len(verify(folder).wrong)
        following = last + 1  # the turn that was cut short may be there: it is done again
    return [
        Figure(f"{kind}, {count} kills: acknowledged", done, ""),
        Figure(f"{kind}, {count} kills: lost, or there by half", missing, "", 0),
        Figure(f"{kind}, {count} kills: complaints of verify", complaints, "", 0),
    ]


def work(kind: str, folder: str, turn: int) -> None:
    """Do one thing without end, and say so after each time."""
    while True:
        WORK[kind](BuildFolder.at(folder), turn)
        print(turn, flush=True)
        turn += 1


def save_lines(folder: str, program: int, each: int) -> None:
    """Save as the dashboard does: the edit is made anew where the file was saved by another meanwhile."""
    file = Path(folder) / "build.toml"
    for number in range(each):
        line = {"id": f"line_{program}_{number}", "group": "other", "amount": 5}
        while True:
            text = read_text(file)
            try:
                save_build(file, changed(text, [AddItem("line", line)]), text)
            except EditedMeanwhileError:
                continue
            break


def many_savers(home: Path, programs: int, each: int) -> list[Figure]:
    """Let several programs save one build file; count edits that were acknowledged and are gone."""
    folder = begin(home)
    start = time.perf_counter()
    jobs = [
        multiprocessing.get_context("spawn").Process(
            target=save_lines, args=(str(folder.folder), number, each)
        )
        for number in range(programs)
    ]
    for job in jobs:
        job.start()
    for job in jobs:
        job.join()
    kept = sum(line.id.startswith("line_") for line in folder.read().line)
    return [
        Figure(f"{programs} programs x {each} saves: lost", programs * each - kept, "", 0),
        Figure(f"{programs} programs x {each} saves: took", time.perf_counter() - start, "s"),
    ]


def main() -> int:
    """Print the figures; fail when one misses its target."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.safety", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print figures as JSON")
    parser.add_argument("--kills", type=int, default=200, metavar="N", help="of each kind (200)")
    parser.add_argument("--work", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.work:
        kind, folder, turn = options.work
        work(kind, folder, int(turn))
    home = Path(tempfile.mkdtemp(prefix="safety-benchmark-"))
    try:
        figures = many_savers(home / "save", 8, 15)
        for kind in WORK:
            figures += kills(home / kind, kind, options.kills)
    finally:
        shutil.rmtree(home, ignore_errors=True)
    if options.json:
        print(json.dumps([asdict(figure) | {"reached": figure.reached} for figure in figures], indent=2))
    else:
        for figure in figures:
            print(
                f"{figure.name:<60}{figure.value:>10.1f} {figure.unit}{'' if figure.reached else '  MISSED'}"
            )
    return 0 if all(figure.reached for figure in figures) else 1


if __name__ == "__main__":
    sys.exit(main())
