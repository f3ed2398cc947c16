"""``python -m tests.wheel``: build sdist and wheel, install the wheel alone elsewhere, and use it as a builder would.

Takes a minute and the package index, so that it is no test of ``pytest`` but a job of ``.ci/run``. It fails when the
wheel lacks a file, when a command or the first page does not answer, and when anything was read that belongs neither
to the installation, nor to Python and the system, nor to the user's data folder: a builder's machine has nothing else.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import tarfile
import tempfile
import time
import urllib.request
import venv
import zipfile
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).parents[1]
SYSTEM = ("/usr", "/lib", "/lib64", "/etc", "/proc", "/sys", "/dev", "/run", "/var/lib", sys.base_prefix)
"""What belongs to the machine and to its Python."""
_OPENED = re.compile(r"^(?:\d+\s+)?open(?:at2?)?\(.*\) = \d+<(/[^>]*)>")


def files_read(trace: str) -> set[str]:
    """Give the full path of every file and folder that was opened for reading, from what ``strace -y`` wrote."""
    found = set()
    for line in trace.splitlines():
        opened = _OPENED.match(line)
        if opened and "O_WRONLY" not in line:
            found.add(opened[1])
    return found


def outside(paths: Iterable[str], allowed: Sequence[str | Path]) -> list[str]:
    """Give those paths that are in none of the folders allowed."""
    return sorted(path for path in paths if not any(Path(path).is_relative_to(folder) for folder in allowed))


def tracked(*folders: str) -> set[str]:
    """Give the files of the tree that git knows, by their path."""
    return set(subprocess.check_output(["git", "ls-files", *folders], cwd=ROOT, text=True).split())


def wanted_in_the_wheel() -> set[str]:
    """Give the files that a wheel holds, by their path in it."""
    beside = tracked("scenarios", "app.py", ".streamlit")
    return tracked("forecast") | {f"forecast/beside/{name}" for name in beside}


class Elsewhere:
    """An empty environment with the wheel alone, an empty home, and a record of what was read.

    Attributes
    ----------
    folder : pathlib.Path
        Where all of it stands, outside the tree.
    data : pathlib.Path
        The user's data folder.
    """

    def __init__(self, folder: Path, wheel: Path) -> None:
        self.folder = folder
        self.env, self.home, self.here = folder / "env", folder / "home", folder / "here"
        self.passing = folder / "passing"
        for place in (self.home, self.here, self.passing):
            place.mkdir()
        self.data = self.home / ".local" / "share" / "forecast"
        venv.create(self.env, with_pip=True)
        python, uv = str(self.env / "bin" / "python"), Path(sys.executable).with_name("uv")
        pip = [python, "-m", "pip", "install", "--quiet", "--no-compile", str(wheel)]
        faster = [str(uv), "pip", "install", "--quiet", "--python", python, str(wheel)]
        if not (uv.is_file() and subprocess.run(faster, cwd=self.here).returncode == 0):
            subprocess.run(pip, check=True, cwd=self.here)
        self.traces: list[Path] = []

    def traced(self, *command: str) -> tuple[list[str], dict[str, str]]:
        """Give the command under strace, and the variables it runs with."""
        self.traces.append(self.folder / f"trace-{len(self.traces)}")
        strace = ["strace", "-f", "--seccomp-bpf", "-y", "-qq", "-e", "trace=open,openat,openat2"]
        strace += ["-e", "status=successful", "-e", "signal=none", "-o", str(self.traces[-1])]
        variables = {
            "HOME": str(self.home),
            "TMPDIR": str(self.passing),
            "PATH": "/usr/local/bin:/usr/bin:/bin",
            "LANG": "C.UTF-8",
            "STREAMLIT_SERVER_HEADLESS": "true",  # the page is opened by this job, not by the machine's own browser
        }
        program = str(self.env / "bin" / command[0])
        return [*strace, program, *command[1:]], variables

    def run(self, *command: str) -> str:
        """Run a command to its end; give what it printed."""
        arguments, variables = self.traced(*command)
        done = subprocess.run(
            arguments, env=variables, cwd=self.here, text=True, capture_output=True, stdin=subprocess.DEVNULL
        )
        if done.returncode:
            sys.exit(f"{' '.join(command)}: exit code {done.returncode}\n{done.stdout}{done.stderr}")
        print(f"  {' '.join(command)}: {done.stdout.strip().splitlines()[0][:110]}")
        return done.stdout

    def read_elsewhere(self) -> list[str]:
        """Give what was read that a builder's machine does not have."""
        paths = set().union(*(files_read(trace.read_text(errors="replace")) for trace in self.traces))
        # Python looks into the folder it is started in, and programs read what they put down for a moment themselves:
        # both folders are empty at first.
        return outside(paths - {str(self.here)}, [*SYSTEM, self.env, self.data, self.passing])

    def first_page(self, *command: str) -> str:
        """Start the dashboard, give the first paragraph of its first page, and stop it."""
        arguments, variables = self.traced(*command)
        server = subprocess.Popen(
            arguments, env=variables, cwd=self.here, text=True, stdout=subprocess.PIPE, stdin=subprocess.DEVNULL,
            start_new_session=True,
        )  # fmt: skip
        try:
            assert server.stdout is not None
            address = re.search(r"http://127\.0\.0\.1:\d+", server.stdout.readline())
            if address is None:
                sys.exit(f"{' '.join(command)}: named no address")
            _wait_for(f"{address[0]}/_stcore/health")
            return _first_paragraph(address[0])
        finally:
            os.killpg(server.pid, signal.SIGTERM)
            server.wait(timeout=20)


def _wait_for(address: str) -> None:
    for _ in range(600):
        with suppress(OSError):
            urllib.request.urlopen(address, timeout=2)
            return
        time.sleep(0.1)
    sys.exit(f"{address}: no answer in a minute")


def _first_paragraph(address: str) -> str:
    browser_path = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser_path is None:
        sys.exit("no chromium here: install Debian's package chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=browser_path,
            args=["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"],
        )
        errors: list[str] = []
        page = browser.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(address)
        page.wait_for_selector('[data-testid="stApp"][data-test-script-state="notRunning"]', timeout=120_000)
        page.wait_for_selector("canvas, svg.marks", timeout=60_000)
        text = page.locator('[data-testid="stMarkdownContainer"] p', has_text="Hold").first.inner_text(
            timeout=60_000
        )
        browser.close()
    if errors:
        sys.exit(f"the first page: {errors}")
    return text


def main() -> None:
    """Do the job; leave with a message when something is wrong."""
    began = time.monotonic()

    def say(text: str) -> None:
        print(f"wheel, {time.monotonic() - began:3.0f} s: {text}", flush=True)

    with tempfile.TemporaryDirectory(prefix="wheel-") as name:
        folder = Path(name)
        subprocess.run(
            [sys.executable, "-m", "build", "--outdir", str(folder), str(ROOT)],
            check=True,
            stdout=subprocess.DEVNULL,
        )
        (wheel,), (sdist,) = folder.glob("*.whl"), folder.glob("*.tar.gz")
        with zipfile.ZipFile(wheel) as opened:
            held = {path for path in opened.namelist() if ".dist-info/" not in path}
        if held != wanted_in_the_wheel():
            missing, more = wanted_in_the_wheel() - held, held - wanted_in_the_wheel()
            sys.exit(f"{wheel.name}: missing {sorted(missing)}; too many {sorted(more)}")
        with tarfile.open(sdist) as archive:
            packed = {path.partition("/")[2] for path in archive.getnames()}
        if missing := tracked("forecast", "scenarios", "app.py", ".streamlit", "pyproject.toml") - packed:
            sys.exit(f"{sdist.name}: missing {sorted(missing)}")
        say(f"{wheel.name} and {sdist.name} hold every file they should, {len(held)} in the wheel")

        place = Elsewhere(folder, wheel)
        say("installed alone")
        place.run("forecast", "--version")
        names = place.run("forecast", "demo").split()
        for demo in sorted(tracked("scenarios")):
            if demo.endswith("build.toml"):
                assert Path(demo).parent.name in names
                copy = place.run("forecast", "demo", Path(demo).parent.name).strip()
                place.run("forecast", "budget", copy)
                place.run("forecast", "watch", copy)
        print(f"  forecast app: {place.first_page('forecast', 'app')[:110]}")
        say("every command and the first page answered")

        if strangers := place.read_elsewhere():
            sys.exit(
                "read from outside the installation and the user's data folder:\n  " + "\n  ".join(strangers)
            )
        # The guard itself: what reads a file of the tree has to be seen.
        place.run("python", "-c", f"print(len(open({str(ROOT / 'pyproject.toml')!r}).read()))")
        if place.read_elsewhere() != [str(ROOT / "pyproject.toml")]:
            sys.exit("a file of the tree was read, and the guard did not see it: look at what strace writes")
        say(f"nothing else was read; data in {place.data.relative_to(place.home)}")


if __name__ == "__main__":
    main()
