"""``forecast schema``: what a build file may say, for editors and programs."""

from __future__ import annotations

import argparse
import json

from forecast.views.commands.common import command


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    detail = (
        "Prints the JSON Schema of build.toml. An editor that knows TOML completes keys by it: keep it beside the "
        "build as build.schema.json and begin build.toml with '#:schema build.schema.json', as 'forecast new' does."
    )
    command(commands, "schema", "what build.toml may say, as a JSON Schema for your editor", run, detail)


def run(_: argparse.Namespace) -> int:
    """Run the command."""
    from forecast.buildfile.toml_schema import build_schema

    # Not an answer with figures: its names are the file's own, `p10` among them.
    print(json.dumps(build_schema(), indent=2))
    return 0
