"""Many people at once: ``python -m tests.benchmarks.sessions [--json] [--seconds S] [--sessions N] [--builds N]``.

Twenty sessions on five copies of the half-way demo go from page to page and enter receipts, each with the pauses of a
person (5 to 15 seconds), and look as often as a browser does whether another window changed the build and whether
what is worked out beside the page has come.
``--alone`` measures one builder's long evening instead: 500 pages looked at and 200 edits of one build, none kept, one
after the other without a pause, and what memory that leaves.

They speak to the server as a browser would, without one: twenty browsers would measure themselves. At the end every
receipt that was acknowledged is looked for in the ledgers.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import random
import re
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path

import psutil
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.proto.WidgetStates_pb2 import WidgetState, WidgetStates
from websockets.asyncio.client import ClientConnection, connect

from forecast.ledger.folder import BuildFolder, remember
from forecast.ledger.receipts_csv import load_receipts_csv
from tests.benchmarks.ledger import Figure

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scenarios" / "half-way-new-zealand"
PAGES = (
    "",
    "",
    "cost",
    "watch",
    "lines",
    "receipts",
    "receipts",
)  # the two that are looked at most: three of seven
PAUSE = (5.0, 15.0)
WARM = 60.0
"""Seconds after which memory should grow no more."""
SLOWEST = 120.0
_SHEET = "\x1fsheet"
"""Stands for the sheet of lines, which bears no label."""
VIEWS, EDITS = 500, 200
_NOT_LISTED = "Something not on my list"
_OPENS = ("Enter a receipt", "Enter another")
"""The button that opens the form; it stays open from then on."""


@dataclass
class Session:
    """One browser tab."""

    number: int
    url: str
    socket: ClientConnection
    pages: dict[str, str] = field(default_factory=dict)
    widgets: dict[str, tuple[str, str, tuple[str, ...]]] = field(default_factory=dict)
    here: str = ""
    wrong: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    looks_again: dict[str, float] = field(default_factory=dict)
    done: asyncio.Event = field(default_factory=asyncio.Event)
    runs: int = 0
    unsaved: bool = False  # an edit's effect was told since this was last put back
    waits: float = 0.0  # since when for the rest of a page; nothing when all is there

    @property
    def waits_for_more(self) -> bool:
        """Tell whether a part of the page is to come by itself."""
        return len(self.looks_again) > 1  # one looks whether another window changed the build

    async def listen(self) -> None:
        """Take what the server sends."""
        async for data in self.socket:
            message = ForwardMsg()
            message.ParseFromString(data if isinstance(data, bytes) else data.encode())
            kind = message.WhichOneof("type")
            if kind == "navigation":
                self.pages = {
                    page.url_pathname: page.page_script_hash for page in message.navigation.app_pages
                }
            elif kind == "new_session" and not message.metadata.run.fragment_ids:
                self.looks_again = {}
            elif kind == "auto_rerun":
                self.looks_again[message.auto_rerun.fragment_id] = message.auto_rerun.interval
            elif kind == "stop_auto_rerun":
                for fragment in message.stop_auto_rerun.fragment_ids:
                    self.looks_again.pop(fragment, None)
            elif kind == "delta":
                self._take(message)
            elif kind == "script_finished" and message.script_finished != ForwardMsg.FINISHED_EARLY_FOR_RERUN:
                self.runs += 1
                self.done.set()

    def _take(self, message: ForwardMsg) -> None:
        if message.delta.WhichOneof("type") != "new_element":
            return
        element = message.delta.new_element
        name = element.WhichOneof("type")
        inner = getattr(element, name or "", None)
        if name == "markdown" and "Not saved yet" in element.markdown.body:
            self.unsaved = True
        if name == "exception":
            self.wrong.append(element.exception.message)
        if name == "alert":
            (self.wrong if element.alert.format == element.alert.ERROR else self.said).append(
                element.alert.body
            )
        if name == "dataframe" and inner is not None and inner.id:
            self.widgets[_SHEET] = (inner.id, message.delta.fragment_id, ())
        label = getattr(inner, "label", "")
        if label and getattr(inner, "id", ""):
            options = tuple(getattr(inner, "options", ()))
            if all(
                isinstance(option, str) for option in options
            ):  # the form's own field is the first of a label
                self.widgets.setdefault(label, (inner.id, message.delta.fragment_id, options))

    async def ask(
        self,
        page: str | None = None,
        states: Iterable[WidgetState] = (),
        fragment: str = "",
        auto: bool = False,
    ) -> float:
        """Run a page, or a part of it; give the seconds until all of it was drawn."""
        ask = BackMsg()
        state = ask.rerun_script
        state.page_script_hash = self.here if page is None else self.pages.get(page, "")
        state.fragment_id = fragment
        state.is_auto_rerun = auto
        state.widget_states.CopyFrom(WidgetStates(widgets=list(states)))
        if page is not None:
            self.here, self.widgets = state.page_script_hash, {}
        self.done.clear()
        start = time.perf_counter()
        await self.socket.send(ask.SerializeToString())
        await asyncio.wait_for(self.done.wait(), SLOWEST)
        return time.perf_counter() - start


async def open_session(number: int, url: str, build: str) -> tuple[Session, asyncio.Task[None]]:
    """Open a tab, and in it a build."""
    socket_ = await connect(
        f"{url}/_stcore/stream", subprotocols=["streamlit"], max_size=None, ping_interval=None
    )  # type: ignore[list-item]
    session = Session(number, url, socket_)
    task = asyncio.create_task(session.listen())
    await session.ask()
    if build in session.widgets:  # else it is the one that the server opens
        button = session.widgets[build][0]
        await session.ask("", [WidgetState(id=button, trigger_value=True)])
    return session, task


@dataclass(frozen=True)
class Look:
    """What one session waited for."""

    what: str
    at: float
    seconds: float


@dataclass
class Load:
    """All sessions together."""

    seconds: float
    looks: list[Look] = field(default_factory=list)
    acknowledged: list[tuple[int, str]] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    start: float = field(default_factory=time.perf_counter)

    def note(self, what: str, seconds: float) -> None:
        """Keep how long something took."""
        self.looks.append(Look(what, time.perf_counter() - self.start, seconds))

    @property
    def over(self) -> bool:
        return time.perf_counter() - self.start > self.seconds


async def enter_receipt(session: Session, build: int, load: Load, drawn: random.Random) -> None:
    """Enter a receipt through the form as a person does: line, supplier and sum, then Save."""
    opens = next((name for name in _OPENS if name in session.widgets), None)
    if "Supplier" not in session.widgets and opens is not None:
        states = [WidgetState(id=session.widgets[opens][0], trigger_value=True)]
        load.note("form", await session.ask(states=states))
    line = session.widgets.get("For which line")
    amount = next((name for name in session.widgets if name.startswith("Amount, in ")), "Amount")
    needed = ("Supplier", amount, "Save receipt")
    if line is None or any(name not in session.widgets for name in needed):
        load.wrong.append(f"session {session.number}: no form on the page of receipts")
        return
    supplier = f"Supplier {session.number}-{len(load.acknowledged)}-{drawn.randrange(10**9)}"
    sum_ = f"{drawn.randrange(5, 60)}.{drawn.randrange(10, 100)}"
    told = [WidgetState(id=line[0])]
    # a line of the build: what is on no list asks for a name first
    told[0].string_array_value.data.append(drawn.choice([one for one in line[2] if one != _NOT_LISTED]))
    for name, value in (("Supplier", supplier), (amount, sum_)):
        told.append(WidgetState(id=session.widgets[name][0], string_value=value))
    fragment = session.widgets["Save receipt"][1]
    load.note("form", await session.ask(states=told, fragment=fragment))
    await asyncio.sleep(drawn.uniform(1, 3))
    button = session.widgets["Save receipt"]
    session.said.clear()
    session.wrong.clear()
    before = session.runs
    spent = await session.ask(
        states=[*told, WidgetState(id=button[0], trigger_value=True)], fragment=button[1]
    )
    if session.wrong:
        load.wrong += session.wrong
        return
    if any("Nothing is entered yet" in said for said in session.said):
        load.note("question", spent)  # such as of a sum far above its line; a person would look again
        return
    if session.runs == before + 1 and not any(supplier in said for said in session.said):
        load.wrong.append(f"not acknowledged: {supplier} {session.said}")
        return
    load.note("receipt", spent)
    load.acknowledged.append((build, supplier))


async def live(session: Session, build: int, load: Load, drawn: random.Random) -> None:
    """Go from page to page until the time is over."""

    async def follow(until: float) -> None:
        due: dict[str, float] = {}
        while (left := until - time.perf_counter()) > 0:
            now = time.perf_counter()
            due = {one: due.get(one, now + every) for one, every in session.looks_again.items()}
            await asyncio.sleep(max(0.0, min([left, *(at - now for at in due.values())])))
            now = time.perf_counter()
            for fragment in [one for one, at in due.items() if at <= now]:
                if fragment in session.looks_again and until - now > 0.5:
                    await session.ask(fragment=fragment, auto=True)
                due[fragment] = time.perf_counter() + session.looks_again.get(fragment, SLOWEST)
            if session.waits and not session.waits_for_more:
                load.note("all", time.perf_counter() - session.waits)
                session.waits = 0.0

    while not load.over:
        await follow(time.perf_counter() + drawn.uniform(*PAUSE))
        page = drawn.choice(PAGES)
        try:
            asked = time.perf_counter()
            load.note({"": "stand"}.get(page, page), await session.ask(page))
            session.waits = asked if page in ("", "cost") else 0.0
            if page == "receipts":
                await follow(time.perf_counter() + drawn.uniform(3, 6))
                await enter_receipt(session, build, load, drawn)
        except TimeoutError:
            load.wrong.append(
                f"session {session.number}: nothing came for {SLOWEST:.0f} s on {page or 'stand'}"
            )
        load.wrong += session.wrong
        session.wrong.clear()


def resident(pid: int) -> list[float]:
    """Give the memory of the server and of what it started, in megabytes each."""
    sizes, process = [], psutil.Process(pid)
    for one in [process, *process.children(recursive=True)]:
        with suppress(psutil.Error):
            sizes.append(one.memory_info().rss / 2**20)
    return sizes


async def alone(url: str, server: int, seed: int) -> list[Figure]:
    """Look at pages and edit figures, one after the other, and tell what memory it took."""
    session, task = await open_session(0, url, "Build 0")
    drawn, pages, sizes = random.Random(seed), sorted(set(PAGES)), list[list[float]]()
    for number in range(VIEWS):
        await session.ask(pages[number % len(pages)])
        if number % 20 == 19:
            sizes.append(resident(server))
    views = sizes[-1]
    await session.ask("lines")

    async def edit(row: int) -> bool:
        high = {str(row): {"High": f"{drawn.randrange(9_000, 60_000)}"}}
        edits = {"edited_rows": high, "added_rows": [], "deleted_rows": []}
        told = WidgetState(id=session.widgets[_SHEET][0], string_value=json.dumps(edits))
        session.unsaved = False
        await session.ask(states=[told])
        return session.unsaved

    money = [row for row in range(12) if await edit(row)]  # a percentage or a known sum has no such high
    session.wrong.clear()
    edited = 0
    for number in range(EDITS):
        edited += await edit(drawn.choice(money))
        if number % 20 == 19:
            sizes.append(resident(server))
    task.cancel()
    await session.socket.close()
    return [
        Figure("errors seen", len(session.wrong), "", 0),
        Figure("pages looked at", VIEWS, ""),
        Figure("edits that showed their effect", edited, ""),
        Figure("the server's memory after the pages", views[0], "MB", 500),
        Figure("most of it", max(size[0] for size in sizes), "MB", 500),
        Figure("at the end", sizes[-1][0], "MB", 500),
        Figure("the second process's at the end", sum(sizes[-1][1:]), "MB"),
    ]


async def watch_memory(pid: int, load: Load, seen: list[tuple[float, float]]) -> None:
    """Note the memory of the server and what it started every two seconds, in megabytes."""
    while not load.over:
        seen.append((time.perf_counter() - load.start, sum(resident(pid))))
        await asyncio.sleep(2)


async def all_sessions(
    url: str, server: int, options: argparse.Namespace
) -> tuple[Load, list[tuple[float, float]]]:
    """Let all sessions live side by side."""
    builds = options.builds
    opened = [
        await open_session(number, url, f"Build {number % builds}") for number in range(options.sessions)
    ]
    load, memory = Load(options.seconds), list[tuple[float, float]]()
    drawn = [random.Random(f"{options.seed} {number}") for number in range(options.sessions)]
    lives = [live(session, n % builds, load, drawn[n]) for n, (session, _) in enumerate(opened)]
    await asyncio.gather(watch_memory(server, load, memory), *lives)
    for session, task in opened:
        task.cancel()
        await session.socket.close()
    return load, memory


def prepare(place: Path, builds: int) -> list[BuildFolder]:
    """Lay out copies of the half-way demo with their receipts, and make them the ones opened lately."""
    os.environ["FORECAST_HOME"] = str(place / "home")
    folders = []
    for number in range(builds):
        target = place / f"build{number}"
        shutil.copytree(DEMO, target)
        file = target / "build.toml"
        text = re.sub(
            r"(?m)^name = .*$", f'name = "Build {number}"', file.read_text(encoding="utf-8"), count=1
        )
        file.write_text(text, encoding="utf-8")
        folder = BuildFolder.at(target)
        shutil.move(target / "receipts.csv", place / "receipts.csv")
        load_receipts_csv(place / "receipts.csv", folder.ledger())
        remember(folder)
        folders.append(folder)
    return folders


def serve(build: Path) -> tuple[subprocess.Popen[bytes], int]:
    """Start the dashboard; give its process and its port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    command = [sys.executable, "-m", "forecast", "app", str(build), f"--port={port}"]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    until = time.perf_counter() + 60
    while time.perf_counter() < until:
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
            return process, port
        time.sleep(0.2)
    message = "the dashboard did not start within a minute"
    raise SystemExit(message)


def figures(load: Load, memory: list[tuple[float, float]], folders: list[BuildFolder]) -> list[Figure]:
    """Sum up what was seen."""
    there = [[receipt.supplier for receipt in folder.ledger().list_receipts()] for folder in folders]
    lost = sum(supplier not in there[build] for build, supplier in load.acknowledged)
    double = sum(
        len(found) - len(set(found))
        for found in ([s for s in one if s.startswith("Supplier ")] for one in there)
    )

    def slow(what: str) -> float:
        spent = sorted(look.seconds for look in load.looks if look.what == what)
        return statistics.quantiles(spent, n=20, method="inclusive")[-1] if len(spent) > 1 else float("nan")

    warm = [size for at, size in memory if at > WARM]
    early = [size for at, size in memory if at <= WARM]
    return [
        Figure("errors seen", len(load.wrong), "", 0),
        Figure("receipts acknowledged", len(load.acknowledged), ""),
        Figure("of them lost", lost, "", 0),
        Figure("of them double", double, "", 0),
        Figure("looks", len(load.looks), ""),
        *(
            Figure(f"p95, page {what}", slow(what), "s", 3.0 if what in ("stand", "cost") else None)
            for what in ("stand", "cost", "watch", "lines", "receipts")
        ),
        Figure("p95, stand and cost with all that comes later", slow("all"), "s"),
        Figure("p95, a receipt saved", slow("receipt"), "s", 1.5),
        Figure("most memory in the first minute", max(early, default=float("nan")), "MB"),
        Figure("most memory after it", max(warm, default=float("nan")), "MB", 700),
        Figure("memory at the end", memory[-1][1], "MB", 700),
    ]


def main() -> None:
    """Run the sessions and print what they saw."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--seconds", type=float, default=300.0)
    parser.add_argument("--sessions", type=int, default=20)
    parser.add_argument("--builds", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--alone", action="store_true", help="one builder's long evening instead")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folders = prepare(Path(place), options.builds)
        process, port = serve(folders[0].folder)
        try:
            server = psutil.Process(process.pid).children()[0].pid
            address = f"ws://127.0.0.1:{port}"
            if options.alone:
                load, found = Load(0), asyncio.run(alone(address, server, options.seed))
            else:
                load, memory = asyncio.run(all_sessions(address, server, options))
                found = figures(load, memory, folders)
        finally:
            process.terminate()
            process.wait(20)
    if options.json:
        print(json.dumps([asdict(one) for one in found], indent=2))
        return
    for one in found:
        aim = "" if one.target is None else f"  (aim {one.target:g})" + ("" if one.reached else "  over")
        print(f"{one.name:36} {one.value:8.2f} {one.unit}{aim}")
    for text in dict.fromkeys(load.wrong[:20]):
        print("  ", text)


if __name__ == "__main__":
    main()
