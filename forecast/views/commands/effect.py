"""What a command's entry did to P80, said in its answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from forecast.errors import ForecastError
from forecast.views.commands.common import done, working

if TYPE_CHECKING:
    from forecast.buildfile.schema import Build
    from forecast.engine.forecast import Forecast
    from forecast.ledger import Ledger
    from forecast.views.answers.of_receipts import MovedByEntry
    from forecast.watching.reforecast import Reforecast

MOST_SIMULATED = 160
"""Beyond so many lines and events an entry does not wait for what it did to P80: what that takes is a second of
processor time then."""
_WATCH = "'forecast watch' shows where it ends now."


class Effect:
    """The forecast before an entry, to hold that with it against; begun before the entry is made.

    Parameters
    ----------
    build : Build
        As it stood.
    ledger : Ledger
    """

    def __init__(self, build: Build, ledger: Ledger) -> None:
        self._stood = build.fingerprint()
        self._earlier = _forecast_of(build, ledger)

    def told(self, build: Build, ledger: Ledger, *, undone: bool = False) -> tuple[str, MovedByEntry | None]:
        """Say what the entry did to P80, or how that is seen; for programs both figures, or None.

        Parameters
        ----------
        build : Build
            With what the entry added.
        ledger : Ledger
        undone : bool
            Whether it was taken back.
        """
        from forecast.views.after_entry import after_entry

        earlier = self._earlier
        same = build.fingerprint() == self._stood
        now = None if earlier is None else _forecast_of(build, ledger, earlier.before if same else None)
        if earlier is None or now is None:
            return _WATCH, None
        over = now.chance_of_overrun
        words = after_entry(
            earlier.percentile(0.8), earlier, now.percentile(0.8), now, now.currency,
            None if over is None else 1 - over.value, "'forecast watch' says why it ended there.", undone=undone,
        ).whole  # fmt: skip
        return words, {"before": {"P80": earlier.percentile(0.8)}, "now": {"P80": now.percentile(0.8)}}


def _forecast_of(build: Build, ledger: Ledger, before: Forecast | None = None) -> Reforecast | None:
    """Forecast a build as it stands; None where that takes long, or cannot be done.

    ``before`` is its forecast from the ranges alone, where that is at hand.
    """
    from forecast.watching.reforecast import reforecast

    if len(build.line) + len(build.event) > MOST_SIMULATED:
        return None
    working("Simulating with what is known")
    try:
        return reforecast(build, ledger, before=before)
    except ForecastError:  # what is entered is entered, whatever the build file says of the rest
        return None
    finally:
        done()
