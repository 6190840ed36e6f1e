"""Following a drill, deciding each step's mark, and the score."""

from trainer.marking.mark import PARTS, Mark, Measured, Result

__all__ = ["PARTS", "Mark", "Measured", "Result"]
