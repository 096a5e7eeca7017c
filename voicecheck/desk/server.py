"""Serves the desk on the loopback address until it is ended."""

from __future__ import annotations

import datetime
import socket
from collections.abc import Callable, Mapping
from pathlib import Path

import uvicorn
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from voicecheck.desk.web import Desk, application
from voicecheck.errors import DeskNotWritable


def serve(
    folder: Path,
    port: int,
    known: Mapping[str, Ed25519PublicKey],
    write: Callable[[str], None],
) -> int:
    """Look through ``folder``, then serve until interrupted; the exit status.

    DeskNotWritable when the folder, the database or the port cannot be used.
    """
    desk = Desk(folder, known, lambda: datetime.datetime.now().astimezone())
    desk.sync()
    try:
        bound = socket.create_server(("127.0.0.1", port))
    except (OSError, OverflowError) as error:
        raise DeskNotWritable(
            f"Port {port} of this machine cannot be used: {error}.",
            "end the other desk, or choose another with --port",
        ) from error
    with bound:
        write(f"The desk is at http://127.0.0.1:{bound.getsockname()[1]}/ (end with Ctrl-C)")
        server = uvicorn.Server(
            uvicorn.Config(application(desk), log_level="warning", server_header=False)
        )
        server.run(sockets=[bound])
    return 0
