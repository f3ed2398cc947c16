"""``forecast app``: the dashboard."""

from __future__ import annotations

import argparse
import os
import signal
import socket
import subprocess
import sys
import threading
from contextlib import suppress

from forecast.errors import ForecastError
from forecast.views.addresses import PHONE, own_addresses
from forecast.views.commands.common import is_build, whole

PORT = 8501
"""Where the dashboard listens unless it is told."""
_TRIES = 20
"""So many ports are tried, one after the other, where none is asked for."""
_PATIENCE = 10.0
"""Seconds that the server may take to end."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser("app", help="open the dashboard in the browser")
    parser.add_argument(
        "build",
        nargs="?",
        metavar="FILE",
        help="the build to open; when left out, the one in this folder, or the one open last, or a demo",
    )
    parser.add_argument("--port", type=whole, help="where to listen on this machine (8501)")
    parser.add_argument(
        "--phone", action="store_true",
        help="let a phone in the same network open it too, for receipts where they are paid, by a code shown here",
    )  # fmt: skip
    parser.set_defaults(run=run)


def free_port(wanted: int | None) -> int:
    """Give the port asked for, or the first one that is free.

    Raises
    ------
    ForecastError
        When another program listens there.
    """
    for port in range(PORT, PORT + _TRIES) if wanted is None else (wanted,):
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            if (
                os.name == "posix"
            ):  # a port left a moment ago is free; on Windows the same word means another thing
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            with suppress(OSError, OverflowError):
                probe.bind(("127.0.0.1", port))
                return port
    if wanted is None:
        message = f"ports {PORT} to {PORT + _TRIES - 1} are all taken. Name a free one with --port."
    else:
        message = (
            f"--port {wanted}: nothing can listen there. Leave it out, or name another from 1024 to 65535."
        )
    raise ForecastError(message)


def run(options: argparse.Namespace) -> int:
    """Run the command until the dashboard is stopped."""
    from forecast.ledger.folder import TOP, BuildFolder

    port = free_port(options.port)
    # Streamlit's own welcome recommends things that have nothing to do with the build.
    arguments = [sys.executable, "-m", "streamlit", "run", str(TOP / "app.py")]
    arguments += [f"--server.port={port}", "--logger.hideWelcomeMessage=true"]
    build = []
    if options.build or is_build("."):
        folder = BuildFolder.at(options.build or ".")
        folder.read()  # a broken file is said here, in the terminal
        build = ["--", str(folder.build_file.resolve())]
    print(f"The dashboard is at http://127.0.0.1:{port} in your browser. Ctrl-C here stops it.")
    variables = dict(os.environ)
    variables.pop(PHONE, None)
    # Many tabs share the processors already: threads of one small matrix product would only wait for each other.
    variables.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Each tab's thread would keep a pool of memory of its own, and give little of it back.
    variables.setdefault("MALLOC_ARENA_MAX", "2")
    variables["FORWARDED_ALLOW_IPS"] = "127.0.0.1"  # no other machine says on whose behalf it asks
    if options.phone:
        addresses = own_addresses()
        arguments += ["--server.address=0.0.0.0"]
        arguments += [f"--server.allowedHosts={name}" for name in ("localhost", "127.0.0.1", *addresses)]
        variables[PHONE] = "1"
    sys.stdout.flush()
    return _run(arguments + build, variables)


def _run(arguments: list[str], variables: dict[str, str]) -> int:
    """Run the server until it ends by itself, or this program is told to end: then it ends the server, and all is well.

    Parameters
    ----------
    arguments : list of str
    variables : dict
        Its environment.
    """
    from forecast.ledger.folder import TOP

    told = False

    def end(*_: object) -> None:
        nonlocal told
        told = True
        server.terminate()
        late = threading.Timer(_PATIENCE, server.kill)  # in the middle of something that does not end
        late.daemon = True
        late.start()

    # Ctrl-C reaches the server as well, which would have a word of its own about it.
    before = {signal.SIGINT: signal.signal(signal.SIGINT, signal.SIG_IGN)}
    try:
        server = subprocess.Popen(arguments, cwd=TOP, env=variables)
        for name in (
            "SIGINT",
            "SIGTERM",
            "SIGHUP",
        ):  # the last where the terminal is closed; not on every system
            if hasattr(signal, name):
                number = getattr(signal, name)
                handler = signal.signal(number, end)
                before.setdefault(number, handler)
        code = server.wait()
        return 0 if told else code
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
