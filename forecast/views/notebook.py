"""What Python shows of a build: the face that ``from forecast import …`` gives, for a person in a notebook.

A build is named by its folder, by its file, or is what `read_build` gave; what is known of it stands in its folder.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from forecast.buildfile.reader import file_of, read_build
from forecast.buildfile.schema import Build
from forecast.engine import forecast as engine
from forecast.engine.known import KnownFacts
from forecast.engine.replicate import Keep
from forecast.engine.statistics import Estimate
from forecast.errors import SimulationError

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from forecast.decide.contingency import Contingency
    from forecast.decide.scenarios import Comparison
    from forecast.ledger import Ledger
    from forecast.ledger.folder import BuildFolder
    from forecast.watching.moved import Moved
    from forecast.watching.reforecast import Reforecast


WIDTH, HEIGHT = 640, 220
_LEFT, _RIGHT, _TOP, _BOTTOM = 46, 20, 26, 30


def curve(found: engine.Forecast) -> str:
    """Draw the chance that a sum is enough as SVG, which every notebook shows without a library of its own."""
    from forecast.views.charts.frame import nice_step
    from forecast.views.theme import LIGHT
    from forecast.words.money import about

    shares = [0.005, *(place / 100 for place in range(1, 100)), 0.995]
    sums = [item.value for item in found.percentile_set(shares)]
    low, high = sums[0], sums[-1]
    room = 0.04 * (high - low) or 1.0
    low, high = low - room, high + room

    def x(amount: float) -> float:
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * (amount - low) / (high - low)

    def y(share: float) -> float:
        return HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * share

    money, foot = found.currency, y(0)
    parts = []
    for share in (0.0, 0.5, 0.8, 1.0):
        parts.append(_line(_LEFT, y(share), WIDTH - _RIGHT, y(share), 'stroke="currentColor" opacity="0.18"'))
        parts.append(_text(_LEFT - 8, y(share) + 4, f"{100 * share:.0f} %", "end"))
    step = nice_step(high - low, 6)
    tick = step * -(-low // step)
    while tick <= high:
        parts.append(_line(x(tick), foot, x(tick), foot + 5, 'stroke="currentColor" opacity="0.5"'))
        parts.append(_text(x(tick), foot + 19, about(tick, money), "middle"))
        tick += step
    points = " ".join(f"{x(amount):.1f},{y(share):.1f}" for share, amount in zip(shares, sums, strict=True))
    parts.append(f'<polyline points="{points}" fill="none" stroke="{LIGHT.accent}" stroke-width="2.4"/>')
    half, eight = found.percentile_set((0.5, 0.8))
    for name, share, item in (("P50", 0.5, half), ("P80", 0.8, eight)):
        parts.append(
            f'<circle cx="{x(item.value):.1f}" cy="{y(share):.1f}" r="4.5" fill="{LIGHT.accent}"/>'
            + _text(
                x(item.value) + 9,
                y(share) + 15,
                f"{name} {about(item.value, money, item.error)}",
                "start",
                bold=True,
            )
        )
    said = (
        f"{about(half.value, money)} is enough in 50 of 100 builds, {about(eight.value, money)} in 80 of 100."
    )
    title = "Share of builds in which a sum is enough"
    parts.append(_text(_LEFT, 12, title, "start"))
    return (
        f'<svg role="img" aria-label="{escape(title)}: {escape(said)}" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'width="100%" style="max-width:{WIDTH}px" font-family="system-ui, sans-serif" font-size="12" '
        f'fill="currentColor">{"".join(parts)}</svg>'
    )


def _line(x: float, y: float, to_x: float, to_y: float, look: str) -> str:
    return f'<line x1="{x:.1f}" y1="{y:.1f}" x2="{to_x:.1f}" y2="{to_y:.1f}" {look}/>'


def _text(x: float, y: float, words: str, anchor: str, *, bold: bool = False) -> str:
    weight = ' font-weight="600"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{weight}>{escape(words)}</text>'


AnyBuild: TypeAlias = "Build | str | Path"


@dataclass(frozen=True, repr=False)
class Forecast:
    """What a build may cost, as `simulate` gives it: it shows itself in a notebook, and as one line elsewhere.

    Whatever the engine's own forecast has (``trials``, ``plan``, ``interval``, ``weeks`` …) is reachable here too.

    Attributes
    ----------
    build : Build
    engine : forecast.engine.forecast.Forecast
        Without a face.

    Examples
    --------
    >>> found = simulate("scenarios/before-ordering-ireland", "diy", trials=1024)
    >>> found
    Wide-arch coupe, kit from Japan, scenario diy: P80 €14,100, base estimate €9,240 (1,024 trials)
    >>> found.percentile(0.8) > found.base_estimate
    True
    >>> f"{found.chance_within(13_500):.2f}"
    '0.76'
    """

    build: Build
    engine: engine.Forecast

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_") or name == "engine":  # while it is copied there is no engine yet
            raise AttributeError(name)
        return getattr(self.engine, name)

    def __dir__(self) -> list[str]:
        own = {*super().__dir__(), *dir(self.engine)}
        return sorted(name for name in own if not name.startswith("_"))

    @property
    def currency(self) -> str:
        """ISO 4217 code of all money in it."""
        return self.engine.currency

    @property
    def scenario(self) -> str | None:
        """The id of what was simulated."""
        return self.engine.plan.scenario

    @property
    def base_estimate(self) -> float:
        """Sum of the middle figures: no events, no lines that may not be needed."""
        return self.engine.base_estimate

    @property
    def mean(self) -> Estimate:
        """Mean total."""
        return self.engine.mean

    def percentile(self, q: float) -> Estimate:
        """Give the total that a share q of builds does not exceed: a number with its simulation error.

        Examples
        --------
        >>> hold = simulate("scenarios/before-ordering-ireland", "diy", trials=1024).percentile(0.8)
        >>> hold > 14_000, f"{hold:,.0f}" == f"{float(hold):,.0f}", "±" in repr(hold)
        (True, True, True)
        """
        return self.engine.percentile(q)

    def chance_within(self, amount: float) -> Estimate:
        """Give the chance that an amount is enough, from 0 to 1.

        Examples
        --------
        >>> simulate("scenarios/before-ordering-ireland", "diy", trials=1024).chance_within(1e6)
        1 ± 0
        """
        return self.engine.chance_within(amount)

    @property
    def lines(self) -> pd.DataFrame:
        """Lines and events, one row each: a unit stands in the name of every column that has one.

        Examples
        --------
        >>> found = simulate("scenarios/before-ordering-ireland", "diy", trials=1024).lines
        >>> list(found.columns)[3:]
        ['Base [EUR]', 'Mean [EUR]', 'P10 [EUR]', 'P50 [EUR]', 'P90 [EUR]', 'Share of the variance [%]']
        >>> round(found["Share of the variance [%]"].sum())
        100
        """
        import pandas as pd

        money = self.currency
        rows = [
            (
                line.id, line.title, line.group, line.kind, line.base, line.mean, line.p10, line.p50, line.p90,
                100 * line.variance_share,
            )
            for line in self.engine.lines
        ]  # fmt: skip
        columns = ["id", "Name", "Group", "Kind"]
        columns += [f"{name} [{money}]" for name in ("Base", "Mean", "P10", "P50", "P90")]
        frame = pd.DataFrame(rows, columns=[*columns, "Share of the variance [%]"])
        return frame.set_index("id")

    def plot(self, budget: float | None = None) -> alt.LayerChart:
        """Draw the chance that a sum is enough.

        Parameters
        ----------
        budget : float, optional
            A sum to draw beside; the build's own when left out.

        Examples
        --------
        >>> chart = simulate("scenarios/before-ordering-ireland", "diy", trials=1024).plot()
        >>> chart.to_dict()["title"]["text"]
        ['€14,100 is enough in 80 % of builds']
        """
        from forecast.views.charts.cost_charts import s_curve

        chart: alt.LayerChart = s_curve(self.engine, self.build.build.budget if budget is None else budget)
        return chart

    def __repr__(self) -> str:
        from forecast.words.money import about

        hold, money = self.percentile(0.8), self.currency
        scenario = f", scenario {self.scenario}" if self.scenario else ""
        return (
            f"{self.build.name}{scenario}: P80 {about(hold.value, money, hold.error)}, base estimate "
            f"{about(self.base_estimate, money)} ({self.engine.trials.count:,} trials)"
        )

    def _repr_html_(self) -> str:
        """Show the sentence and the curve; a notebook asks for it."""
        from forecast.views.sentences import above_middles, hold_sentence

        first, rest = hold_sentence(self.engine).split(": ", 1)
        return (
            f'<div style="max-width:44rem"><p><strong>{escape(first)}</strong>: {escape(rest)}</p>'
            f"{f'<p>{escape(why)}</p>' if (why := above_middles(self.engine)) else ''}"
            f"{curve(self.engine)}</div>"
        )


def simulate(
    build: AnyBuild,
    scenario: str | None = None,
    trials: int | Literal["until stable"] = engine.DEFAULT_TRIALS,
    seed: int = engine.DEFAULT_SEED,
    *,
    tolerance: float | None = None,
    known: KnownFacts | None = None,
    keep: Keep | None = None,
    executor: Executor | None = None,
) -> Forecast:
    """Forecast what a build costs from its ranges, as before anything is paid; `reforecast` counts receipts too.

    Parameters
    ----------
    build : Build, str or pathlib.Path
        Its folder or its file will do.
    scenario : str, optional
        Its id; the first of the file when left out.
    trials, seed, tolerance, known, keep, executor
        See `forecast.engine.forecast.simulate`.

    Examples
    --------
    >>> found = simulate("scenarios/before-ordering-ireland", trials=1024)
    >>> found.scenario, found.currency, round(found.base_estimate)
    ('diy', 'EUR', 9241)
    """
    whole = _build(build)
    return Forecast(
        whole,
        engine.simulate(
            whole, scenario, trials, seed, tolerance=tolerance, known=known, keep=keep, executor=executor
        ),
    )


def compare(
    build: AnyBuild,
    scenarios: Sequence[str] | None = None,
    trials: int = engine.DEFAULT_TRIALS,
    seed: int = engine.DEFAULT_SEED,
    known: Any = None,
) -> Comparison:
    """Compare scenarios of a build on the same draws; see `forecast.decide.scenarios.compare`.

    Examples
    --------
    >>> found = compare("scenarios/before-ordering-ireland", ["diy", "outsourced"], trials=1024)
    >>> [item.id for item in found.scenarios]
    ['diy', 'outsourced']
    """
    from forecast.decide import scenarios as ways

    return ways.compare(_build(build), scenarios, trials, seed, known)


def contingency(
    found: Forecast | AnyBuild,
    level: float | None = None,
    *,
    short: float | None = None,
    idle: float | None = None,
) -> Contingency:
    """Give how much to hold above the base estimate, and what that is for.

    Parameters
    ----------
    found : Forecast, or a build
    level : float, optional
        Share of builds that the money should be enough for; from the two answers, or 0.8, when left out.
    short, idle : float, optional
        What being short of some sum costs, and what the same sum lying idle costs.

    Examples
    --------
    >>> split = contingency("scenarios/before-ordering-ireland")
    >>> round(sum(float(part.amount) for part in split.lines) - float(split.amount), 6)
    0.0
    """
    from forecast.decide import contingency as holding

    shown = found if isinstance(found, Forecast) else simulate(found, keep="rows")
    names = {cause.id: cause.name or cause.id for cause in shown.build.cause}
    return holding.contingency(shown.engine, level, short=short, idle=idle, names=names)


def reforecast(
    build: AnyBuild,
    ledger: Ledger | None = None,
    scenario: str | None = None,
    trials: int = engine.DEFAULT_TRIALS,
    seed: int = engine.DEFAULT_SEED,
    as_of: dt.date | None = None,
) -> Reforecast:
    """Forecast the final cost given the receipts and all else that is known.

    Parameters
    ----------
    build : Build, str or pathlib.Path
    ledger : Ledger, optional
        What stands in the build's folder when left out.
    scenario, trials, seed, as_of
        See `forecast.watching.reforecast.reforecast`.

    Examples
    --------
    >>> watch = reforecast("scenarios/half-way-new-zealand", trials=1024)
    >>> watch.now.percentile(0.8) != watch.before.percentile(0.8)
    True
    """
    from forecast.watching import reforecast as watching

    whole = _build(build)
    known = open_ledger(build) if ledger is None else ledger
    return watching.reforecast(whole, known, scenario, trials, seed, as_of)


def moved(
    build: AnyBuild,
    since: dt.date | None = None,
    until: dt.date | None = None,
    scenario: str | None = None,
    *,
    ledger: Ledger | None = None,
) -> Moved:
    """Split how the forecast final cost moved between two days; see `forecast.watching.moved.what_moved`.

    Examples
    --------
    >>> found = moved("scenarios/half-way-new-zealand")
    >>> round(found.start.p80 + sum(part.change.p80 for part in found.parts) - found.end.p80)
    0
    """
    from forecast.watching.moved import what_moved

    known = open_ledger(build) if ledger is None else ledger
    return what_moved(_build(build), known, since, until, scenario)


def open_ledger(build: AnyBuild, *, to_enter: bool = False) -> Ledger:
    """Open the receipts of a build.

    Parameters
    ----------
    build : Build, str or pathlib.Path
    to_enter : bool
        Make a ledger where there is none yet. Else one without a file is as good as an empty one, and what stands
        beside the build as text is in it.

    Examples
    --------
    >>> len(open_ledger("scenarios/half-way-new-zealand").list_receipts())
    25
    """
    folder = _folder(build)
    return folder.ledger() if to_enter else folder.ledger_to_read()


def _build(build: AnyBuild) -> Build:
    return build if isinstance(build, Build) else read_build(build)


def _folder(build: AnyBuild) -> BuildFolder:
    from forecast.ledger.folder import BuildFolder

    place = file_of(build) if isinstance(build, Build) else build
    if place is None:
        message = (
            "the build was made of a text, so there is no folder with its receipts. Name the build's folder, or give "
            "a ledger."
        )
        raise SimulationError(message)
    return BuildFolder.at(place)
