"""A good base request and short ways to quote or refuse a changed one."""

import pytest

from tests.valuation.strategies import changed, good
from valuation import QuoteRequest, RequestRefused, ValuationError, quote, read_request


@pytest.fixture
def base() -> dict:
    """Raw entries of a request without a fault or a caution."""
    return good()


@pytest.fixture
def quoted(base):
    """Quote of the base request with values put at dotted paths."""

    def quoted_with(changes=None, **options):
        return quote(QuoteRequest.model_validate(changed(base, changes or {})), **options)

    return quoted_with


@pytest.fixture
def problems(base):
    """Problems by field that refuse the base request with values put at dotted paths; a test fails if none does."""

    def problems_with(changes):
        try:
            quote(read_request(changed(base, changes)))
        except (RequestRefused, ValuationError) as refused:
            return {problem.field: problem for problem in refused.problems}
        return pytest.fail(f"not refused: {changes}")

    return problems_with
