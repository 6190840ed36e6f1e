"""Base class of the errors that are shown to the player.

Each room derives its own error from it. A message is one sentence: what is wrong, where, and what
to do. The command line and the screens print it unchanged.
"""


class TrainerError(Exception):
    """Base of all errors that are shown to the player."""
