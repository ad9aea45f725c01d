"""What the site's builder calls: pages and pictures that the code makes are put among those that people write."""

from __future__ import annotations

from typing import Any

from mkdocs.structure.files import File, Files
from mkdocs.utils import get_relative_url

from docs.make import pictures, reference

# What the theme would fetch from elsewhere for pages that are opened from a folder, and what takes its place.
_FETCHED, _OURS = "https://unpkg.com/iframe-worker/shim", "frame-worker.js"


def on_files(files: Files, config: Any) -> Files:
    """Add what is made to what is there."""
    for path, make in reference.PAGES.items():
        files.append(File.generated(config, path, content=make()))
    for path, content in pictures.made().items():
        files.append(File.generated(config, path, content=content))
    return files


def on_post_page(output: str, page: Any, config: Any) -> str:
    """A page that fetches nothing."""
    return output.replace(_FETCHED, get_relative_url(_OURS, page.url))
