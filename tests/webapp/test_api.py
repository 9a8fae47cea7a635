"""The JSON interface."""

import json

import pytest
from flask.testing import FlaskClient

from scenarios import FIRST, scenario
from valuation import quote


def entries(name: str = FIRST) -> dict[str, object]:
    return dict(json.loads(json.dumps(scenario(name).entries, default=str)))


def test_a_request_is_answered_with_its_quote(client: FlaskClient) -> None:
    answer = client.post("/api/quote", json=entries())
    assert answer.status_code == 200
    assert answer.json == json.loads(quote(scenario(FIRST).request()).model_dump_json())


def test_every_problem_is_told_with_its_field(client: FlaskClient) -> None:
    sent = entries()
    sent["weighing"] = {"dry_g": ["x"], "readability_g": -1}
    sent["spott"] = {}
    answer = client.post("/api/quote", json=sent)
    assert answer.status_code == 422 and answer.json is not None
    fields = {problem["field"] for problem in answer.json["problems"]}
    assert {"weighing.dry_g.0", "weighing.readability_g", "spott"} <= fields
    assert all(problem["message"] for problem in answer.json["problems"])


@pytest.mark.parametrize(
    ("body", "kind", "status"),
    [
        ("{}", "text/plain", 403),
        ("{", "application/json", 400),
        ("[]", "application/json", 400),
        ('"x"', "application/json", 400),
        ("[" * 100_000, "application/json", 400),
        (" " * 300_000, "application/json", 413),
        ('{"spot": NaN}', "application/json", 422),
    ],
)
def test_what_is_no_request_is_refused_as_json(client: FlaskClient, body: str, kind: str, status: int) -> None:
    answer = client.post("/api/quote", data=body, content_type=kind)
    assert answer.status_code == status
    assert answer.json is not None and "Traceback" not in answer.text


def test_errors_of_the_interface_are_json(client: FlaskClient) -> None:
    answer = client.get("/api/quote")
    assert answer.status_code == 405
    assert answer.json is not None and answer.json["message"]
