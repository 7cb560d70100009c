"""Serving: the socket, the certificate, the code for the phone, and a quiet end."""

from __future__ import annotations

import socket
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pitchcam.errors import UsageError
from pitchcam.page.access import Access
from pitchcam.page.setup import Setup

if TYPE_CHECKING:
    from starlette.applications import Starlette

Tell = Callable[[str], None]

#: Connections at once: a dozen phones, each with a stream of steps and six for pictures.
_CONNECTIONS = 200


def serve(setup: Setup, port: int, tell: Tell) -> None:
    """Serve the page until it is stopped.

    Parameters
    ----------
    setup
        Folders, limits, and whether the local network may reach it.
    port
        The port; 0 takes a free one.
    tell
        Called with each line for the terminal.

    Raises
    ------
    UsageError
        If the port is taken, or the folders cannot be made.
    """
    import uvicorn

    setup.make_folders()
    with _socket("0.0.0.0" if setup.lan else "127.0.0.1", port) as listening:  # noqa: S104
        port = listening.getsockname()[1]
        app, options = _reach(setup, port, tell)
        config = uvicorn.Config(
            app,
            log_level="error",
            access_log=False,
            server_header=False,
            lifespan="on",
            timeout_keep_alive=10,
            timeout_graceful_shutdown=2,
            limit_concurrency=_CONNECTIONS,
            **options,
        )
        uvicorn.Server(config).run(sockets=[listening])


def _reach(setup: Setup, port: int, tell: Tell) -> tuple[Starlette, dict[str, Any]]:
    """Return the application and how it is served: here only, or to paired browsers over TLS."""
    from pitchcam.page.app import make_app

    if not setup.lan:
        app = make_app(setup)
        tell(
            f"pitchcam is at http://127.0.0.1:{port}, for this computer only. "
            "Stop it with Ctrl-C; for a phone start it with --lan."
        )
        return app, {}
    from pitchcam.page import tls

    own = socket.gethostname()
    names = [*tls.lan_addresses(), "localhost", "127.0.0.1", own, f"{own}.local"]
    setup = replace(setup, hosts=(*setup.hosts, *names))
    cert, key = tls.certificate(setup.folder, list(dict.fromkeys(names)))
    access = Access(setup.folder / "browsers.json")
    address = f"https://{names[0]}:{port}"
    app = make_app(setup, access, lambda: _show_code(access, address, tell))
    tell(f"pitchcam is at {address} for paired browsers. Stop it with Ctrl-C.")
    tell(tls.WHY)
    _show_code(access, address, tell)
    return app, {"ssl_certfile": str(cert), "ssl_keyfile": str(key)}


def _socket(host: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen(128)  # who comes before the server is ready waits
    except OSError as error:
        listening.close()
        raise UsageError(
            f"port {port} cannot be taken ({error.strerror}).", "Name another with --port."
        ) from error
    return listening


def _show_code(access: Access, address: str, tell: Tell) -> None:
    """Show the code that pairs one more browser."""
    import segno

    pairing = f"{address}/pair/{access.offer()}"
    tell("Pair a browser with this code; it works once:")
    if sys.stdout.isatty():
        segno.make(pairing, error="l").terminal(compact=True)
    tell(pairing)
