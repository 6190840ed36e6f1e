"""The drill: its model, its text format, the shelf, and beats on the sample clock."""

from trainer.drill.clock import Clock
from trainer.drill.model import Drill, Goal, Sound, Step

__all__ = ["Clock", "Drill", "Goal", "Sound", "Step"]
