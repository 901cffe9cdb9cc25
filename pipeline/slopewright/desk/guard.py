"""Who may speak to the server: this machine's browser, with the opening address's token, from our page.

A page of another origin can send requests to a local port, and a name of another site can be pointed at it
(DNS rebinding); so the address, the token and, for all that changes something, the origin are checked.

References
----------
.. [1] RFC 6265, 5.2; W3C, Content Security Policy Level 3; W3C, Fetch Metadata Request Headers.
"""

from __future__ import annotations

import hmac
import os
import secrets
from pathlib import Path
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

TOKEN_FILE = "token"
READING = frozenset({"GET", "HEAD"})
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self';"
    " frame-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'self'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-cache",
}
MOST_JSON_BYTES = 32 * 2**20  # of a request that is no file: forms, marks, tables
CLOSED = "Open the address that `slopewright desk` printed: it holds the key to this page.\n"


def make_token(desk_folder: Path) -> str:
    """The token of a jobs folder, readable by its owner alone: a page that is open outlives the server."""
    path = desk_folder / TOKEN_FILE
    if path.exists() and len(found := path.read_text().strip()) >= 32:
        return found
    token = secrets.token_urlsafe(32)
    path.unlink(missing_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as stream:
        stream.write(token)
    return token


class Guard:
    """Lets requests through that come from our page, and adds the headers that keep it ours."""

    def __init__(self, app: ASGIApp, *, token: str, port: int) -> None:
        self._app, self._token = app, token
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.cookie = f"slopewright_{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        answer = self._answer(scope)
        await (answer or self._app)(scope, receive, guarded)

    def _answer(self, scope: Scope) -> ASGIApp | None:
        """What to say instead of the page; None lets the request through."""
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if host not in self._hosts:
            return PlainTextResponse("This server answers to its own address only.\n", 421)
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if scope["path"] == "/" and scope["method"] == "GET" and given:
            return self._opening(given)
        if not self._knows(headers.get("cookie", "")):
            return PlainTextResponse(CLOSED, 401)
        own = f"http://{host}"
        if scope["method"] not in READING and headers.get("origin") != own:
            return PlainTextResponse("Changes are taken from the desk's own page only.\n", 403)
        if headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
            return PlainTextResponse("Asked for by another site.\n", 403)
        if scope["method"] not in READING and "/files/" not in scope["path"]:
            length = headers.get("content-length", "0")
            if "transfer-encoding" in headers or not length.isdigit() or int(length) > MOST_JSON_BYTES:
                return PlainTextResponse("Too large for a form.\n", 413)
        return None

    def _opening(self, given: str) -> ASGIApp:
        if not hmac.compare_digest(given.encode(), self._token.encode()):
            return PlainTextResponse(CLOSED, 401)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(self.cookie, self._token, httponly=True, samesite="strict", path="/")
        return answer

    def _knows(self, cookies: str) -> bool:
        pairs = (pair.strip().partition("=") for pair in cookies.split(";"))
        values = [value for name, _, value in pairs if name == self.cookie]
        return any(hmac.compare_digest(value.encode(), self._token.encode()) for value in values)
