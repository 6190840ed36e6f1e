"""Tests, in folders named like the rooms they test; what they share is in `support`."""
