"""The ground room: errors, array types, statistics, file helpers and TOML helpers.

Only the base class of all errors is exported here; the modules are imported by name, because the
statistics load numpy.
"""

from trainer.core.errors import TrainerError

__all__ = ["TrainerError"]
