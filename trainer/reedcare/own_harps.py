"""Own harps: the harps that a player has named and measured, and their targets.

A harp may be measured several times under one name. The latest measurement of each reed counts; a
measurement with another key or tuning starts over. A measurement without reeds marks the harp as
forgotten: the earlier ones stay in the journal, so that merged journals agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from trainer.harp import Harp, HarpError, Tab, load_tuning, parse_key, with_reed_targets
from trainer.store import Journal, OwnHarp

if TYPE_CHECKING:
    from trainer.settings import Settings

TEMPERAMENT, REEDS = "temperament", "reeds"
"""What the targets of notes may follow."""
MAX_HARP_NAME_LENGTH = 80


def list_own_harps(journal: Journal, player: str) -> tuple[OwnHarp, ...]:
    """Return a player's harps by name, each reed as it was last measured."""
    harps: dict[str, OwnHarp] = {}
    for measurement in journal.harps(player):
        before = harps.pop(measurement.name, None)
        if measurement.reeds:
            harps[measurement.name] = (
                measurement if before is None else _merge_reeds(before, measurement)
            )
    return tuple(harps[name] for name in sorted(harps, key=str.casefold))


def _merge_reeds(before: OwnHarp, now: OwnHarp) -> OwnHarp:
    """Return a measurement completed by the earlier pitches of reeds that it lacks."""
    if (before.tag.key, before.tag.tuning) != (now.tag.key, now.tag.tuning):
        return now
    measured = {reed.tab for reed in now.reeds}
    return replace(
        now, reeds=now.reeds + tuple(reed for reed in before.reeds if reed.tab not in measured)
    )


def find_own_harp(harps: Iterable[OwnHarp], name: str) -> OwnHarp:
    """Return the harp with a name; case and spaces only decide between names that differ in them.

    Raises:
        HarpError: no harp has the name; the message lists the names.
    """
    harps = tuple(harps)
    exact = [harp for harp in harps if harp.name == name]
    alike = [harp for harp in harps if _normalized(harp.name) == _normalized(name)]
    if exact or len(alike) == 1:
        return (exact or alike)[0]
    raise HarpError(f"none of your harps is called '{name}'; {_names_text(harps)}")


def forget_own_harp(journal: Journal, own: OwnHarp) -> None:
    """Mark a harp as forgotten; takes on it keep its name.

    Raises:
        JournalError: the journal cannot be written.
    """
    journal.add_harp(replace(own, measured=datetime.now(UTC), reeds=()))


def check_harp_name(name: str) -> str:
    """Return a harp's name with normalized spaces.

    Raises:
        HarpError: it is empty, too long, not printable, or the name of a key.
    """
    name = " ".join(name.split())
    if not name or len(name) > MAX_HARP_NAME_LENGTH or not name.isprintable():
        raise HarpError(
            f"a harp's name has 1 to {MAX_HARP_NAME_LENGTH} letters, such as 'old C'; choose "
            "another"
        )
    if _is_key(name):
        raise HarpError(f"'{name}' is a key; choose another name, such as 'old C'")
    return name


def measured_pitches(own: OwnHarp) -> Mapping[Tab, float]:
    """Return the pitch of each measured reed in hertz."""
    return {Tab.parse(reed.tab): reed.hz for reed in own.reeds}


def nominal_harp(own: OwnHarp, temperament_name: str | None = None) -> Harp:
    """Return the harp with its nominal pitches: those of its key, tuning and stated A4.

    Args:
        own: the own harp.
        temperament_name: a temperament in place of the one it was measured with.

    Raises:
        HarpError: the tuning is missing.
        MusicError: there is no such temperament.
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
    """Return a measured harp with targets that its reeds can reach.

    A temperament is tuned to the A4 of the reeds as a whole, so that a harp 20 cents sharp does not
    count against the player. Where targets follow the reeds, that of a natural note is the pitch of
    its reed, and a bend, overblow or overdraw keeps its interval of the temperament from the reed
    it starts on. Notes of reeds that were not measured follow the temperament.

    Args:
        own: the own harp.
        temperament_name: temperament; None for the one it was measured with.
        naturals: what natural notes follow, ``temperament`` or ``reeds``.
        bends: what bends, overblows and overdraws follow, ``temperament`` or ``reeds``.
        a4: A4 of the targets in hertz; None for that of the reeds.
        offsets: offsets that the player has set, in cents by tab entry; they are added.

    Raises:
        HarpError: the reeds do not fit the key, the tuning is missing, or an offset is out of
            range.
        MusicError: there is no such temperament.
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
    """Return the nominal harp for a measurement under a name.

    Missing values come from the earlier measurement of that name, else from the settings.

    Raises:
        HarpError: the key is unknown, or there is no such key or tuning.
        MusicError: there is no such temperament.
    """
    defaults = settings.harp
    known = [harp for harp in list_own_harps(journal, settings.player.name) if harp.name == name]
    tag = known[0].tag if known and key is None else None
    key = key or (tag.key if tag else defaults.key)
    if key is None:
        raise HarpError(f"the key of '{name}' is unknown; add it, as in --harp C")
    return Harp.of(
        key,
        tuning or (tag.tuning if tag else defaults.tuning),
        a4=a4 or (tag.a4 if tag else defaults.a4),
        temperament_name=temperament_name or (tag.temperament if tag else defaults.temperament),
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
    """Return the harp that the options name, else the settings, else the drill.

    The harp option is a key or the name of an own harp; a text that is a key is read as one.
    Without it, the harp is that of `settings.harp.name`, else of the key `settings.harp.key`, else
    the drill's, else a C harp. The other options take precedence over the settings.

    Args:
        journal: the journal with the own harps; None if it cannot be opened.
        settings: the player's settings.
        text: value of the harp option; None if it was left out.
        tuning: value of its option.
        temperament_name: value of its option.
        a4: value of its option, in hertz.
        offsets: values of its option, in cents by tab.
        written_for: the harp of the drill, if any.

    Returns:
        The harp, and its name if it is an own harp.

    Raises:
        HarpError: no key or own harp has that name, the tuning does not exist, or a value is out
            of range.
        MusicError: there is no such temperament.
    """
    defaults = settings.harp
    by_option = text is not None and not _is_key(text)
    name = text if by_option else defaults.name if text is None else None
    if name is not None:
        own = _find_named(journal, settings.player.name, name, by_option=by_option)
        if tuning is not None and load_tuning(tuning).name != own.tag.tuning:
            raise HarpError(
                f"your harp '{own.name}' is tuned {own.tag.tuning}; leave out the tuning, or name "
                "a key"
            )
        is_set = "temperament" in defaults.model_fields_set
        harp = measured_harp(
            own,
            temperament_name or (defaults.temperament if is_set else None),
            naturals=defaults.naturals,
            bends=defaults.bends,
            a4=a4,
            offsets={Tab.parse(tab): cents for tab, cents in (offsets or {}).items()},
        )
        return harp, own.name
    default_tuning = defaults.tuning
    if written_for and (defaults.key is None or "tuning" not in defaults.model_fields_set):
        default_tuning = written_for.tuning.name
    harp = Harp.of(
        text or defaults.key or (written_for.key.name if written_for else "C"),
        tuning or default_tuning,
        a4=defaults.a4 if a4 is None else a4,
        temperament_name=temperament_name or defaults.temperament,
        offsets=offsets,
    )
    return harp, None


def _find_named(journal: Journal | None, player: str, name: str, *, by_option: bool) -> OwnHarp:
    """Return the own harp of that name, which comes from an option or from the settings.

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
                f"the harp '{name}' of your settings was never measured; {_names_text(harps)}"
            ) from None
        try:
            parse_key(name)
        except HarpError as error:
            raise HarpError(f"{error}; {_names_text(harps)}") from None
        raise


def _names_text(harps: Iterable[OwnHarp]) -> str:
    names = ", ".join(f"'{harp.name}'" for harp in harps)
    if names:
        return f"your own harps are {names}"
    return "you have measured none; use 'trainer harp measure NAME --harp KEY'"


def _is_key(text: str) -> bool:
    try:
        parse_key(text)
    except HarpError:
        return False
    return True


def _normalized(name: str) -> str:
    return "".join(name.casefold().split())
