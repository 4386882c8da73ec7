"""HTTPS in front of waitress, which speaks HTTP alone.

waitress stays behind it, because it hands only whole requests to its few threads: servers that
speak TLS themselves give a thread to whoever has begun a request (tests/bench/connections.py). This
front passes each request and each answer on while they come, at the pace of the slower side.
"""

import asyncio
import socket
import ssl
import threading
from functools import partial

import aiohttp
from aiohttp import web
from multidict import CIMultiDict
from yarl import URL

# Each says something of one connection only (RFC 9110, 7.6.1); the other side has its own.
_ONE_CONNECTION = {
    "connection",
    "keep-alive",
    "proxy-authenticate",
    "proxy-authorization",
    "proxy-connection",
    "te",
    "trailer",
    "transfer-encoding",
    "upgrade",
}
# A phone says "Expect" to this front; what it says of itself as a proxy is not believed.
_NOT_PASSED_ON = _ONE_CONNECTION | {"expect", "forwarded", "x-forwarded-for", "x-forwarded-proto"}
IDLE_SECONDS = 20
HANDSHAKE_SECONDS = 10
PIECE_BYTES = 64 * 1024


def open_port(host: str, port: int) -> socket.socket:
    """OSError where the port cannot be used."""
    return socket.create_server((host, port), backlog=256)


def serve(listening: socket.socket, context: ssl.SSLContext, *, inner: str) -> None:
    """In a thread of its own, until the program ends; ``inner`` is waitress' address."""
    threading.Thread(
        target=lambda: asyncio.run(_serve(listening, context, inner)), daemon=True, name="https"
    ).start()


async def _serve(listening: socket.socket, context: ssl.SSLContext, inner: str) -> None:
    async with aiohttp.ClientSession(
        # One connection for one request: a kept one might close just as it is used again.
        connector=aiohttp.TCPConnector(limit=0, force_close=True),
        timeout=aiohttp.ClientTimeout(total=None, sock_connect=10),
        cookie_jar=aiohttp.DummyCookieJar(),
        auto_decompress=False,
        skip_auto_headers=("User-Agent", "Accept", "Accept-Encoding", "Content-Type"),
    ) as session:
        application = web.Application()
        application.router.add_route("*", "/{path:.*}", partial(_pass_on, session, inner))
        runner = web.AppRunner(application, keepalive_timeout=IDLE_SECONDS, access_log=None)
        await runner.setup()
        await web.SockSite(runner, listening, ssl_context=context, backlog=256).start()
        await asyncio.Event().wait()


async def _pass_on(
    session: aiohttp.ClientSession, inner: str, request: web.Request
) -> web.StreamResponse:
    headers = _passed_on(request.headers, without=_NOT_PASSED_ON)
    headers["X-Forwarded-For"] = request.remote or ""
    headers["X-Forwarded-Proto"] = "https"
    try:
        answer = await session.request(
            request.method,
            URL(inner + request.raw_path, encoded=True),
            headers=headers,
            data=request.content if request.can_read_body else None,
            allow_redirects=False,
        )
    except aiohttp.ClientError:
        return web.Response(status=502, text="Flockcare does not answer. Try again in a minute.")
    async with answer:
        response = web.StreamResponse(
            status=answer.status,
            reason=answer.reason,
            headers=_passed_on(answer.headers, without=_ONE_CONNECTION),
        )
        await response.prepare(request)
        async for piece in answer.content.iter_chunked(PIECE_BYTES):
            await response.write(piece)
        await response.write_eof()
        return response


def _passed_on(headers, *, without: set[str]) -> CIMultiDict:
    """All but what is of one connection; a name can stand several times (cookies)."""
    named = {name.strip().lower() for name in headers.get("Connection", "").split(",")}
    return CIMultiDict(
        (name, value)
        for name, value in headers.items()
        if name.lower() not in without and name.lower() not in named
    )
