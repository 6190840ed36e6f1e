"""The drills of the shelf, read once for all tests of a process."""

from trainer.drill import read_shelf

SHELF = read_shelf()
