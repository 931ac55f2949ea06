"""A worker of the web server that is stopped while it still starts ends at once."""

from __future__ import annotations

import signal


def end_while_starting() -> None:
    """Let SIGTERM end this process, where it inherited that it is only noted.

    So does a worker of the web server, from its parent, until it serves and has a handler of its
    own; the parent would wait for it in vain.
    """
    inherited = getattr(signal.getsignal(signal.SIGTERM), "__qualname__", "")
    if inherited.endswith("signal_handler_interrupt"):
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
