"""Who may ask, and what a page may do: this machine, this page, and nothing from elsewhere."""

from __future__ import annotations

from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

PAGE_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
KEPT_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'; sandbox allow-popups"
)
"""Saved pages carry their style within them; they run no script and reach nothing."""
HEADERS: Final = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}


class Guard:
    """Refuses what was not asked by this page, and says in each answer what the page may load.

    Parameters
    ----------
    app : ASGI application
    hosts : frozenset of str
        Values of the Host header that are this server. A name that another site points at this machine is none.
    """

    def __init__(self, app: ASGIApp, hosts: frozenset[str]) -> None:
        self.app, self.hosts = app, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                headers.setdefault("content-security-policy", PAGE_POLICY)
            await send(message)

        problem = self.problem(scope["method"], Headers(scope=scope))
        if problem:
            await PlainTextResponse(problem, status_code=403)(scope, receive, guarded)
        else:
            await self.app(scope, receive, guarded)

    def problem(self, method: str, headers: Headers) -> str:
        """Why a request is refused; empty for one that is not."""
        host = headers.get("host", "")
        if host not in self.hosts:
            return "This page answers at 127.0.0.1 only."
        site = headers.get("sec-fetch-site", "same-origin")
        opened = method == "GET" and headers.get("sec-fetch-mode") == "navigate"
        if site not in ("same-origin", "none") and not opened:
            return "Asked by another page."
        if method not in ("GET", "HEAD") and headers.get("origin") != f"http://{host}":
            return "Asked by another page."
        return ""
