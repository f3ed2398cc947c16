"""``forecast app``: the dashboard."""

from __future__ import annotations

import argparse
import socket
import subprocess
import sys
from pathlib import Path

from forecast.errors import ForecastError

PORT = 8501
"""Where the dashboard listens unless it is told."""
APP = Path(__file__).resolve().parents[3] / "app.py"


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser("app", help="open the dashboard in the browser")
    parser.add_argument(
        "file", nargs="?", metavar="FILE", help="the build to open; a demo build when left out"
    )
    parser.add_argument("--port", type=int, help="where to listen on this machine (8501)")
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


def run(options: argparse.Namespace) -> int:
    """Run the command until the dashboard is stopped."""
    from forecast.spending.folder import BuildFolder

    if not APP.exists():
        message = f"{APP}: the dashboard's starter is missing. Install from a checkout with: pip install -e ."
        raise ForecastError(message)
    arguments = [sys.executable, "-m", "streamlit", "run", str(APP)]
    if options.port:
        arguments.append(f"--server.port={options.port}")
    if options.phone:
        here = own_address()
        # Without the second setting the server would ask an address elsewhere what it is called from outside.
        arguments += ["--server.address=0.0.0.0", f"--browser.serverAddress={here}"]
        print(
            f"On a phone in the same network open http://{here}:{options.port or PORT}\n"
            "Whoever is in that network can open and change the build while this runs: use it in your own only."
        )
    if options.file:
        folder = BuildFolder.at(options.file)
        folder.read()  # a broken file is said here, in the terminal
        arguments += ["--", str(folder.build_file.resolve())]
    return subprocess.call(arguments, cwd=APP.parent)
