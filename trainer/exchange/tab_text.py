"""Import of harmonica tab from plain text, as players write it in letters and on the web.

The text has no lengths: each note gets a beat, and each line ends with a rest to the end of its
bar.
Words that are no tab, such as a title or the words of a song, are left out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from trainer.core.text_files import TextFileError, normalize_text, read_text_file
from trainer.drill import DrillError, TabStyle, format_drill, rewrite_tab_word, toml_string
from trainer.exchange.errors import ExchangeError

MAX_BYTES = 1_000_000
"""Maximum size of a text file in bytes; a book of tab has less."""
MAX_NOTES = 4_000
"""Maximum number of notes."""
BEATS, TEMPO = 4, 72
"""Beats in a bar of the drill, and in a minute."""


@dataclass(frozen=True, slots=True)
class TabText:
    """Tab found in a text.

    Attributes:
        lines: the notes of each line that is tab, in the notation of drills.
        left_out: words with a digit in these lines that are no tab, with the number of their line.
    """

    lines: tuple[tuple[str, ...], ...]
    left_out: tuple[tuple[str, int], ...] = ()

    @property
    def notes(self) -> int:
        """Number of notes and chords."""
        return sum(map(len, self.lines))

    def drill_text(self, title: str, harp: str, tuning: str) -> str:
        """Return the text of a drill file; the lengths are left for the player to write.

        Raises:
            DrillError: the harp does not exist, or cannot play a note.
        """
        text = "\n".join(
            [
                f"title = {toml_string(title)}",
                'about = "Each note has one beat: write the lengths of the tune after colons."',
                f"harp = {toml_string(harp)}",
                f"tuning = {toml_string(tuning)}",
                f"tempo = {TEMPO}",
                'skills = ["phrases"]',
                "",
                'tab = """',
                *map(_bars, self.lines),
                '"""',
                "",
                "[aim]",
                'pitch = ["all"]',
                "",
            ]
        )
        try:
            return format_drill(text, title)
        except DrillError as error:  # without position: this text is in no file
            raise DrillError(error.problems[0].message) from None


def read_tab_text(path: Path) -> TabText:
    """Find the tab in a text file.

    Raises:
        ExchangeError: the file cannot be read, or there is no tab in it, or too much.
    """
    try:
        text = normalize_text(read_text_file(path, max_bytes=MAX_BYTES))
    except TextFileError as error:
        raise ExchangeError(f"{path} cannot be read: {error.reason}") from None
    tab = find_tab(text)
    if not tab.notes:
        raise ExchangeError(f"{path} has no line of tab; write notes such as 4 -4 or +4 -4")
    if tab.notes > MAX_NOTES:
        raise ExchangeError(
            f"{path} has {tab.notes} notes; split it into files of {MAX_NOTES} at most"
        )
    return tab


def find_tab(text: str) -> TabText:
    """Find the lines of a text that are tab: those in which at least half of the words are."""
    lines = [_words(line) for line in text.splitlines()]
    widest = TabStyle(lettered=True, bracketed=True)
    likely = [(number, words) for number, words in enumerate(lines, 1) if _is_tab(words, widest)]
    style = TabStyle.of(word for _, words in likely for word in words)
    tab_lines: list[tuple[str, ...]] = []
    left_out: list[tuple[str, int]] = []
    for number, words in likely:
        notes = [rewrite_tab_word(word, style) for word in words]
        tab_lines.append(tuple(note for note in notes if note is not None))
        left_out += (
            (word, number)
            for word, note in zip(words, notes, strict=True)
            if note is None and any(character.isdigit() for character in word)
        )
    return TabText(tuple(line for line in tab_lines if line), tuple(left_out))


def _words(line: str) -> list[str]:
    joined = re.sub(r"\(([^()]*)\)", lambda match: f"({''.join(match[1].split())})", line)
    return [word.strip(",.;|") for word in joined.split() if word.strip(",.;|")]


def _is_tab(words: list[str], style: TabStyle) -> bool:
    notes = sum(rewrite_tab_word(word, style) is not None for word in words)
    return notes > 0 and 2 * notes >= len(words)


def _bars(notes: tuple[str, ...]) -> str:
    bars = (notes[start : start + BEATS] for start in range(0, len(notes), BEATS))
    return " ".join(
        " ".join(f"{note}:1" for note in bar)
        + (f" r:{BEATS - len(bar)}" if len(bar) < BEATS else "")
        + " |"
        for bar in bars
    )
