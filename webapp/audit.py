"""What an audit of the ledger found, in sentences."""

from __future__ import annotations

from dataclasses import dataclass

from webapp.store.database import Store
from webapp.store.faults import MOST, chain_faults
from webapp.store.witness import Head, head, missing_guards, noted_head, place_of

CANNOT_SHOW = (
    "Who may write the file may also cut off the newest deeds with all they left, or write the ledger anew so that "
    "it fits: only a head that was noted elsewhere shows that. Note it now and then (each backup holds it) and check "
    "against it later. A deed that somebody adds at the end, as the program would, cannot be told from the program's."
)
STRANGE = "Something is kept in a form that the program never writes ({}): it was changed by other means."


@dataclass(frozen=True)
class Noted:
    """A head that was noted, and which deed it is now; None if none is."""

    typed: str
    place: int | None


@dataclass(frozen=True)
class Audit:
    """What was found.

    Parameters
    ----------
    faults : tuple of str
        What does not fit, in sentences; the first hundred of them.
    noted : tuple of Noted
        The heads that it was held against.
    """

    head: Head
    faults: tuple[str, ...]
    noted: tuple[Noted, ...]

    @property
    def fits(self) -> bool:
        """Whether nothing was found, here or against what was noted."""
        return not self.faults and all(one.place is not None for one in self.noted)

    @property
    def sentences(self) -> tuple[str, ...]:
        """The outcome first, then each finding, then the head."""
        deeds = "1 deed" if self.head.deeds == 1 else f"{self.head.deeds} deeds"
        first = (
            f"The ledger fits: {deeds}, and all that was handed over is as it was."
            if self.fits
            else "The ledger does not fit: something was changed or taken out behind the program's back."
        )
        more = (f"There may be more: these are the first {MOST}.",) if len(self.faults) >= MOST else ()
        return (
            first,
            *self.faults,
            *more,
            *(self._of_noted(one) for one in self.noted),
            f"Head: {self.head.digest}",
            *((CANNOT_SHOW,) if self.fits and not self.noted else ()),
        )

    def _of_noted(self, one: Noted) -> str:
        if one.place is None:
            return (
                f"The head {one.typed[-80:]} is not in the ledger: what was there when it was noted was cut off or "
                "written anew since, or a backup from before was put back."
            )
        if one.place == 0:
            return f"The head {one.typed[:80]} is that of a ledger with nothing in it: it shows nothing."
        if self.faults:
            return f"The head {one.typed[:80]} is deed {one.place} of {self.head.deeds}."
        return (
            f"The head {one.typed[:80]} is deed {one.place} of {self.head.deeds}: nothing up to it was changed since."
        )


def audited(store: Store, noted: list[str]) -> Audit:
    """Walk the whole ledger, and hold it against heads that were noted. Reads all that was ever handed over.

    Raises
    ------
    StoreError
        A noted head is none, or the store cannot be read.
    """
    digits = [(typed, noted_head(typed)) for typed in noted]
    newest = head(store)  # before the walk, which then reaches it
    guards = tuple(f"The database's own guard {name} is missing or was changed." for name in missing_guards(store))
    try:
        faults = (*guards, *chain_faults(store))[:MOST]
    except (ValueError, TypeError, AttributeError) as fault:
        faults = (*guards, STRANGE.format(fault))
    return Audit(newest, faults, tuple(Noted(typed, place_of(store, head)) for typed, head in digits))
