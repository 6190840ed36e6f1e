"""The base of the errors that a player may see.

Each room has a family of its own below it. Every message is one sentence that names the thing,
the place and the way out; the command line and the screens print it as it is.
"""


class TrainerError(Exception):
    """Base of all errors that are shown to the player."""
