"""What the server does while the browser fetches its own part, and what it need not do: a builder waits for both.

Loaded by the server before its door opens, so that nothing here may load what takes long outside of a function.
"""

from __future__ import annotations

import gc
import importlib
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

_PATIENCE = 60.0
"""Seconds after which a first page is not waited for any more before memory is looked through again."""
_PAUSE = 1.0
"""Seconds in which what was drawn goes to the browser."""
_TURN = 0.0005
"""Seconds that a thread keeps the others waiting: a browser's small questions are answered between two modules."""
_FOR_CHARTS = ("pyarrow", "pandas", "narwhals.stable.v1", "jsonschema", "altair", "forecast.views.charts")
"""What charts need, in pieces; the page that opens needs all of it once its sentence stands."""


def spare() -> None:
    """Leave out what Streamlit does at its start for others.

    It reads the papers of every package installed, four times each, in search of components, of which none is used
    here (a fifth of a second); and at the first thing drawn it looks through the source of all callers for one that is
    a terminal (a tenth).
    """
    from streamlit import delta_generator

    delta_generator._use_warning_has_been_displayed = True
    with suppress(
        ImportError
    ):  # its own affair, which a later Streamlit may keep elsewhere: then it takes its time
        from streamlit.components.v2 import manifest_scanner

        manifest_scanner.scan_component_manifests = lambda *_, **__: []


def make_ready(argument: str | None) -> None:
    """Load what pages need and work out what the first one says, and have the second process start after it.

    Nothing of it is needed to open the door: done first, it kept the browser waiting for as long.

    Parameters
    ----------
    argument : str, optional
        As for `forecast.dashboard.main.run`.
    """
    with _in_one_go():
        from forecast.dashboard.main import ASKED, DRAWN
        from forecast.dashboard.shelf import ASIDE

        ASIDE.start(DRAWN)
        with suppress(Exception):  # whatever is wrong is told by the page, in words
            _foresee(argument)
        for name in _FOR_CHARTS:
            if ASKED.is_set():  # the page loads by itself what it needs, when it does
                break
            importlib.import_module(name)
        DRAWN.wait(_PATIENCE)
        time.sleep(_PAUSE)


def _foresee(argument: str | None) -> None:
    """Load what the page that opens is made of, charts apart, and work out what its sentence says."""
    from forecast.dashboard import cost_answers, receipts_import, stand_attention  # noqa: F401
    from forecast.dashboard.state import foresee
    from forecast.views.stands import stand_sentences

    found = foresee(argument)
    if found is not None:
        stand_sentences(found, None)


@contextmanager
def _in_one_go() -> Iterator[None]:
    """Load much at once, and set what is there by then apart for good.

    Memory is not looked through for what can go meanwhile: that took a sixth of the time. Nor is a module ever let go
    of: to look through all of them time and again held every page up.
    """
    turn = sys.getswitchinterval()
    gc.disable()
    sys.setswitchinterval(_TURN)
    try:
        yield
    finally:
        sys.setswitchinterval(turn)
        gc.collect()
        gc.freeze()
        gc.enable()
