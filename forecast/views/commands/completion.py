"""``forecast completion`` and ``forecast schema``: what shells and editors complete from."""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Callable
from functools import partial
from typing import Any

from forecast.views.commands.common import Answered, JsonSchema, command

SHELLS = ("bash", "zsh", "fish", "powershell")
_KINDS = {
    "scenario": ("scenario",), "scenarios": ("scenario",), "line": ("line", "event"), "lines": ("line", "event"),
    "id": ("line", "event"), "ids": ("line", "event"), "rest": ("line", "event"),
}  # fmt: skip
"""What in the build file an argument names, by the argument's own name."""

DETAIL = """\
Prints what teaches your shell to complete 'forecast' with the Tab key. Once, for good:
  bash         echo 'eval "$(forecast completion bash)"' >> ~/.bashrc
  zsh          echo 'eval "$(forecast completion zsh)"' >> ~/.zshrc
  fish         forecast completion fish > ~/.config/fish/completions/forecast.fish
  PowerShell   forecast completion powershell | Out-File -Append $PROFILE"""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "completion", help="let the Tab key complete it", description=DETAIL,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument("shell", choices=SHELLS, help="the shell you type in")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Run the command."""
    from argcomplete.shell_integration import shellcode

    print(shellcode(["forecast"], shell=options.shell))
    return 0


def complete(parser: argparse.ArgumentParser) -> None:
    """Answer the Tab key and leave, where a shell asks; else do nothing."""
    if "_ARGCOMPLETE" not in os.environ:
        return
    import argcomplete

    _teach(parser)
    argcomplete.autocomplete(parser)


def _teach(parser: argparse.ArgumentParser) -> None:
    """Say of every argument that names something of a build what it may be."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for child in action.choices.values():
                _teach(child)
            continue
        completer: Callable[..., list[str]] | None = None
        if action.dest in _KINDS:
            completer = partial(ids, _KINDS[action.dest])
        elif action.dest == "name" and not action.option_strings:
            completer = _demos
        if completer is not None:
            action.completer = completer  # type: ignore[attr-defined]  # argcomplete looks for it there


def ids(kinds: tuple[str, ...], prefix: str, parsed_args: argparse.Namespace, **_: Any) -> list[str]:
    """Give the ids in the build at hand; none where it cannot be read: a key press is no place for errors."""
    from forecast.buildfile.reader import build_path, read_text
    from forecast.buildfile.toml import parse_toml
    from forecast.errors import ForecastError

    for path in (getattr(parsed_args, "file", None), "."):
        try:
            table = parse_toml(read_text(build_path(path)), str(path), "") if path else {}
        except ForecastError:
            continue
        found: list[str] = []
        for kind in kinds:
            items = table.get(kind, [])
            found += items if isinstance(items, dict) else [str(item.get("id", "")) for item in items]
        if found:
            return [id_ for id_ in found if id_.startswith(prefix)]
    return []


def _demos(prefix: str, **_: Any) -> list[str]:
    from forecast.ledger.folder import demos

    return [name for name in demos() if name.startswith(prefix)]


def add_schema(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    detail = (
        "Prints the JSON Schema of build.toml. An editor that knows TOML completes keys by it: keep it beside the\n"
        "build as build.schema.json and begin build.toml with '#:schema build.schema.json', as 'forecast new' does.\n\n"
        "With a command, such as 'forecast schema budget' or 'forecast schema receipt add', it is the JSON Schema of\n"
        "what that command answers with --json."
    )
    parser = command(
        commands,
        "schema",
        "what build.toml may say, or a command answers, as a JSON Schema",
        run_schema,
        detail,
    )
    parser.add_argument(
        "of", nargs="*", metavar="COMMAND", help="what this one answers; build.toml when left out"
    )


def run_schema(options: argparse.Namespace) -> Answered[JsonSchema]:
    """Run the command."""
    from forecast.buildfile.toml_schema import build_schema
    from forecast.views.answer_schema import answer_schema
    from forecast.views.cli import build_parser

    words = " ".join(" ".join(options.of).split())
    found = answer_schema(build_parser(), words) if words else build_schema()
    # Not an answer with figures: its names are the file's own, `p10` among them.
    print(json.dumps(found, indent=2))
    return Answered(0)
