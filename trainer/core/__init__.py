"""The ground floor: errors, statistics, private files, and positions in TOML files."""

from trainer.core.errors import TrainerError

__all__ = ["TrainerError"]
