"""``python -m trainer``."""

from trainer.cli import main

main()
