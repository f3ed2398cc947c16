"""Phones in the builder's own network: each is let in once, by a code that stands in the terminal."""

from __future__ import annotations

import asyncio
import hmac
import io
import secrets
import sys
from collections.abc import Callable, Sequence
from html import escape

COOKIE = "forecast-phone"
ENTER = "/let-me-in"
"""Where the form with the code is sent."""
LONGEST_FORM = 500
"""Bytes."""
TRIES = 5
"""Wrong codes before a new one is made."""
_DIGITS = 8
_PAUSE = 1.0
"""Seconds that every try takes, one after the other: a hundred million codes would take years."""
_MOST_WAITING = 5
_STYLE = """
body { font: 16px/1.5 sans-serif; color: #1e2326; background: #fbfaf7; margin: 3rem auto;
       max-width: 24rem; padding: 0 1rem; }
h1 { font-size: 1.5rem; } label, input, button { display: block; width: 100%; box-sizing: border-box; font: inherit; }
input { font-size: 1.5rem; letter-spacing: 0.1em; padding: 0.5rem; margin: 0.3rem 0 1rem; border: 1px solid #6b7275; }
button { padding: 0.7rem; border: 0; background: #0f6b6b; color: #fff; }
"""


class Phones:
    """The code that lets one phone in, and the phones that are in.

    Parameters
    ----------
    addresses : callable
        Gives this machine's addresses in its networks, the likeliest first.
    port : int
    tell : callable, optional
        Says something to the builder; prints it when left out.
    pause : float
        Seconds that a try takes.
    """

    def __init__(
        self,
        addresses: Callable[[], Sequence[str]],
        port: int,
        tell: Callable[[str], None] | None = None,
        pause: float = _PAUSE,
    ) -> None:
        self._addresses, self._port = addresses, port
        self._tell = tell if tell is not None else _print
        self._pause = pause
        self._tokens: list[bytes] = []
        self._turn = asyncio.Lock()
        self._waiting = 0
        self._renew()

    def _renew(self) -> None:
        self.code = f"{secrets.randbelow(10**_DIGITS):0{_DIGITS}}"
        self._left = TRIES

    def announce(self) -> None:
        """Say where the phone goes and with which code, as words and as a picture for its camera."""
        addresses = self._addresses()
        code = f"{self.code[:4]} {self.code[4:]}"
        if not addresses:
            self._tell(
                "This machine is in no network, so no phone can reach it. Join your own network and start again."
            )
            return
        first, *others = (f"http://{address}:{self._port}" for address in addresses)
        where = f"{first} (or {', '.join(others)})" if others else first
        picture = _picture(f"{first}/?code={self.code}")
        how = "point its camera at this picture, or " if picture else ""
        self._tell(
            f"{picture}On a phone in the same network {how}open {where} and enter the code {code}.\n"
            "It lets one phone in, which can then see and change everything here while this runs. What is sent is not "
            "encrypted: use it in your own network only."
        )

    def knows(self, token: str) -> bool:
        """Tell whether a phone was let in."""
        given = token.encode("utf-8", "replace")
        return any(hmac.compare_digest(given, known) for known in self._tokens)

    async def enter(self, entered: str, who: str) -> tuple[str | None, str]:
        """Hold what a phone entered against the code.

        Parameters
        ----------
        entered : str
            Digits.
        who : str
            Its address.

        Returns
        -------
        tuple
            What the phone is known by from now on, or None and what is said to it.
        """
        if self._waiting >= _MOST_WAITING:
            return None, "Too many codes are being tried. Wait a minute."
        self._waiting += 1
        try:
            async with self._turn:
                await asyncio.sleep(self._pause)
                return self._compare(entered, who)
        finally:
            self._waiting -= 1

    def _compare(self, entered: str, who: str) -> tuple[str | None, str]:
        if hmac.compare_digest(entered.encode(), self.code.encode()):
            token = secrets.token_urlsafe(32)
            self._tokens.append(token.encode())
            self._renew()
            self._tell(
                f"A phone came in, from {who}. If that was not yours, stop this with Ctrl-C. For another phone:"
            )
            self.announce()
            return token, ""
        self._left -= 1
        if self._left:
            tries = "try is" if self._left == 1 else "tries are"
            return None, f"That is not the code. {self._left} {tries} left."
        self._renew()
        self._tell(f"A wrong code was entered {TRIES} times, the last from {who}. The code is a new one now:")
        self.announce()
        return None, "That is not the code, for the fifth time. A new one stands in the terminal now."


def _print(said: str) -> None:
    encoding = sys.stdout.encoding or "ascii"
    print(said.encode(encoding, "replace").decode(encoding), flush=True)


def _picture(address: str) -> str:
    """Draw an address for a phone's camera; nothing where the terminal cannot show it."""
    import segno  # loaded late: only a server for phones draws

    drawn = io.StringIO()
    segno.make(address, error="l", micro=False).terminal(out=drawn, compact=True, border=2)
    picture = drawn.getvalue()
    try:
        picture.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return ""
    return picture if sys.stdout.isatty() else ""


def _page(title: str, body: str) -> str:
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Forecast</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{_STYLE}</style></head>'
        f"<body><main><h1>{escape(title)}</h1>{body}</main></body></html>"
    )


def code_page(said: str, code: str = "") -> str:
    """Give the page that asks for the code.

    Parameters
    ----------
    said : str
        What was wrong with the last one.
    code : str
        Digits that stand in the field already.
    """
    told = f'<p role="alert">{escape(said)}</p>' if said else ""
    return _page(
        "Enter the code",
        f"{told}<p>It stands in the terminal in which the dashboard was started.</p>"
        f'<form method="post" action="{ENTER}"><label for="code">Code</label>'
        '<input id="code" name="code" inputmode="numeric" autocomplete="one-time-code" autofocus required '
        f'value="{escape(code)}"><button>Open the dashboard</button></form>',
    )


def refused_page(said: str) -> str:
    """Give the page that says why somebody is not let in."""
    return _page("The dashboard does not answer here", f"<p>{escape(said)}</p>")
