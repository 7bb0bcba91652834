"""A running test followed: its logs looked at a few times a second, and if asked a page for this machine alone."""

from __future__ import annotations

import json
import os
import secrets
import threading
import time
from collections.abc import Iterator, Sequence
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from fesplice.contracts import FolderFault, InputFault
from fesplice.measured.live import NO_SAFETY, Live, Now
from fesplice.measured.rig import gauges_of, read_rig
from fesplice.post.prediction import Prediction
from fesplice.post.readings import gauge_table
from fesplice.report.live_page import live_page
from fesplice.report.prediction_page import runs_of
from fesplice.specimen import read
from fesplice.store.folder import reason

#: Seconds between two looks at the log.
EVERY = 0.25


def follow(
    logs: str | os.PathLike[str] | Sequence[str | os.PathLike[str]],
    prediction: str | os.PathLike[str],
    rig: str | os.PathLike[str],
) -> Live:
    """A running test of the specimen of a prediction, its channels as the rig file maps them; not yet read.

    ``logs``: the log, or those of several loggers, joined by time.

    Raises :class:`InputFault` for a faulty rig file, :class:`FolderFault` for a folder that holds no prediction.
    """
    home = Path(prediction)
    found = Prediction.read(home)
    side, top = runs_of(home, found)
    wanted, s = read_rig(rig), read(home / "specimen.toml")
    gauges = gauges_of(s, wanted, str(rig))
    table = gauge_table(s, tuple(gauges.values()), side, top)
    paths = [logs] if isinstance(logs, str | os.PathLike) else logs
    return Live([Path(path) for path in paths], wanted, s, found, table, str(rig))


def looks(live: Live, quiet: float | None = None, every: float = EVERY) -> Iterator[Now]:
    """What the screen shows, again and again; ends where no log has grown for ``quiet`` seconds (None: never)."""
    last, seen = time.monotonic(), -1
    try:
        while True:
            now = live.look()
            yield now
            if now.readings != seen:
                last, seen = time.monotonic(), now.readings
            elif quiet is not None and time.monotonic() - last >= quiet:
                yield live.look(last=True)
                return
            time.sleep(every)
    finally:
        live.close()


class Page:
    """The page of a running test at ``address``, to this machine alone; ``show`` what it tells from now on."""

    def __init__(self, live: Live, port: int = 0):
        nonce = secrets.token_urlsafe(16)
        html = live_page(live.specimen.name, live.found.sentence, NO_SAFETY, nonce).encode()
        held = {"/": (html, "text/html; charset=utf-8")}
        self._now = b"{}"
        page = self

        class Answer(BaseHTTPRequestHandler):
            """Two things to read, nothing to change; asked by another name than this machine's, nothing at all."""

            def do_GET(self) -> None:
                own = {f"127.0.0.1:{page.port}", f"localhost:{page.port}"}
                found = held.get(self.path) or ((page._now, "application/json") if self.path == "/now.json" else None)
                if self.headers.get("Host") not in own or found is None:
                    self.send_error(HTTPStatus.NOT_FOUND)
                    return
                body, kind = found
                self.send_response(HTTPStatus.OK)
                for name, value in (
                    ("Content-Type", kind), ("Content-Length", str(len(body))), ("Cache-Control", "no-store"),
                    ("X-Content-Type-Options", "nosniff"), ("Referrer-Policy", "no-referrer"),
                ):  # fmt: skip
                    self.send_header(name, value)
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: object) -> None:
                """Requests are not told on the screen of the test."""

        try:
            self._server = ThreadingHTTPServer(("127.0.0.1", port), Answer)
        except (OSError, OverflowError) as error:
            why = reason(error) if isinstance(error, OSError) else "a port lies between 0 and 65535"
            raise InputFault("watch", f"no page on port {port}: {why}") from error
        self._server.daemon_threads = True
        self.port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    @property
    def address(self) -> str:
        """Where the page stands."""
        return f"http://127.0.0.1:{self.port}/"

    def show(self, now: Now) -> None:
        """What the page tells from now on."""
        self._now = json.dumps(now.to_dict(), allow_nan=False).encode()

    def close(self) -> None:
        """Serve no more."""
        self._server.shutdown()
        self._server.server_close()


def there(logs: Sequence[str | os.PathLike[str]]) -> None:
    """Refuse a log that cannot become one: a folder, a place in a folder that is not there, one named twice."""
    for k, path in enumerate(map(Path, logs)):
        if path.is_dir():
            raise FolderFault(str(path), "is a folder; name the log that grows")
        if not path.parent.is_dir():
            raise FolderFault(str(path.parent), "no such folder: the log will not appear there")
        if path in map(Path, logs[:k]):
            raise InputFault(str(path), "is named twice")
