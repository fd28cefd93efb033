"""The page's server: this machine alone, one browser, nothing loaded from elsewhere.

It listens on 127.0.0.1. The address that is printed holds a token that opens once: it is exchanged for a
cookie that scripts cannot read and other sites cannot send. Every request must name this server as its host,
and one that changes something must come from the page itself.
"""

from __future__ import annotations

import json
import secrets
import threading
from hmac import compare_digest
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

from setupopt.errors import UserError
from setupopt.explore.session import Session
from setupopt.explore.wish import Json

HOST = "127.0.0.1"
_MOST = 65_536  # bytes of a request
_PATIENCE = 60.0  # s that a connection may stay silent
_STATIC = Path(__file__).parent / "static"
_SHARED = Path(__file__).parents[1] / "report" / "page" / "page.css"
_FILES = {
    "/": (_STATIC / "page.html", "text/html"),
    "/page.js": (_STATIC / "page.js", "text/javascript"),
    "/page.css": (_STATIC / "page.css", "text/css"),
    "/report.css": (_SHARED, "text/css"),
    "/uPlot.js": (_STATIC / "uPlot.iife.min.js", "text/javascript"),
    "/uPlot.css": (_STATIC / "uPlot.min.css", "text/css"),
    "/uPlot-LICENSE.txt": (_STATIC / "uPlot-LICENSE.txt", "text/plain"),
}
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class ExploreServer(ThreadingHTTPServer):
    """The server of one project. `address`: what to open, once."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, session: Session, port: int = 0) -> None:
        super().__init__((HOST, port), _Handler)
        self.session = session
        self.names = {
            f"{name}:{self.server_port}" for name in (HOST, "localhost")
        }
        self._token: str | None = secrets.token_urlsafe(32)
        self.cookie = f"setupopt-{self.server_port}={secrets.token_urlsafe(32)}"
        self.address = f"http://{HOST}:{self.server_port}/?token={self._token}"
        self._lock = threading.Lock()

    def opens(self, token: str) -> bool:
        """Whether this is the token; it is used up then."""
        with self._lock:
            is_it = self._token is not None and compare_digest(
                self._token.encode(), token.encode()
            )
            if is_it:
                self._token = None
        return is_it

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that goes away is no error, and there is nobody to tell of others."""


class _Handler(BaseHTTPRequestHandler):
    server: ExploreServer
    protocol_version = "HTTP/1.1"
    server_version = "setupopt"
    sys_version = ""
    timeout = _PATIENCE
    disable_nagle_algorithm = True

    def log_message(self, format: str, *args: object) -> None:
        """The terminal stays quiet."""

    def do_GET(self) -> None:
        """The page and its files; with the token in the address a cookie, then the page."""
        asked = urlsplit(self.path)
        token = parse_qs(asked.query).get("token", [""])[0]
        if self._is_refused(has_token=bool(token)):
            return
        if (
            token
            and asked.path == "/"
            and (self.server.opens(token) or self._has_cookie())
        ):
            cookie = f"{self.server.cookie}; HttpOnly; SameSite=Strict; Path=/"
            self._send(
                HTTPStatus.SEE_OTHER,
                b"",
                "text/plain",
                {"Location": "/", "Set-Cookie": cookie},
            )
        elif not self._has_cookie():
            self._refuse(
                "this address was used up, or is not complete: start `setupopt explore` again"
            )
        elif asked.path in _FILES:
            path, kind = _FILES[asked.path]
            self._send(
                HTTPStatus.OK, path.read_bytes(), f"{kind}; charset=utf-8"
            )
        else:
            self._answer(
                HTTPStatus.NOT_FOUND, {"error": "there is no such page"}
            )

    def do_POST(self) -> None:
        """A question as JSON, and its answer as JSON; 400 where the question is refused."""
        if self._is_refused(has_token=False):
            return
        if self.headers.get("Origin") not in {
            f"http://{name}" for name in self.server.names
        }:
            self._refuse("asked from another page")
            return
        if not self._has_cookie():
            self._refuse("this browser did not open the page")
            return
        length = self.headers.get("Content-Length", "")
        is_json = self.headers.get_content_type() == "application/json"
        if not (is_json and length.isdigit() and int(length) <= _MOST):
            self._refuse(f"expected JSON of at most {_MOST} bytes")
            return
        try:
            asked = json.loads(self.rfile.read(int(length)))
            if not isinstance(asked, dict):
                raise UserError("expected a table of JSON")
            self._answer(
                HTTPStatus.OK, self.server.session.answer(self.path, asked)
            )
        except (
            UserError,
            json.JSONDecodeError,
            UnicodeDecodeError,
            RecursionError,
        ) as refused:
            self._answer(HTTPStatus.BAD_REQUEST, {"error": str(refused)})
        except KeyError:
            self._answer(
                HTTPStatus.NOT_FOUND, {"error": "there is no such question"}
            )

    def _is_refused(self, has_token: bool) -> bool:
        """Refuse other machines, and pages that call this server by another name."""
        own = (
            self.client_address[0] == HOST
            and self.headers.get("Host", "") in self.server.names
        )
        site = self.headers.get("Sec-Fetch-Site", "none")
        if own and (has_token or site in ("none", "same-origin")):
            return False
        self._refuse("only this machine's own page is served")
        return True

    def _has_cookie(self) -> bool:
        given = [
            part.strip() for part in self.headers.get("Cookie", "").split(";")
        ]
        return any(
            compare_digest(part.encode(), self.server.cookie.encode())
            for part in given
        )

    def _refuse(self, why: str) -> None:
        self.close_connection = True
        self._answer(HTTPStatus.FORBIDDEN, {"error": why})

    def _answer(self, status: HTTPStatus, answer: Json) -> None:
        body = json.dumps(
            answer, allow_nan=False, separators=(",", ":")
        ).encode()
        self._send(status, body, "application/json")

    def _send(
        self,
        status: HTTPStatus,
        body: bytes,
        kind: str,
        more: dict[str, str] | None = None,
    ) -> None:
        self.send_response(status)
        headers = {
            "Content-Type": kind,
            "Content-Length": str(len(body)),
            **_HEADERS,
            **(more or {}),
        }
        for name, value in headers.items():
            self.send_header(name, value)
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(body)
