"""Photographs: kept once, in order, for ever once they were handed over."""

import pytest

from tests.webapp.store.sample_sheet import AT, over, written
from webapp.store import NotAllowed, UnknownPhotograph, UnknownSheet, photographs, revisions
from webapp.store.database import Store


def kept(store: Store) -> int:
    with store.reading() as connection:
        return int(connection.exec_driver_sql("SELECT count(*) FROM photographs").scalar_one())


def add(store: Store, sheet_id: str, *pictures: bytes) -> list[str]:
    return [photographs.add(store, sheet_id, picture, 64, 48, AT).digest for picture in pictures]


def test_they_come_back_byte_for_byte_in_their_order(store: Store) -> None:
    name = written(store)
    a, b, c = add(store, name, b"\xff\xd8 a\0", b"\xff\xd8 b", b"\xff\xd8 c")
    assert [p.digest for p in photographs.of_sheet(store, name)] == [a, b, c]
    assert photographs.of_sheet(store, name)[0] == photographs.Photograph(a, 64, 48, AT)
    photographs.arrange(store, name, [c, a, b])
    assert [p.digest for p in photographs.of_sheet(store, name)] == [c, a, b]
    assert photographs.jpeg(store, a) == b"\xff\xd8 a\0"


def test_the_same_is_kept_once_and_forgotten_when_nothing_has_it(store: Store) -> None:
    one, two = written(store, "1"), written(store, "2")
    (a,) = add(store, one, b"a")
    assert add(store, one, b"a") == add(store, two, b"a") == [a]
    assert (kept(store), len(photographs.of_sheet(store, one))) == (1, 1)
    photographs.arrange(store, one, [])
    assert photographs.jpeg(store, a) == b"a"
    photographs.arrange(store, two, [])
    assert kept(store) == 0
    with pytest.raises(UnknownPhotograph):
        photographs.jpeg(store, a)


def test_those_handed_over_stay_with_their_revision(store: Store) -> None:
    name = written(store)
    a, b = add(store, name, b"a", b"b")
    over(store, name, photographs=(b, a))
    photographs.arrange(store, name, [b])
    over(store, name, seen=1, photographs=(b,))
    photographs.arrange(store, name, [])
    assert [revisions.revision(store, name, n).photographs for n in (1, 2)] == [(b, a), (b,)]
    assert (photographs.jpeg(store, a), photographs.jpeg(store, b)) == (b"a", b"b")


def test_what_is_not_there_is_refused(store: Store) -> None:
    one, two = written(store, "1"), written(store, "2")
    (a,), (b,) = add(store, one, b"a"), add(store, two, b"b")
    for wrong in ([b], [a, a], ["\ud800"]):
        with pytest.raises(UnknownPhotograph, match="Add it again"):
            photographs.arrange(store, one, wrong)
    with pytest.raises(UnknownPhotograph):
        over(store, one, photographs=("0" * 64,))
    assert revisions.of_sheet(store, one) == ()
    for call in (lambda: add(store, "x" * 22, b"c"), lambda: photographs.of_sheet(store, "none")):
        with pytest.raises(UnknownSheet):
            call()
    assert kept(store) == 2


def test_a_sheet_holds_so_many(store: Store) -> None:
    name = written(store)
    add(store, name, *(bytes([i]) for i in range(photographs.MOST)))
    with pytest.raises(NotAllowed, match="at most 12 photographs"):
        add(store, name, b"one more")
    add(store, name, b"\0")
    assert kept(store) == photographs.MOST
