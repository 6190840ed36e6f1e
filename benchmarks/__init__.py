"""Benchmarks: this ear and its peers, side by side, on recorded reeds. Run by `make bench`."""

import trainer  # noqa: F401  before numpy: it keeps the algebra library to one thread
