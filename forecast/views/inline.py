"""The curve of a total as a small picture inside a page of HTML, drawn without a charting library."""

from __future__ import annotations

from html import escape

from forecast.engine import forecast as engine

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
