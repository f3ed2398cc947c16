"""``python -m tests.readme``: write what the commands say now into the README's samples.

A sample is a block of the kind ``console``: its first line is ``$`` and a command about a demo build of the tree, the
rest is what that printed. As many paragraphs are shown as the block has; a line ``…`` at its end stands for the rest.
"""

from __future__ import annotations

import io
import re
import shlex
from contextlib import chdir, redirect_stdout
from pathlib import Path

from forecast.views.cli import main

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
SAMPLE = re.compile(
    r"^```console\n\$ forecast (?P<command>[^\n]*)\n(?P<shown>.*?)^```$", re.MULTILINE | re.DOTALL
)


def said(command: str) -> str:
    """Give what a command prints when it is typed at the top of the tree."""
    printed = io.StringIO()
    with chdir(ROOT), redirect_stdout(printed):
        code = main(shlex.split(command))
    if code:
        message = f"forecast {command}: exit code {code}"
        raise RuntimeError(message)
    return printed.getvalue()


def fresh(text: str) -> str:
    """Give the README's text with every sample as its command prints it now."""

    def again(sample: re.Match[str]) -> str:
        paragraphs = said(sample["command"]).strip("\n").split("\n\n")
        count = len(sample["shown"].strip("\n").split("\n\n"))
        rest = "…\n" if count < len(paragraphs) else ""
        shown = "\n\n".join(paragraphs[:count])
        return f"```console\n$ forecast {sample['command']}\n{shown}\n{rest}```"

    return SAMPLE.sub(again, text)


if __name__ == "__main__":
    before = README.read_text(encoding="utf-8")
    after = fresh(before)
    README.write_text(after, encoding="utf-8", newline="\n")
    print(f"{README.name}: {'the same as before' if after == before else 'written anew'}.")
