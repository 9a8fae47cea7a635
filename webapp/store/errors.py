"""What can go wrong with the store, each with a sentence for the person."""

from __future__ import annotations

import shlex
from datetime import datetime
from pathlib import Path


class StoreError(Exception):
    """Something that the store refuses or cannot do; its text says what, and what to do. Nothing was changed."""


class FolderRefused(StoreError):  # noqa: N818
    """The data folder cannot be made, read or written."""

    def __init__(self, folder: Path, why: str) -> None:
        super().__init__(
            f"Lodeworth cannot keep anything in {folder} ({why}). "
            "Give yourself the right to write there, or choose another folder with --data."
        )


class NewerStore(StoreError):  # noqa: N818
    """The database was written by a later version of the program."""

    def __init__(self, file: Path, revision: str) -> None:
        super().__init__(
            f"{file} was written by a later version of Lodeworth (layout {revision}). It was left untouched. "
            "Start that version, or choose another folder with --data."
        )


class DamagedStore(StoreError):  # noqa: N818
    """The file is no sound database of this program."""

    def __init__(self, file: Path, why: str) -> None:
        super().__init__(
            f"{file} is damaged or is not Lodeworth's ({why}). It was left as it is. Stop Lodeworth and put a backup "
            f"back: lodeworth restore BACKUP --data {shlex.quote(str(file.parent))} (what is there now is kept under "
            "another name). Without a backup, move the file and its companions (-wal, -shm) elsewhere and start again "
            "with an empty one."
        )


class StoreBusy(StoreError):  # noqa: N818
    """Another program held the database for too long."""

    def __init__(self, file: Path) -> None:
        super().__init__(
            f"Another program is holding {file}, so nothing was saved. Close the other program and try again."
        )


class StoreFull(StoreError):  # noqa: N818
    """There is no room to write."""

    def __init__(self, file: Path, why: str) -> None:
        super().__init__(
            f"There is no room to write {file} ({why}), so nothing was saved; all that was saved before is still "
            "there. Make room on the disk and try again."
        )


class TextRefused(StoreError):  # noqa: N818
    """A text that cannot be kept as typed; `field` is its name, empty for the title."""

    def __init__(self, field: str, why: str) -> None:
        self.field = field
        super().__init__(f"{field or 'The title'} {why}")


class TooLarge(StoreError):  # noqa: N818
    """All the texts of one draft together are over the limit."""

    def __init__(self, size: int, limit: int) -> None:
        super().__init__(
            f"A quote holds at most {limit // 1024} kB of text; this one comes to {size // 1024 + 1} kB and was "
            "not saved. Shorten what you typed or pasted."
        )


class UnknownDraft(StoreError):  # noqa: N818
    """No draft, or no earlier state of it, has this name."""

    def __init__(self, draft: str, revision: int | None = None) -> None:
        state = "" if revision is None else f" in its state {revision}"
        super().__init__(f"There is no quote in progress named {draft[:40]!r}{state}.")


class UnknownSheet(StoreError):  # noqa: N818
    """No sheet, no such revision of it, or no such photograph, has this name."""

    def __init__(self, sheet: str, revision: int | None = None) -> None:
        of = "" if revision is None else f" with a revision {revision}"
        super().__init__(f"There is no offer sheet named {sheet[:40]!r}{of}.")


class UnknownPhotograph(StoreError):  # noqa: N818
    """No photograph has this digest, or it does not belong to the sheet."""

    def __init__(self, digest: str) -> None:
        super().__init__(f"There is no photograph named {digest[:16]!r} here. Add it again.")


class NotAllowed(StoreError):  # noqa: N818
    """What the life of a sheet does not allow now."""


class AlreadyHandedOver(StoreError):  # noqa: N818
    """Someone else, or another tab, was faster; `revision` is the newest now."""

    def __init__(self, number: str, revision: int, handed_over_at: datetime) -> None:
        self.number, self.revision, self.handed_over_at = number, revision, handed_over_at
        super().__init__(
            f"Sheet {number} was handed over as revision {revision} in the meantime, so this was not handed over. "
            "Look at that revision first; what you typed is kept."
        )
