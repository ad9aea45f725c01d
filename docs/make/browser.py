"""Pictures of what a person sees in a browser: the marking page, and reports."""

from __future__ import annotations

import json
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
)
SIZE = {"width": 1280, "height": 800}
LONGEST_S = 60


@contextmanager
def chromium() -> Iterator[Any]:
    """A headless browser, the system's own."""
    from playwright.sync_api import sync_playwright

    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        raise SystemExit("The documentation's pictures need Chromium: install it (Debian: apt-get install chromium)")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


def marking_page(build: Path) -> bytes:
    """The marking page of a build file, as `finishmatch mark` serves it, once its verdict is there; a PNG file."""
    from playwright.sync_api import expect

    with _served(build) as address, chromium() as browser:
        page = browser.new_page(viewport=SIZE)
        page.goto(address)
        expect(page.locator("#live-body")).to_contain_text(re.compile(r"\w{4}"), timeout=LONGEST_S * 1000)
        page.wait_for_load_state("networkidle")
        picture: bytes = page.screenshot()
    return picture


@contextmanager
def _served(build: Path) -> Iterator[str]:
    command = [sys.executable, "-m", "finishmatch", "mark", str(build), "--no-browser", "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
        assert process.stdout is not None
        try:
            yield json.loads(process.stdout.readline())["address"]
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(LONGEST_S)
