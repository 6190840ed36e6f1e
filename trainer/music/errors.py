"""The family of errors that a player may see.

Every message is one sentence that names the thing, the place and the way out; the command line
and the screens print it as it is.
"""


class TrainerError(Exception):
    """Base of all errors that are told to the player."""


class MusicError(TrainerError):
    """A note name, temperament or position that does not exist."""
