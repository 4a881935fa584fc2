"""A mail server and a web server of our own on loopback ports, for tests that send for real."""

from __future__ import annotations

import socketserver
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path


@dataclass
class MailSink:
    """What arrived, and what the server answers to each message."""

    port: int = 0
    received: list[bytes] = field(default_factory=list)
    recipients: list[str] = field(default_factory=list)
    answer: bytes = b"250 taken"
    recipient_answer: bytes = b"250 ok"
    hang_up: bool = False


class _Mail(socketserver.StreamRequestHandler):
    """Enough SMTP to take a message."""

    def say(self, line: bytes) -> None:
        self.wfile.write(line + b"\r\n")

    def handle(self) -> None:
        sink: MailSink = self.server.sink  # type: ignore[attr-defined]
        self.say(b"220 sink")
        while line := self.rfile.readline():
            word = line[:4].upper()
            if word == b"DATA":
                self.say(b"354 go on")
                if not self.take(sink):
                    return
            elif word == b"RCPT":
                sink.recipients.append(line.decode().strip())
                self.say(sink.recipient_answer)
            elif word == b"QUIT":
                self.say(b"221 bye")
                return
            else:
                self.say(b"250 ok")

    def take(self, sink: MailSink) -> bool:
        """Read a message; whether to go on talking."""
        lines = []
        while (line := self.rfile.readline()) != b".\r\n":
            if not line:
                return False
            lines.append(line[1:] if line.startswith(b"..") else line)
        if sink.answer.startswith(b"250"):
            sink.received.append(b"".join(lines))
        if sink.hang_up:
            return False
        self.say(sink.answer)
        return True


class _MailServer(socketserver.ThreadingTCPServer):
    allow_reuse_address = True
    daemon_threads = True


@contextmanager
def mail_sink() -> Iterator[MailSink]:
    """A mail server that keeps what it is given."""
    sink = MailSink()
    with _MailServer(("127.0.0.1", 0), _Mail) as server:
        server.sink = sink  # type: ignore[attr-defined]
        sink.port = server.server_address[1]
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        yield sink
        server.shutdown()


@dataclass
class WebSink:
    """What was posted, and what the server answers."""

    port: int = 0
    posts: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)
    status: int = 204
    location: str = ""


@contextmanager
def web_sink(certificate: Path | None = None) -> Iterator[WebSink]:
    """A server that keeps what is posted; with a certificate (and key) it speaks TLS."""
    sink = WebSink()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            length = int(self.headers.get("Content-Length", 0))
            sink.posts.append((self.path, dict(self.headers), self.rfile.read(length)))
            self.send_response(sink.status)
            if sink.location:
                self.send_header("Location", sink.location)
            self.end_headers()

        def log_message(self, *args: object) -> None:
            """Keep quiet."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    if certificate is not None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificate)
        server.socket = context.wrap_socket(server.socket, server_side=True)
    sink.port = server.server_address[1]
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    yield sink
    server.shutdown()
    server.server_close()
