"""``forecast app``: the dashboard."""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path

from forecast.errors import ForecastError

APP = Path(__file__).resolve().parents[3] / "app.py"


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser("app", help="open the dashboard in the browser")
    parser.add_argument(
        "file", nargs="?", metavar="FILE", help="the build to open; a demo build when left out"
    )
    parser.add_argument("--port", type=int, help="where to listen on this machine (8501)")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Run the command until the dashboard is stopped."""
    from forecast.spending.folder import BuildFolder

    if not APP.exists():
        message = f"{APP}: the dashboard's starter is missing. Install from a checkout with: pip install -e ."
        raise ForecastError(message)
    arguments = [sys.executable, "-m", "streamlit", "run", str(APP)]
    if options.port:
        arguments.append(f"--server.port={options.port}")
    if options.file:
        folder = BuildFolder.at(options.file)
        folder.read()  # a broken file is said here, in the terminal
        arguments += ["--", str(folder.build_file.resolve())]
    return subprocess.call(arguments, cwd=APP.parent)
