"""A page opened in the browser, with all that it does noted down, and what is measured in it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from playwright.sync_api import Browser, ConsoleMessage, Dialog, Page, Request

_SCRIPT = Path(__file__).with_name("looking.js").read_text(encoding="utf-8")

PHONE, TABLET, LAPTOP = 360, 768, 1280
"""Widths of a window in CSS pixels."""


@dataclass
class Visit:
    """A page that is open.

    Attributes:
        page: the page.
        url: its address.
        requests: addresses that were asked for, the page's own among them.
        trouble: failed requests, errors, and warnings and errors of the console.
        dialogs: what a script said in a dialog.
    """

    page: Page
    url: str
    requests: list[str] = field(default_factory=list)
    trouble: list[str] = field(default_factory=list)
    dialogs: list[str] = field(default_factory=list)

    def measured(self, what: str) -> Any:
        """Result of a function of looking.js."""
        return self.page.evaluate(f"{_SCRIPT}.{what}()")

    @contextmanager
    def wide(self, width: int) -> Iterator[None]:
        """Another width of the window, for a while."""
        size = self.page.viewport_size
        assert size is not None
        self.page.set_viewport_size({"width": width, "height": size["height"]})
        yield
        self.page.set_viewport_size(size)

    @contextmanager
    def tall(self, media: Literal["screen", "print"]) -> Iterator[None]:
        """A window as tall as the page in a medium, so that nothing lies below it, for a while."""
        size = self.page.viewport_size
        assert size is not None
        self.page.emulate_media(media=media)
        height = self.page.evaluate("document.documentElement.scrollHeight")
        self.page.set_viewport_size({"width": size["width"], "height": height})
        self.page.evaluate("window.scrollTo(0, 0)")
        yield
        self.page.set_viewport_size(size)
        self.page.emulate_media(media="screen")

    def _requested(self, request: Request) -> None:
        self.requests.append(request.url)

    def _said(self, message: ConsoleMessage) -> None:
        if message.type in {"warning", "error", "assert"}:
            self.trouble.append(f"console: {message.text}")

    def _asked(self, dialog: Dialog) -> None:
        self.dialogs.append(dialog.message)
        dialog.dismiss()


@contextmanager
def visit(browser: Browser, file: Path, width: int = LAPTOP, **options: Any) -> Iterator[Visit]:
    """Open a page in a context of its own.

    Args:
        browser: the browser.
        file: the page.
        width: of the window, CSS pixels.
        options: of the context.
    """
    context = browser.new_context(viewport={"width": width, "height": 800}, **options)
    try:
        found = Visit(context.new_page(), file.as_uri())
        context.on("request", found._requested)
        context.on("requestfailed", lambda request: found.trouble.append(f"failed: {request.url}"))
        context.on("weberror", lambda error: found.trouble.append(f"error: {error.error}"))
        context.on("console", found._said)
        context.on("dialog", found._asked)
        found.page.goto(found.url, wait_until="load")
        yield found
    finally:
        context.close()
