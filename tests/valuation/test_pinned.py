"""The figures of one request, pinned: the same request, method and library versions must always give them.

Run as a program, it pins them anew; see tests/cases/pinned.toml.
"""

import json
import tomllib
from pathlib import Path

import pytest

from valuation import method_version, quote, read_request

CASE = Path(__file__).parents[1] / "cases" / "pinned.toml"
SUMMARIES = (
    "specific_gravity",
    "mass_g",
    "volume_cm3",
    "native_gold_g",
    "fine_gold_g",
    "fine_silver_g",
    "melt_value",
    "silver_value",
)
SINGLE = ("kept_frac", "buyer_ceiling", "seller_floor", "cost_of_doubt")


def figures_of(request):
    """Every headline figure by a dotted name, and the amounts of the statement as text."""
    q = quote(read_request(request))
    found = {f"{name}.{part}": v for name in SUMMARIES for part, v in getattr(q, name).model_dump().items()}
    found |= {name: getattr(q, name) for name in SINGLE}
    found |= {f"detection.{part}": getattr(q.detection, part) for part in ("estimate_g", "critical_g", "limit_g")}
    for route in q.routes:
        found |= {f"{route.route}.{k}": v for k, v in route.model_dump().items() if isinstance(v, float)}
    found |= {f"fair.{part}": v for part, v in q.fair.model_dump().items()}
    for side in ("buyer", "seller"):
        found |= {f"plan.{side}.{part}": v for part, v in getattr(q.plan, side).model_dump().items()}
    found |= {f"budget.{row.input}": row.share_frac for row in q.budget}
    return found | {f"settlement.{row.line}": row.amount for row in q.settlement}


CASE_TEXT = CASE.read_text(encoding="utf-8")
REQUEST, PINNED = (tomllib.loads(CASE_TEXT)[table] for table in ("request", "pinned"))


class TestPinnedFigures:
    def test_the_method_is_the_one_they_were_pinned_with(self):
        assert method_version() == PINNED["method_version"]

    def test_every_figure_is_the_pinned_one(self):
        found = figures_of(REQUEST)
        assert sorted(found) == sorted(PINNED["figures"])
        moved = {
            name: (pinned, found[name])
            for name, pinned in PINNED["figures"].items()
            if found[name] != (pinned if isinstance(pinned, str) else pytest.approx(pinned, rel=1e-9, abs=1e-12))
        }
        assert not moved, "if this was meant, pin them anew as tests/cases/pinned.toml says"

    def test_a_second_quote_is_the_same_to_the_last_digit(self):
        assert figures_of(REQUEST) == figures_of(REQUEST)


def pin():
    """Write the figures of today over those of the file."""
    kept = CASE_TEXT[: CASE_TEXT.index("[pinned]")]
    lines = [f"{json.dumps(name)} = {json.dumps(value)}" for name, value in figures_of(REQUEST).items()]
    head = ["[pinned]", f'method_version = "{method_version()}"', "", "[pinned.figures]"]
    CASE.write_text(kept + "\n".join([*head, *lines]) + "\n", encoding="utf-8")


if __name__ == "__main__":
    pin()
