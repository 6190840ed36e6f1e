"""Export and import of a journal as files that other journals and spreadsheets can read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trainer.core.lazy import lazy_getattr

if TYPE_CHECKING:
    from trainer.transfer.journal_files import (
        JournalFormat,
        JournalImport,
        check_player,
        export_journal,
        export_journal_lines,
        import_journal,
    )
    from trainer.transfer.records import step_record_data, take_summary_data
else:
    __getattr__ = lazy_getattr(
        __name__,
        {
            "journal_files": [
                "JournalFormat",
                "JournalImport",
                "check_player",
                "export_journal",
                "export_journal_lines",
                "import_journal",
            ],
            "records": ["step_record_data", "take_summary_data"],
        },
    )

__all__ = [
    "JournalFormat",
    "JournalImport",
    "check_player",
    "export_journal",
    "export_journal_lines",
    "import_journal",
    "step_record_data",
    "take_summary_data",
]
