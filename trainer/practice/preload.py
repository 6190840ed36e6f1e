"""Everything that a process needs to mark recordings, imported before it is forked.

What a module imports only when it is used is imported here by name.
"""

import aubio  # noqa: F401
import soundfile  # noqa: F401

import trainer.practice.batch  # noqa: F401
from trainer.core.threads import limit_blas_threads

limit_blas_threads()
