"""A receiver for the clean root, of the standard library alone: `receiver.py PORT FILE` keeps each body."""

import http.server
import sys
from pathlib import Path


class Keep(http.server.BaseHTTPRequestHandler):
    """Says 200 to all."""

    def do_POST(self) -> None:
        with Path(sys.argv[2]).open("ab") as file:
            file.write(self.rfile.read(int(self.headers["Content-Length"])) + b"\n")
        self.send_response(200)
        self.end_headers()


if __name__ == "__main__":
    http.server.ThreadingHTTPServer(("127.0.0.1", int(sys.argv[1])), Keep).serve_forever()
