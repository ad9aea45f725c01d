"""The documentation as a reader opens it from a folder: nothing is fetched, nothing overflows, search finds, axe is content."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page_browser import chromium
from pages import PROJECT

pytestmark = pytest.mark.proof
LOOKED_AT = ("index.html", "start/index.html", "how-to/photograph.html", "reference/build-file.html", "gallery.html")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built as `make docs` builds it: a broken link or picture ends it."""
    folder = tmp_path_factory.mktemp("site")
    words = ["build", "--quiet", "--strict", "--config-file", "docs/mkdocs.yml", "--site-dir", str(folder)]
    environment = {**os.environ, "NO_MKDOCS_2_WARNING": "1", "PYTHONPATH": str(PROJECT)}
    done = subprocess.run(
        [sys.executable, "-m", "mkdocs", *words],
        cwd=PROJECT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as launched:
        yield launched


@pytest.mark.parametrize("wide", [1280, 390])
def test_pages_fetch_nothing_and_fit_the_window(site: Path, browser: Any, wide: int) -> None:
    page = browser.new_page(viewport={"width": wide, "height": 900})
    fetched: list[str] = []
    page.on("request", lambda request: fetched.append(request.url) if request.url.startswith("http") else None)
    paths = [str(path.relative_to(site)) for path in sorted(site.rglob("*.html")) if path.name != "404.html"]
    assert len(paths) > 25
    for path in paths:
        page.goto((site / path).as_uri())
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), path
        broken = page.evaluate(
            "[...document.images].filter(one => one.complete && !one.naturalWidth).map(one => one.src)"
        )
        assert broken == [], path
    assert fetched == []
    page.close()


def test_search_finds_a_code_in_pages_opened_from_a_folder(site: Path, browser: Any) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto((site / "reference" / "commands.html").as_uri())
    page.locator("input.md-search__input").click()
    page.keyboard.type("part_clipped", delay=30)
    found = page.locator("a.md-search-result__link").first
    found.wait_for(timeout=20_000)
    assert any(page_ in (found.get_attribute("href") or "") for page_ in ("codes.html", "photograph.html"))
    page.close()


@pytest.mark.parametrize("path", LOOKED_AT)
def test_axe_finds_nothing_in_what_is_written(site: Path, browser: Any, path: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto((site / path).as_uri())
    found = axe.Axe().run(page, context="article", options={"runOnly": ["wcag2a", "wcag2aa"]})
    told = [(one["id"], [node["html"][:200] for node in one["nodes"]][:2]) for one in found.response["violations"]]
    assert told == []
    page.close()
