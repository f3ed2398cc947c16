"""What lets a browser put the dashboard among the device's own programs: a manifest, and an icon of our own.

Web Application Manifest, W3C Working Draft, https://www.w3.org/TR/appmanifest/ (members and link relation from memory).
A page that a phone asks for over the home network is no secure context: some browsers then offer a bookmark on the home
screen and no more. Without the server nothing is shown: every figure is made by it.
"""

from __future__ import annotations

import json
from importlib import resources

MANIFEST, ICON, TOUCH_ICON = "/forecast.webmanifest", "/forecast-icon.svg", "/forecast-icon.png"

# The manifest of a page that is let in by a cookie is asked for with it.
LINKS = (
    f'<link rel="manifest" href="{MANIFEST}" crossorigin="use-credentials">'
    f'<link rel="apple-touch-icon" href="{TOUCH_ICON}">'
    '<meta name="theme-color" content="#0F6B6B">'
).encode()
"""What stands in the head of the first page."""


def _manifest() -> bytes:
    return json.dumps(
        {
            "id": "/",
            "name": "Forecast: what the conversion may cost",
            "short_name": "Forecast",
            "description": "What your car's body conversion may cost, and where it ends as receipts come in.",
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": "#FBFAF7",
            "theme_color": "#0F6B6B",
            "icons": [
                {"src": TOUCH_ICON, "sizes": "192x192", "type": "image/png", "purpose": "any"},
                {"src": ICON, "sizes": "any", "type": "image/svg+xml", "purpose": "any maskable"},
            ],
            "shortcuts": [{"name": "Enter a receipt", "url": "/receipts"}],
        }
    ).encode()


def files() -> dict[str, tuple[str, bytes]]:
    """Give what is answered at each of the paths: its type, and its bytes."""
    return {
        MANIFEST: ("application/manifest+json", _manifest()),
        ICON: ("image/svg+xml", resources.files("forecast.dashboard").joinpath("icon.svg").read_bytes()),
        TOUCH_ICON: ("image/png", resources.files("forecast.dashboard").joinpath("icon.png").read_bytes()),
    }


def with_links(page: bytes) -> bytes:
    """Give a first page with `LINKS` at the end of its head; any other page as it is."""
    return page.replace(b"</head>", LINKS + b"</head>", 1)


__all__ = ["ICON", "LINKS", "MANIFEST", "TOUCH_ICON", "files", "with_links"]
