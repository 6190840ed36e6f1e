"""The command palette: the key bindings of the current screen, the practice screen and the app."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from typing import Any

from textual.app import App
from textual.command import DiscoveryHit, Hit, Hits, Provider
from textual.content import Content
from textual.screen import Screen

from trainer.app.keys import KeyLine, key_lines
from trainer.app.places import PLACES
from trainer.app.screens.practice import PracticeScreen
from trainer.app.theme import CSS_PENS

WAYS = ("today", *(name for _, name, _, _ in PLACES))
"""Actions of the practice screen that open another screen."""
KEY_CELLS = 16
"""Width of the keys in cells."""


class KeyCommands(Provider):
    """Provides the bindings as commands, each in a line: its key and what it does."""

    async def discover(self) -> Hits:
        """Yield all commands, before anything is typed."""
        for line, owner in self._bindings():
            words = _words(line)
            yield DiscoveryHit(_with_key(line, Content(words)), self._run(line, owner), words)

    async def search(self, query: str) -> Hits:
        """Yield the commands that match a query."""
        matcher = self.matcher(query)
        for line, owner in self._bindings():
            words = _words(line)
            score = matcher.match(words)
            if score > 0:
                shown = _with_key(line, matcher.highlight(words))
                yield Hit(score, shown, self._run(line, owner), words)

    def _bindings(self) -> Iterator[tuple[KeyLine, Screen[Any] | App[Any]]]:
        """Yield each binding with the screen or app that runs its action.

        Above another screen, the practice screen has only its ways to further screens: nothing is
        played or changed where the player does not see it.
        """
        screens = self.app.screen_stack
        practice = next((screen for screen in screens if isinstance(screen, PracticeScreen)), None)
        owners: list[Screen[Any] | App[Any]] = [self.screen]
        if practice is not None and practice is not self.screen:
            owners.append(practice)
        seen = set()
        for owner in [*owners, self.app]:
            for line in key_lines(type(owner)):
                if owner is practice and owner is not self.screen and line.action not in WAYS:
                    continue
                if line.description not in seen:
                    seen.add(line.description)
                    yield line, owner

    def _run(self, line: KeyLine, owner: Screen[Any] | App[Any]) -> Callable[[], Awaitable[None]]:
        async def run() -> None:
            await self.app.run_action(line.action, owner)

        return run


def _words(line: KeyLine) -> str:
    return line.description[0].upper() + line.description[1:]


def _with_key(line: KeyLine, words: Content) -> Content:
    return Content.assemble((f"{line.keys:<{KEY_CELLS}} ", CSS_PENS["now"].color), words)
