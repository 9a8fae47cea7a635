"""What a specimen of gold-bearing quartz is worth: two weighings -> a fair offer range."""

from valuation.errors import Caution, Problem, RequestRefused, ValuationError
from valuation.evidence import evidence
from valuation.evidence_result import Evidence
from valuation.lots import LotQuote, LotRequest, lot_quote, read_lot
from valuation.problems import problems_of, read_request
from valuation.quoting import numerical_error, quote
from valuation.request import QuoteRequest
from valuation.result import Quote
from valuation.spread import Spread
from valuation.summary import Summary
from valuation.telling import method_version
from valuation.working_sheet import HeadlineWorking
from valuation.workings import working

__all__ = [
    "Caution",
    "Evidence",
    "HeadlineWorking",
    "LotQuote",
    "LotRequest",
    "Problem",
    "Quote",
    "QuoteRequest",
    "RequestRefused",
    "Spread",
    "Summary",
    "ValuationError",
    "evidence",
    "lot_quote",
    "method_version",
    "numerical_error",
    "problems_of",
    "quote",
    "read_lot",
    "read_request",
    "working",
]
