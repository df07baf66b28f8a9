"""A browser for the page's tests, and what they ask of it."""

from __future__ import annotations

from contextlib import contextmanager

from playwright.sync_api import Page, sync_playwright

CHROMIUM = "/usr/bin/chromium"
SWITCHES = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]


@contextmanager
def browser():
    """A browser without windows."""
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
        try:
            yield running
        finally:
            running.close()


def opened(context, address: str) -> Page:
    """Open the page in a new tab; what goes wrong in its scripts fails the test at `settled`."""
    tab = context.new_page()
    tab.troubles = []
    tab.on("pageerror", lambda error: tab.troubles.append(str(error)))
    tab.on("console", lambda told: told.type == "error" and tab.troubles.append(told.text))
    tab.on("request", lambda asked: tab.troubles.append(f"asked for {asked.url}")
           if not asked.url.startswith(address.split("?", maxsplit=1)[0]) else None)  # fmt: skip
    tab.goto(address)
    tab.wait_for_selector("body[data-ready]")
    return tab


def told(tab: Page) -> str:
    """Give what was read out last."""
    return tab.locator("#told").inner_text()


def wait_told(tab: Page, words: str) -> None:
    """Wait until these words are read out."""
    tab.wait_for_function("words => document.getElementById('told').textContent.includes(words)",
                          arg=words, timeout=15_000)


def now(tab: Page) -> str:
    """Give the label of the find that is looked at."""
    return tab.locator(".lists li.now").first.get_attribute("data-label")
