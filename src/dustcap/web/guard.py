"""What every request passes first: the name it calls us by, its size, where a form came from, and the form's token.

Pages of other sites may send forms to a server on this machine. A form therefore carries a token that also lies in a
cookie which only our own pages get; a server that is started again keeps accepting pages that are still open.
"""

from __future__ import annotations

import hmac
import secrets
from html import escape
from http.cookies import CookieError, SimpleCookie
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import Header, Request
from starlette.datastructures import Headers, MutableHeaders, UploadFile
from starlette.responses import HTMLResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dustcap.errors import InputError

COOKIE = "dustcap_token"
FIELD = "token"
MOST_BYTES = 80_000_000
"""A stereo recording of two minutes at 96 kHz in 24 bit has 69 MB; a photograph less."""
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data: blob:; style-src 'self' 'unsafe-inline'; object-src 'none'; "
        "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
}


class Guard:
    """Refuses foreign host names, foreign forms and bodies without or with too large a size; sets the headers."""

    def __init__(self, app: ASGIApp, hosts: tuple[str, ...]) -> None:
        self.app, self.hosts = app, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refused = self._refusal(scope["method"], headers)
        if refused:
            await _refuse(*refused)(scope, receive, send)
            return
        token = _cookie(headers)
        scope["token"] = token or secrets.token_urlsafe(24)

        async def finish(message: Message) -> None:
            if message["type"] == "http.response.start":
                found = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    found.setdefault(name, value)
                if found.get("content-type", "").startswith("text/html"):
                    found["Cache-Control"] = "no-store"
                    if token is None and message["status"] == 200:  # with one page alone, not with all it is made of
                        found.append("Set-Cookie", f"{COOKIE}={scope['token']}; Path=/; HttpOnly; SameSite=Strict")
            await send(message)

        await self.app(scope, receive, finish)

    def _refusal(self, method: str, headers: Headers) -> tuple[int, str] | None:
        host = headers.get("host", "")
        if _name(host) not in self.hosts:
            return 421, "This server is not called by that name. Open it by the address that dustcap serve printed."
        if method in SAFE_METHODS:
            return None
        origin = headers.get("origin")
        if origin is not None and urlsplit(origin).netloc != host:
            return 403, "This form came from a page of another site. Nothing was saved."
        size = headers.get("content-length", "0" if method == "DELETE" else "")
        if not size.isdecimal():
            return 411, "The size of what is sent must be said. Nothing was saved."
        if int(size) > MOST_BYTES:
            return 413, f"That is larger than {MOST_BYTES // 1_000_000} MB. Nothing was saved."
        return None


async def checked(request: Request, x_dustcap_token: Annotated[str, Header(include_in_schema=False)] = "") -> None:
    """Dependency of every router: a change carries the token of one of our own pages, as a field or as a header.

    Raises
    ------
    InputError
        If it does not.
    """
    if request.method in SAFE_METHODS:
        return
    given: str | UploadFile | None = x_dustcap_token
    if not given:
        given = (await request.form()).get(FIELD)
    kept = _cookie(request.headers)
    same = kept is not None and isinstance(given, str) and hmac.compare_digest(given.encode(), kept.encode())
    if not same:
        raise InputError(
            "the page was opened before this browser had its token, or without cookies.",
            where="form",
            mend="Go back, load the page again and send it once more.",
        )


def _cookie(headers: Headers) -> str | None:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return None
    return found.value if found and len(found.value) >= 24 else None


def _name(host: str) -> str:
    """The name without its port."""
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0].lower()


def _refuse(status: int, line: str) -> HTMLResponse:
    title = "Refused"
    return HTMLResponse(
        f"<!doctype html><html lang=en><meta charset=utf-8><title>{title}</title><h1>{title}</h1><p>{escape(line)}</p>"
        "<p>The browser's way back leads to the form.</p>",
        status,
        headers=HEADERS,
    )
