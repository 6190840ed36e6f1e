"""An intonation trainer for the ten-hole diatonic harmonica.

Sound goes in at one end and a mark comes out at the other; DEVELOPERS.md draws the path
and the rooms along it.
"""

import os

# The ear's matrices are a few dozen rows: threads inside the algebra library only cost time, and
# it reads this when numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
