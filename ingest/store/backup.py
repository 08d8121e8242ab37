"""Copy a store while it is in use, by SQLite's online backup, and verify the copy before it gets its name."""

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from ingest.errors import UserError
from ingest.store.connect import explain, open_readable
from ingest.store.verify import Report, verify

# Pages copied between two looks at the progress.
PAGES = 4096


def backup(
    source: Path, target: Path, progress: Callable[[int, int], None] = lambda done, total: None
) -> Report:
    """Copy a store and verify the copy; `progress(pages done, pages in all)`.

    Raise UserError when the target exists, can't be written, or the copy is not sound (it is then removed).
    """
    if target.exists():
        raise UserError(f"{target} is there already and stays as it is; name another file for the copy.")
    if not target.parent.is_dir():
        raise UserError(f"The folder of {target} doesn't exist; make it first.")
    unfinished = target.with_name(target.name + ".unfinished")
    unfinished.unlink(missing_ok=True)
    try:
        with closing(open_readable(source)) as reading, closing(sqlite3.connect(unfinished)) as writing:
            reading.backup(
                writing, pages=PAGES, progress=lambda status, left, total: progress(total - left, total)
            )
            # One file is the copy: no log beside it.
            writing.execute("PRAGMA journal_mode = DELETE")
        report = verify(unfinished)
        if report.problems:
            raise UserError(f"The copy of {source} is not sound ({report.problems[0]}); it was removed.")
        with open(unfinished, "rb") as copied:
            os.fsync(copied.fileno())
        unfinished.rename(target)
    except sqlite3.Error as error:
        raise explain(error, str(target)) or error from error
    finally:
        unfinished.unlink(missing_ok=True)
    return report
