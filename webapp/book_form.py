"""What was typed into the page of an entry <-> the entry; problems beside their fields."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from babel import Locale
from werkzeug.datastructures import MultiDict

from webapp.book_kinds import BOOKS, Book, EntryRefused, Own, content_of
from webapp.evidence_words import TITLES
from webapp.fields import Field, field_at, field_in
from webapp.forms import Reading
from webapp.house import ended
from webapp.retyped import typed_from
from webapp.store.books import Content
from webapp.typed import Typed


@dataclass(frozen=True)
class BookForm(Typed):
    """The page as typed; its fields are named as those of a quote."""

    book: Book = BOOKS["refiners"]
    locale: Locale | None = None  # of thousands in amounts; None reads strictly

    def field(self, path: str) -> Field | None:
        """The field of a name."""
        if path in self.book.own:
            return field_in(Own, path)
        spec = field_at(path)
        if spec is not None and path == "tests.0.kind":
            return replace(spec, choices=tuple((key, TITLES[key]) for key, _ in spec.choices))
        return spec

    def label(self, name: str) -> str:
        """Label of the field that an input of this name belongs to."""
        spec = self.field(name)
        return spec.label if spec is not None else super().label(name)

    @property
    def terms(self) -> Mapping[str, Any]:
        """The terms as entries of a request, still to be judged."""
        return self.book.terms_in(self.reading.entries)

    @property
    def reading(self) -> Reading:
        """The terms read as a quote's."""
        own = [(name, text) for name, text in self.texts.items(multi=True) if name not in self.book.own]
        return Reading(Typed(MultiDict([*own, *self.book.branches.items()])), datetime.now(UTC), UTC, self.locale)


def form_of(book: Book, content: Content) -> BookForm:
    """The page as one would have typed this entry."""
    texts = typed_from(book.nested(content.terms)).texts
    for name in [name for name in texts if name.startswith("choose.")]:
        texts.pop(name)
    for name in book.own:
        if getattr(content, name):
            texts[name] = getattr(content, name)
    return BookForm(texts, book=book)


def read(form: BookForm) -> Content | BookForm:
    """The entry that was typed, or the form with its problems beside the fields."""
    book = form.book
    try:
        return content_of(book, {name: form.text(name) for name in book.own}, form.terms)
    except EntryRefused as refused:
        told = [form.reading.told(problem) for problem in refused.problems]
        sentences = [ended(problem.message[:1].upper() + problem.message[1:]) for problem in told]
        problems = [one.model_copy(update={"message": words}) for one, words in zip(told, sentences, strict=True)]
        return replace(form, problems=tuple(problems))
