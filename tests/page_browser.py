"""The marking page as a person meets it: opened in a real browser, found by what it says."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from page_world import CHROMIUM, FLAGS, World

SHORT_MS = 10_000


@contextmanager
def chromium(*flags: str) -> Iterator[Any]:
    """A headless browser; the test is skipped where there is none."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("Debian's chromium is not installed")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=[*FLAGS, *flags])
        try:
            yield browser
        finally:
            browser.close()


class Person:
    """One page and what a person does on it. Every script error and refused request is remembered."""

    def __init__(self, context: Any, world: World, entrance: str | None = None) -> None:
        context.set_default_timeout(SHORT_MS)
        self.world, self.page = world, context.new_page()
        self.troubles: list[str] = []
        self.page.on("pageerror", lambda error: self.troubles.append(str(error)))
        self.page.on("console", lambda said: self.troubles.append(said.text) if said.type == "error" else None)
        self.page.goto(entrance or world.entrance)
        self.page.wait_for_url(f"{world.address}/")

    def sees(self, selector: str, words: str | re.Pattern[str]) -> None:
        from playwright.sync_api import expect

        expect(self.page.locator(selector)).to_contain_text(words, timeout=SHORT_MS)

    def counts(self, selector: str, number: int) -> None:
        from playwright.sync_api import expect

        expect(self.page.locator(selector)).to_have_count(number, timeout=SHORT_MS)

    def is_saved(self) -> None:
        from playwright.sync_api import expect

        expect(self.page.locator("#saved")).to_have_text("Saved", timeout=SHORT_MS)

    def on_screen(self, x: float, y: float) -> tuple[float, float]:
        """Where a point of the photo lies in the window."""
        box = self.page.locator("#stage").bounding_box()
        left, top, width, _ = self.view_box()
        scale = box["width"] / width
        return box["x"] + (x - left) * scale, box["y"] + (y - top) * scale

    def view_box(self) -> list[float]:
        return [float(number) for number in self.page.locator("#stage .photo").get_attribute("viewBox").split()]

    def click_photo(self, x: float, y: float) -> None:
        self.page.mouse.click(*self.on_screen(x, y))

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """From one point of the photo to another, with the mouse."""
        self.page.mouse.move(*self.on_screen(*start))
        self.page.mouse.down()
        self.page.mouse.move(*self.on_screen(*end), steps=6)
        self.page.mouse.up()

    def names(self, name: str) -> None:
        """Answer the sheet that asks what the new part is."""
        self.page.locator("#new-name").fill(name)
        self.page.keyboard.press("Enter")

    def leaves_unnamed(self) -> None:
        """Close that sheet without a name."""
        self.page.locator("#new-name").press("Escape")

    def card(self) -> None:
        """Open what the side pane tells of the photo's card."""
        self.page.get_by_role("button", name="Card and light", exact=True).click()

    def back(self) -> None:
        """From a part or the card back to the photo."""
        self.page.get_by_role("button", name="Back to the photo").click()

    def settings(self) -> None:
        """Unfold the settings of the build."""
        self.page.get_by_text("How close is alike").click()

    def verdict(self) -> None:
        """Open the verdict's line to sets, pairs and offers."""
        self.page.get_by_role("button", name="Pairs and offers").click()

    def tool(self, words: str) -> None:
        self.page.get_by_role("button", name=words, exact=True).click()

    def tab_to(self, words: str, most: int = 120) -> None:
        """Press Tab until the control of that name has the focus."""
        for _ in range(most):
            self.page.keyboard.press("Tab")
            if words in self.focused():
                return
        raise AssertionError(f"Tab never reached {words!r}")

    def waits_for_focus(self, ident: str) -> None:
        """Wait until the control of this id has the focus."""
        self.page.wait_for_function("(id) => document.activeElement.id === id", arg=ident, timeout=SHORT_MS)

    def focused(self) -> str:
        """What a screen reader would say of the control in focus, roughly."""
        return str(
            self.page.evaluate(
                """() => {
                    const node = document.activeElement;
                    if (node === document.body) return '';
                    const label = node.labels?.length ? node.labels[0].textContent : '';
                    return node.getAttribute('aria-label') ?? (label || node.id || node.textContent);
                }"""
            )
        )
