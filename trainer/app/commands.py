"""What the command palette finds: all that keys do on the practice screen, in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from textual.command import DiscoveryHit, Hit, Hits, Provider
from textual.screen import Screen

from trainer.app.screens.help import KEYS
from trainer.app.screens.practice import PracticeScreen

ACTIONS = {
    "space": "play",
    "r": "again",
    "l": "loop",
    "t": "today",
    "s": "shelf",
    "i": "listen",
    "g": "progress",
    "h": "harps",
    ",": "settings",
    "m": "guide",
    "?": "app.help",
    "q": "app.quit",
}
"""Keys of the help page that do one thing, and what they do."""


class Everything(Provider):
    """The commands, told by the words of the help page."""

    async def discover(self) -> Hits:
        """All of them, before anything is typed."""
        for key, words, action in self._found():
            yield DiscoveryHit(words, lambda action=action: self._run(action), help=f"key {key}")

    async def search(self, query: str) -> Hits:
        """Those that fit what is typed."""
        matcher = self.matcher(query)
        for key, words, action in self._found():
            score = matcher.match(words)
            if score > 0:
                yield Hit(
                    score,
                    matcher.highlight(words),
                    lambda action=action: self._run(action),
                    help=f"key {key}",
                )

    def _found(self) -> Iterator[tuple[str, str, str]]:
        for key, words in KEYS:
            if key in ACTIONS:
                yield key, words[0].upper() + words[1:], ACTIONS[key]

    async def _run(self, action: str) -> None:
        """Do it where its key would: on the practice screen, over which others lie."""
        screens = self.app.screen_stack
        practice = next((one for one in screens if isinstance(one, PracticeScreen)), None)
        where: Screen[Any] = practice or self.app.screen
        await self.app.run_action(action, where)
