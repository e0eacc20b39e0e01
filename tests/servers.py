"""What tests need that start a server."""

import socket

# When to give up on a process that is waited for. None takes nearly so long, but a machine with much to do may.
GIVE_UP_AFTER_S = 600


def free_port() -> int:
    """A port of this machine that nobody listens on."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])
