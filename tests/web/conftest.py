"""A workbench on a real port, over an archive of its own."""

import socket
import threading
import time

import httpx
import pytest
import uvicorn

from wattproof.tasks import Workbench
from wattproof.web import WebSettings, create_app, tokens


class Server:
    """A workbench in a thread, and what a browser or a script would send to it."""

    def __init__(self, archive, **settings):
        listener = socket.create_server(("127.0.0.1", 0))
        self.port = listener.getsockname()[1]
        self.host = f"127.0.0.1:{self.port}"
        self.address = f"http://{self.host}"
        self.settings = WebSettings(
            archive=archive,
            secret=Workbench(archive).secret(),
            hosts=frozenset({self.host, f"localhost:{self.port}"}),
            **settings,
        )
        self.app = create_app(self.settings)
        config = uvicorn.Config(self.app, log_level="critical", ws_per_message_deflate=False)
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [listener]}, daemon=True)
        self._thread.start()
        while not self._server.started:
            time.sleep(0.01)

    def close(self):
        self._server.should_exit = True
        self._thread.join(10)

    def browser(self, **headers):
        """Give a client that keeps cookies and says where it comes from, as a browser does."""
        return httpx.Client(base_url=self.address, headers={"origin": self.address, **headers}, timeout=30)

    def script(self, **headers):
        """Give a client that brings the archive's token, as a script on this machine does."""
        said = {tokens.HEADER: tokens.script_token(self.settings.secret), **headers}
        return httpx.Client(base_url=self.address, headers=said, timeout=60)


@pytest.fixture
def server(tmp_path):
    started = []

    def start(archive=None, **settings):
        started.append(Server(archive or tmp_path / "archive", **settings))
        return started[-1]

    yield start
    for one in started:
        one.close()


@pytest.fixture(scope="module")
def module_server():
    started = []

    def start(archive, **settings):
        started.append(Server(archive, **settings))
        return started[-1]

    yield start
    for one in started:
        one.close()


@pytest.fixture
def browser(server):
    with server().browser() as client:
        yield client


@pytest.fixture
def page_of(chromium):
    """Open pages of a width; afterwards nothing may have been fetched from elsewhere, and no error told."""
    contexts, wrong = [], []

    def opened(width, *, height=900, **context):
        contexts.append(chromium.new_context(viewport={"width": width, "height": height}, **context))
        page = contexts[-1].new_page()
        page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("request", lambda asked: None if "//127.0.0.1:" in asked.url else wrong.append(asked.url))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert wrong == []
