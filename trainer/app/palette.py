"""What the command palette finds: all that keys do on the screen in hand, and on the practice
screen, in the words of the help page."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from textual.app import App
from textual.command import DiscoveryHit, Hit, Hits, Provider
from textual.screen import Screen

from trainer.app.keys import KeyLine, key_lines
from trainer.app.screens.practice import PracticeScreen


class KeyCommands(Provider):
    """The commands."""

    async def discover(self) -> Hits:
        """All of them, before anything is typed."""
        for line, owner in self._found():
            yield DiscoveryHit(
                _words(line),
                lambda line=line, owner=owner: self._run(line, owner),
                help=f"key {line.keys}",
            )

    async def search(self, query: str) -> Hits:
        """Those that fit what is typed."""
        matcher = self.matcher(query)
        for line, owner in self._found():
            score = matcher.match(_words(line))
            if score > 0:
                yield Hit(
                    score,
                    matcher.highlight(_words(line)),
                    lambda line=line, owner=owner: self._run(line, owner),
                    help=f"key {line.keys}",
                )

    def _found(self) -> Iterator[tuple[KeyLine, Screen[Any] | App[Any]]]:
        """What can be done, and by whom; what the practice screen does is done there, over
        whatever lies on it."""
        screens = self.app.screen_stack
        practice = next((one for one in screens if isinstance(one, PracticeScreen)), None)
        owners: list[Screen[Any] | App[Any]] = [self.screen]
        if practice is not None and practice is not self.screen:
            owners.append(practice)
        seen = set()
        for owner in [*owners, self.app]:
            for line in key_lines(type(owner)):
                if line.words not in seen:
                    seen.add(line.words)
                    yield line, owner

    async def _run(self, line: KeyLine, owner: Screen[Any] | App[Any]) -> None:
        await self.app.run_action(line.action, owner)


def _words(line: KeyLine) -> str:
    return line.words[0].upper() + line.words[1:]
