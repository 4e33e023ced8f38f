"""A wire to the board that can be cut or fall silent: a TCP forwarder whose connections end, or never do."""

import socket
import threading
from contextlib import suppress


class Wire:
    """Listens on a port of its own and passes everything on. `cut` ends what is under way too.

    `hush` leaves what is under way half-open: what either side sends is gone, its end (FIN, RST) too.
    """

    def __init__(self, port: int) -> None:
        self._to = ("127.0.0.1", port)
        self._lock = threading.Lock()
        self._open: list[socket.socket] = []
        self._hushed: set[socket.socket] = set()
        self._listener: socket.socket | None = None
        self.port = 0
        self.mend()

    @property
    def address(self) -> str:
        """Where a phone reaches the board by this wire."""
        return f"http://127.0.0.1:{self.port}"

    def mend(self) -> None:
        """Let everything through, on the same port as before."""
        listener = socket.create_server(("127.0.0.1", self.port))
        self.port = listener.getsockname()[1]
        self._listener = listener
        threading.Thread(target=self._serve, args=(listener,), daemon=True).start()

    def cut(self) -> None:
        """End every connection and take no new one."""
        with self._lock:
            ends, self._open = [*self._open, *filter(None, [self._listener])], []
            self._listener = None
        for end in ends:
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def hush(self) -> None:
        """Let no more through of what is under way, and tell neither side. New connections pass."""
        with self._lock:
            self._hushed.update(self._open)

    def _serve(self, listener: socket.socket) -> None:
        with suppress(OSError):
            while True:
                phone, _ = listener.accept()
                try:
                    board = socket.create_connection(self._to)
                except OSError:
                    phone.close()
                    continue
                with self._lock:
                    if self._listener is not listener:  # cut meanwhile: nobody would close these
                        phone.close()
                        board.close()
                        return
                    self._open += [phone, board]
                for one, other in ((phone, board), (board, phone)):
                    threading.Thread(target=self._pass_on, args=(one, other), daemon=True).start()

    def _pass_on(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while data := one.recv(65536):
                if one not in self._hushed:
                    other.sendall(data)
        if one not in self._hushed:
            with suppress(OSError):
                other.shutdown(socket.SHUT_WR)
