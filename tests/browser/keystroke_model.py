"""The keystroke-level model: how long a practised person needs for a task that is typed without an error.

Card SK, Moran TP, Newell A, The keystroke-level model for user performance time with interactive systems,
Commun ACM 1980;23:396–410, doi:10.1145/358886.358895. Times from its table of operators (as quoted in later
texts; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

from playwright.sync_api import Page

KEY_SECONDS = 0.28  # K: an average typist who is no secretary, 40 words a minute
POINT_SECONDS = 1.10  # P: bring the mouse to a target
BUTTON_SECONDS = 0.20  # BB: press and release a mouse button
HAND_SECONDS = 0.40  # H: move a hand between keyboard and mouse
THINK_SECONDS = 1.35  # M: prepare the next thought


@dataclass
class Typist:
    """Does a task on a page and counts: one M before every value that is taken from the chart."""

    page: Page
    keys: int = 0
    thoughts: int = 0
    clicks: int = 0

    def click(self, selector: str) -> None:
        """Find a target, point at it, press, and take the hand back to the keys."""
        self.thoughts += 1
        self.clicks += 1
        self.page.locator(selector).first.click()

    def value(self, text: str) -> None:
        """Take one value from the chart and type it."""
        self.thoughts += 1
        self.type(text)

    def type(self, text: str) -> None:
        """Type without a thought of its own."""
        for key in text:
            self.keys += 1 + key.isupper()
            self.page.keyboard.press(key)

    def on(self, times: int = 1) -> None:
        """Enter: to the next field."""
        for _ in range(times):
            self.keys += 1
            self.page.keyboard.press("Enter")

    def save(self) -> None:
        """Ctrl and Enter, after a look over the page."""
        self.thoughts += 1
        self.keys += 2
        self.page.keyboard.press("Control+Enter")

    @property
    def seconds(self) -> float:
        """The model's time; waiting for the site is not in it."""
        mouse = self.clicks * (POINT_SECONDS + BUTTON_SECONDS + 2 * HAND_SECONDS)
        return self.keys * KEY_SECONDS + self.thoughts * THINK_SECONDS + mouse
