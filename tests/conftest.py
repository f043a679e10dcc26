"""What tests of several rooms share: one real browser, for a process can hold no two of them."""

import shutil

import pytest

QUIET = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)


@pytest.fixture(scope="session")
def chromium():
    """A real browser, which fetches nothing of its own."""
    program = shutil.which("chromium")
    if not program:
        pytest.skip("there is no chromium on this machine")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=program, args=[*QUIET])
        yield opened
        opened.close()
