"""Says in a sentence what is wrong with the Python that is to make .venv; runs on any, even 2.7."""

import sys

if sys.version_info < (3, 11):
    sys.exit(
        "The trainer needs Python 3.11 or newer, and %s is %d.%d; name a newer one, as in: "
        "make demo PYTHON=python3.12" % ((sys.executable,) + sys.version_info[:2])
    )
try:
    import ensurepip  # noqa: F401
    import venv  # noqa: F401
except ImportError:
    sys.exit(
        "%s cannot make .venv: its modules venv and ensurepip are not installed; on Debian and "
        "Ubuntu they come with: sudo apt install python3-venv" % sys.executable
    )
