"""The scratch folder of a listener, in the system's temporary folder.

It holds the sound of the last take, to be heard again. A listener that was killed leaves its folder
behind; the next one to start deletes it. The owner holds a lock in the folder, which ends with it.
"""

from __future__ import annotations

import contextlib
import logging
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from trainer.core.system import file_lock

PREFIX = "heard-"
LOCK_FILE = "lock"
YOUNG_S = 60.0
"""Age up to which a folder is left alone, in seconds: its owner may be about to lock it. Chosen by
hand."""
_log = logging.getLogger(__name__)


@contextmanager
def scratch_folder() -> Iterator[Path]:
    """Make a scratch folder for a block; delete those whose owners are dead.

    Raises:
        OSError: it cannot be made.
    """
    _delete_abandoned()
    folder = Path(tempfile.mkdtemp(prefix=PREFIX))
    try:
        with file_lock(folder / LOCK_FILE, 0.0):
            yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _delete_abandoned() -> None:
    """Delete the folders of dead listeners; one without a lock's file is somebody else's."""
    for lock in Path(tempfile.gettempdir()).glob(f"{PREFIX}*/{LOCK_FILE}"):
        with contextlib.suppress(OSError):  # a TimeoutError is one: its owner lives
            if time.time() - lock.stat().st_mtime < YOUNG_S:
                continue
            with file_lock(lock, 0.0):
                pass
            _log.info("deleting %s of a listener that was killed", lock.parent)
            shutil.rmtree(lock.parent, ignore_errors=True)
