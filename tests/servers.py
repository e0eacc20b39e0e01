"""What tests need that start a server."""

import socket


def free_port() -> int:
    """A port of this machine that nobody listens on."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])
