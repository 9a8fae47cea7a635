"""What Lodeworth keeps between two starts: one SQLite file in the data folder; SQL nowhere else.

``open_store(folder)`` gives the `Store`, brought to the newest layout; one for the whole app, shared by its threads.
One module per noun holds what is done with it, as functions that take the store first: `webapp.store.drafts`.

Each such function is one transaction and has committed, to the disk, when it returns; if it raises, nothing changed.
Several go together in ``with store.writing():``, which commits at its end and undoes all of it on an exception::

    store = open_store(settings.data)
    drafts.keep(store, draft_id, form.items(multi=True), title="Blue Tin", at=now, kind="quote")

The functions of `drafts`: `new`, `keep`, `get`, `open_drafts` (a page of the list), `close`, `reopen`, `turn_into`
(ask to quote and back), `earlier` (a draft's earlier states), `state` (one of them), `fresh_id`. A page that can be
open in two tabs passes `writer`, a `fresh_id` of the tab's own, and `seen_revision`, the newest `Kept.revision` it was
told of, with every `keep`; then `Kept.overtook` says what another tab wrote in between.

Offer sheets:

- `sheets`: `new` (from a draft), `keep_entries` (the writing form as typed), `refer` (the seller's reference), `get`,
  `by_number`, `of_draft`. `Sheet.state(now, gold_per_g)` is the state now; what is stored cannot know that an offer
  has lapsed.
- `revisions`: `hand_over`, which gives the number and freezes what its `make` makes, inside the transaction;
  `revision`, `of_sheet`, `papers`, `content` (bytes, read only here). Triggers keep it all as it was.
- `deeds`: `record` (agreed, turned_down, lapsed, settled), `history`. `faults.chain_faults` walks the chain of all.
- `photographs`: `add`, `arrange`, `of_sheet`, `jpeg`.
- `finding`: `found(store, Wanted(...), now, gold_per_g, place)`, a page of a list.
- `erasing`: `erase_reference`, everywhere but in what was never to hold it.

Prices, in `prices`: `keep` (once per change, never edited), `newest`, `newest_fed`, `fed_between`, `listed` (a page),
`daily` (the last of each day), `rates` (the newest exchange rates), `pairs`.

The house's books, in `books`: `add`, `change`, `retire`, `put_back` (each a further version of an entry), `entries`,
`offered`, `versions`; `remember` and `used_by`, which versions a handed-over revision used.

Do not open the database file by other means while a store is open on it, not even to read or copy it: closing such a
file drops SQLite's locks in this process (on POSIX systems).

Every expected trouble is a `StoreError`, whose text is for the person: `FolderRefused`, `NewerStore`, `DamagedStore`
(these three from ``open_store``, the last from anywhere), `StoreBusy`, `StoreFull`, `TextRefused`, `TooLarge`,
`UnknownDraft`, `UnknownSheet`, `UnknownPhotograph`, `NotAllowed`, `AlreadyHandedOver`. Moments are passed in, with
their time zone; they come back in UTC.

Importing this package loads no SQLAlchemy; `open_store` and the modules of the nouns do.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from webapp.store.errors import (
    AlreadyHandedOver,
    DamagedStore,
    FolderRefused,
    NewerStore,
    NotAllowed,
    StoreBusy,
    StoreError,
    StoreFull,
    TextRefused,
    TooLarge,
    UnknownDraft,
    UnknownPhotograph,
    UnknownSheet,
)

if TYPE_CHECKING:
    from webapp.store.database import Store

__all__ = [
    "AlreadyHandedOver",
    "DamagedStore",
    "FolderRefused",
    "NewerStore",
    "NotAllowed",
    "StoreBusy",
    "StoreError",
    "StoreFull",
    "TextRefused",
    "TooLarge",
    "UnknownDraft",
    "UnknownPhotograph",
    "UnknownSheet",
    "open_store",
]


def open_store(folder: Path) -> Store:
    """The store in a folder, both made if missing; an older layout is brought to the newest.

    Raises
    ------
    StoreError
        The folder cannot be used, or the file is damaged, foreign or newer than the program; it is left untouched.
    """
    from webapp.store.opening import opened

    return opened(folder)
