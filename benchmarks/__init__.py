"""Benchmarks: this ear and its peers, side by side, on recorded reeds. Run by `make bench`."""
