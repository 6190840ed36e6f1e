"""The command palette: the key bindings of the current screen, the practice screen and the app."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from textual.app import App
from textual.command import DiscoveryHit, Hit, Hits, Provider
from textual.screen import Screen

from trainer.app.keys import KeyLine, key_lines
from trainer.app.screens.practice import PracticeScreen


class KeyCommands(Provider):
    """Provides the bindings as commands."""

    async def discover(self) -> Hits:
        """Yield all commands, before anything is typed."""
        for line, owner in self._bindings():
            yield DiscoveryHit(
                _words(line),
                lambda line=line, owner=owner: self._run(line, owner),
                help=f"key {line.keys}",
            )

    async def search(self, query: str) -> Hits:
        """Yield the commands that match a query."""
        matcher = self.matcher(query)
        for line, owner in self._bindings():
            score = matcher.match(_words(line))
            if score > 0:
                yield Hit(
                    score,
                    matcher.highlight(_words(line)),
                    lambda line=line, owner=owner: self._run(line, owner),
                    help=f"key {line.keys}",
                )

    def _bindings(self) -> Iterator[tuple[KeyLine, Screen[Any] | App[Any]]]:
        """Yield each binding with the screen or app that runs its action.

        Actions of the practice screen run on it, whatever screen lies above.
        """
        screens = self.app.screen_stack
        practice = next((screen for screen in screens if isinstance(screen, PracticeScreen)), None)
        owners: list[Screen[Any] | App[Any]] = [self.screen]
        if practice is not None and practice is not self.screen:
            owners.append(practice)
        seen = set()
        for owner in [*owners, self.app]:
            for line in key_lines(type(owner)):
                if line.description not in seen:
                    seen.add(line.description)
                    yield line, owner

    async def _run(self, line: KeyLine, owner: Screen[Any] | App[Any]) -> None:
        await self.app.run_action(line.action, owner)


def _words(line: KeyLine) -> str:
    return line.description[0].upper() + line.description[1:]
