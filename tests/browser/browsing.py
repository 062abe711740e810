"""Opening pages as a person would, each watched: by role, by size of screen, in the light or in the dark."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from playwright.sync_api import Browser, Page, Response

from ops.demo_walk.people import PASSWORD
from ops.screens.browser import Look, new_context
from ops.screens.plant import DemoPlant, sign_in_name
from ops.screens.visit import open_page, sign_in
from tests.browser.watching import Watch

DESK = Look()


class Browsing:
    """Pages of one test, or of several that share them. Every context is watched; ``end`` closes them and tells what went wrong."""

    def __init__(self, browser: Browser, plant: DemoPlant, cookies: dict[str, Any]) -> None:
        """``cookies``: of roles that signed in at this plant before."""
        self.plant = plant
        self._browser = browser
        self._cookies = cookies
        self._watches: list[tuple[Page, Watch]] = []
        self._kept: dict[tuple[str, Look], Page] = {}

    def page(self, role: str = "", look: Look = DESK, refusals: Collection[int] = ()) -> Page:
        """An empty page of a fresh context, in which the person of a role has signed in; empty for nobody."""
        context = new_context(self._browser, self.plant.address, look, self._signed_in(role))
        page = context.new_page()
        self._watches.append((page, Watch(context, self.plant.address, refusals)))
        return page

    def open(self, address: str, role: str = "", look: Look = DESK, refusals: Collection[int] = ()) -> Page:
        """A page opened at an address of the plant, such as ``/ball/{unit}``, with all that its scripts fetch."""
        page = self.page(role, look, refusals)
        open_page(page, self.plant.at(address), scripts=look.scripts)
        return page

    def open_in_turn(self, address: str, role: str, look: Look, refusals: Collection[int] = ()) -> Page:
        """The same in the one page that a role has for a look, whichever it showed before; its answers are of this one alone.

        A context and its process cost more than a page.  What only a fresh one shows is no matter here.
        """
        page = self._kept.get((role, look)) or self._kept.setdefault((role, look), self.page(role, look))
        watch = self.watch_of(page)
        watch.refusals = set(refusals)
        watch.answers.clear()
        open_page(page, self.plant.at(address), scripts=look.scripts)
        return page

    def watch_of(self, page: Page) -> Watch:
        """What was noted of a page's context."""
        return next(watch for kept, watch in self._watches if kept is page)

    def answer_of(self, page: Page) -> Response:
        """The answer that a page is made of."""
        return next(one for one in self.watch_of(page).answers if one.request.is_navigation_request())

    def troubles(self) -> list[str]:
        """What went wrong in any page since this was asked last."""
        found = [trouble for _, watch in self._watches for trouble in watch.troubles]
        for _, watch in self._watches:
            watch.troubles.clear()
        return found

    def end(self) -> list[str]:
        """Close every page; the troubles of all."""
        for page, _ in self._watches:
            page.context.close()
        return self.troubles()

    def _signed_in(self, role: str) -> Any:
        """The cookies of a role, which signs in by the form once for all tests of a plant."""
        if not role:
            return None
        if role not in self._cookies:
            self._cookies[role] = sign_in(self._browser, self.plant.address, sign_in_name(role), PASSWORD)
        return self._cookies[role]
