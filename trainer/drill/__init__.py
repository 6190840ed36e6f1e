"""The drill: its model, its text format, the shelf, and beats on the sample clock."""

from trainer.drill.clock import Clock
from trainer.drill.errors import DrillError, Problem
from trainer.drill.model import Drill, Goal, Sound, Step, sound_text

__all__ = ["Clock", "Drill", "DrillError", "Goal", "Problem", "Sound", "Step", "sound_text"]
