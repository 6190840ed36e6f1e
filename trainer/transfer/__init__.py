"""Export and import of a journal as files that other journals and spreadsheets can read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trainer.core.lazy import lazy_getattr

if TYPE_CHECKING:
    from trainer.transfer.journal_files import (
        JournalContents,
        JournalFormat,
        JournalImport,
        check_player,
        export_journal,
        export_journal_lines,
        import_journal,
        read_journal_file,
    )

__all__ = [
    "JournalContents",
    "JournalFormat",
    "JournalImport",
    "check_player",
    "export_journal",
    "export_journal_lines",
    "import_journal",
    "read_journal_file",
]
__getattr__ = lazy_getattr(__name__, {"journal_files": __all__})
