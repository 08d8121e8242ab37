"""A loopback server with the v2 write API whose answers a test scripts; it keeps the lines it accepted."""

import gzip
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class ScriptedServer:
    """Answer each write by the next of `script` (status, headers), then by 204; `accept` may judge lines.

    `accept(line) -> bool` None takes every line. A request with a refused line is answered 400 as a partial
    write: its good lines are kept, as the v2 API does.
    """

    def __init__(self, script=(), accept=None, lines_max=None):
        self.script, self.accept, self.lines_max = list(script), accept, lines_max
        self.lines, self.requests, self.paths, self.packed = [], 0, [], 0
        outer = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self):
                body = self.rfile.read(int(self.headers["Content-Length"]))
                if self.headers.get("Content-Encoding") == "gzip":
                    body = gzip.decompress(body)
                    outer.packed += 1
                status, headers = outer.answer(self.path, body.decode().split("\n"))
                self.send_response(status)
                for name, value in headers.items():
                    self.send_header(name, value)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *arguments):
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_port}"
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    def answer(self, path, lines):
        self.requests += 1
        self.paths.append(path)
        if self.script:
            return self.script.pop(0)
        if self.lines_max is not None and len(lines) > self.lines_max:
            return 413, {}
        good = [line for line in lines if self.accept is None or self.accept(line)]
        self.lines += good
        return (204, {}) if len(good) == len(lines) else (400, {})

    def close(self):
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
