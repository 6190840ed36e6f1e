"""The player's own harps: which there are, and what in tune means on each.

A harp is measured as often as the player likes, under one name. What counts of a reed is when it
was last measured; with another key or tuning the name begins anew. A measurement without reeds
says that the harp is to be forgotten: the journal keeps what it had, so that two journals that
are merged agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from trainer.harp import Harp, HarpError, Tab, load_tuning, parse_key
from trainer.harp.measured_tuning import with_reed_targets
from trainer.store.journal import Journal
from trainer.store.records import OwnHarp

if TYPE_CHECKING:
    from trainer.settings import Settings

TEMPERAMENT, REEDS = "temperament", "reeds"
"""What targets can follow."""


def list_own_harps(journal: Journal, player: str) -> tuple[OwnHarp, ...]:
    """A player's harps by name, each reed as it was last measured."""
    now: dict[str, OwnHarp] = {}
    for one in journal.harps(player):
        before = now.pop(one.name, None)
        if one.reeds:
            now[one.name] = one if before is None else _later(before, one)
    return tuple(now[name] for name in sorted(now, key=str.casefold))


def _later(before: OwnHarp, now: OwnHarp) -> OwnHarp:
    """A harp as it was measured now, with what was not measured this time as it was before."""
    if (before.tag.key, before.tag.tuning) != (now.tag.key, now.tag.tuning):
        return now
    fresh = {reed.tab for reed in now.reeds}
    return replace(now, reeds=now.reeds + tuple(r for r in before.reeds if r.tab not in fresh))


def find_own_harp(harps: Iterable[OwnHarp], name: str) -> OwnHarp:
    """The one of that name; capitals and spaces matter only where they alone tell two apart.

    Raises:
        HarpError: there is none; the message lists those that there are.
    """
    harps = tuple(harps)
    exact = [one for one in harps if one.name == name]
    alike = [one for one in harps if _plain(one.name) == _plain(name)]
    if exact or len(alike) == 1:
        return (exact or alike)[0]
    raise HarpError(f"none of your harps is called '{name}'; {_listed(harps)}")


def forget_own_harp(journal: Journal, own: OwnHarp) -> None:
    """Forget a harp; takes that were played on it keep its name.

    Raises:
        JournalError: it could not be written.
    """
    journal.add_harp(replace(own, measured=datetime.now(UTC), reeds=()))


def check_harp_name(name: str) -> str:
    """The name of a harp as it is kept, without spaces around it.

    Raises:
        HarpError: it cannot be one.
    """
    name = " ".join(name.split())
    if not name or len(name) > 80 or not name.isprintable():
        raise HarpError("a harp's name is up to 80 letters, such as 'old C'; choose another")
    if _reads_as_key(name):
        raise HarpError(
            f"'{name}' is a key; give the harp a name that says which one it is, such as 'old C'"
        )
    return name


def measured_pitches(own: OwnHarp) -> Mapping[Tab, float]:
    """Hz of each measured reed."""
    return {Tab.parse(reed.tab): reed.hz for reed in own.reeds}


def nominal_harp(own: OwnHarp, temperament_name: str | None = None) -> Harp:
    """The harp as theory has it: its key and tuning, the A4 that it is said to have.

    Args:
        own: the harp.
        temperament_name: another temperament than the one it was measured with.

    Raises:
        HarpError: its tuning is not at hand any more.
        MusicError: no such temperament.
    """
    tag = own.tag
    return Harp.of(
        tag.key, tag.tuning, a4=tag.a4, temperament_name=temperament_name or tag.temperament
    )


def measured_harp(
    own: OwnHarp,
    temperament_name: str | None = None,
    *,
    naturals: str = TEMPERAMENT,
    bends: str = TEMPERAMENT,
    a4: float | None = None,
    offsets: Mapping[Tab, float] | None = None,
) -> Harp:
    """A measured harp, with targets that its reeds can reach.

    Where targets follow a temperament, that is tuned to the A4 of the reeds as a whole, so that a
    harp 20 cents sharp is not blamed on the player. Where they follow the reeds, the target of a
    natural note is its reed; a bend keeps the distance that the temperament gives it below its own
    reed, and an overblow or overdraw that above the reed that it rises from. A reed that was not
    measured, and what is played from it, keeps to the temperament.

    Args:
        own: the harp.
        temperament_name: what in tune means beside the reeds; None takes the one that it was
            measured with.
        naturals: what natural notes follow, ``temperament`` or ``reeds``.
        bends: what bends, overblows and overdraws follow, likewise.
        a4: Hz of the A4 to hold the player to; None takes that of the reeds.
        offsets: the player's own, in cents by entry, on top of all that.

    Raises:
        HarpError: the reeds are those of another harp or key; its tuning is not at hand any more;
            an offset is out of range.
        MusicError: no such temperament.
    """
    harp = replace(nominal_harp(own, temperament_name), offsets=offsets or {})
    try:
        return with_reed_targets(
            harp, measured_pitches(own), naturals=naturals == REEDS, bends=bends == REEDS, a4=a4
        )
    except HarpError as error:
        raise HarpError(f"your harp '{own.name}': {error}") from None


def harp_to_measure(
    journal: Journal,
    settings: Settings,
    name: str,
    *,
    key: str | None = None,
    tuning: str | None = None,
    temperament_name: str | None = None,
    a4: float | None = None,
) -> Harp:
    """The harp that is to be measured under a name, as theory has it.

    What is left out is as it was when a harp of that name was measured before, else as the
    settings say.

    Raises:
        HarpError: nobody says which key it has; or there is no such key or tuning.
        MusicError: no such temperament.
    """
    mine = settings.harp
    known = [one for one in list_own_harps(journal, settings.player.name) if one.name == name]
    tag = known[0].tag if known and key is None else None
    key = key or (tag.key if tag else mine.key)
    if key is None:
        raise HarpError(f"which key has '{name}'? Say it as in --harp C")
    return Harp.of(
        key,
        tuning or (tag.tuning if tag else mine.tuning),
        a4=a4 or (tag.a4 if tag else mine.a4),
        temperament_name=temperament_name or (tag.temperament if tag else mine.temperament),
    )


def select_harp(
    journal: Journal | None,
    settings: Settings,
    text: str | None,
    *,
    tuning: str | None = None,
    temperament_name: str | None = None,
    a4: float | None = None,
    offsets: Mapping[str, float] | None = None,
    written_for: Harp | None = None,
) -> tuple[Harp, str | None]:
    """The harp that an option, or else the settings, name.

    What is named may be a key or the name of one of the player's own harps; what reads as a key is
    one. Without an option it is the harp that `settings.harp.name` names, else the key of
    `settings.harp.key`, else that of a drill. The other options go before the settings.

    Args:
        journal: where the player's own harps are; None where it cannot be opened.
        settings: the player's.
        text: what the option says; None if it was left out.
        tuning, temperament_name, a4, offsets: what their options say, offsets by tab as text.
        written_for: the harp of a drill; its key and tuning go before those of a C harp, but not
            before those that the settings name.

    Returns:
        The harp, and its name if it is one of the player's own.

    Raises:
        HarpError: neither a key nor one of the player's harps has that name; or there is no such
            tuning; or a value is out of range.
        MusicError: no such temperament.
    """
    mine = settings.harp
    named = text is not None and not _reads_as_key(text)
    name = text if named else mine.name if text is None else None
    if name is not None:
        own = _named(journal, settings.player.name, name, by_option=named)
        if tuning is not None and load_tuning(tuning).name != own.tag.tuning:
            raise HarpError(
                f"your harp '{own.name}' is tuned {own.tag.tuning}; leave out the tuning, or name "
                "a key"
            )
        told = "temperament" in mine.model_fields_set
        in_hand = measured_harp(
            own,
            temperament_name or (mine.temperament if told else None),
            naturals=mine.naturals,
            bends=mine.bends,
            a4=a4,
            offsets={Tab.parse(tab): cents for tab, cents in (offsets or {}).items()},
        )
        return in_hand, own.name
    usual = mine.tuning
    if written_for and (mine.key is None or "tuning" not in mine.model_fields_set):
        usual = written_for.tuning.name
    harp = Harp.of(
        text or mine.key or (written_for.key.name if written_for else "C"),
        tuning or usual,
        a4=mine.a4 if a4 is None else a4,
        temperament_name=temperament_name or mine.temperament,
        offsets=offsets,
    )
    return harp, None


def _named(journal: Journal | None, player: str, name: str, *, by_option: bool) -> OwnHarp:
    """The player's harp of that name.

    Raises:
        HarpError: there is none.
    """
    if journal is None:
        raise HarpError(
            f"your harp '{name}' is in the journal, which cannot be opened; name a key instead"
        )
    harps = list_own_harps(journal, player)
    try:
        return find_own_harp(harps, name)
    except HarpError:
        if not by_option:
            raise HarpError(
                f"the settings name a harp '{name}' that was never measured; {_listed(harps)}"
            ) from None
        try:
            parse_key(name)
        except HarpError as error:
            raise HarpError(f"{error}; and {_listed(harps)}") from None
        raise


def _listed(harps: Iterable[OwnHarp]) -> str:
    names = ", ".join(f"'{one.name}'" for one in harps)
    if names:
        return f"your own harps are {names}"
    return "no harp of your own was measured; 'trainer harp measure NAME --harp KEY' does that"


def _reads_as_key(text: str) -> bool:
    try:
        parse_key(text)
    except HarpError:
        return False
    return True


def _plain(name: str) -> str:
    return "".join(name.casefold().split())
