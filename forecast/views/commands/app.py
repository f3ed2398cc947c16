"""``forecast app``: the dashboard."""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
from contextlib import suppress

from forecast.errors import ForecastError
from forecast.views.commands.common import is_build, whole

PORT = 8501
"""Where the dashboard listens unless it is told."""
_TRIES = 20
"""So many ports are tried, one after the other, where none is asked for."""


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
        help="let a phone in the same network open it too, for receipts where they are paid; there is no password",
    )  # fmt: skip
    parser.set_defaults(run=run)


def own_address() -> str:
    """Give this machine's address in its network; that of the machine itself where there is none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(
                ("192.0.2.1", 9)
            )  # nothing is sent: it only chooses the way (RFC 5737: an address of nobody)
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])


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
    from forecast.spending.folder import TOP, BuildFolder

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
    if options.phone:
        here = own_address()
        # Without the second setting the server would ask an address elsewhere what it is called from outside.
        arguments += ["--server.address=0.0.0.0", f"--browser.serverAddress={here}"]
        print(
            f"On a phone in the same network open http://{here}:{port}\n"
            "Whoever is in that network can open and change the build while this runs: use it in your own only."
        )
    sys.stdout.flush()
    return subprocess.call(arguments + build, cwd=TOP)
