"""The description of the JSON interface, and the interface held to it with requests that the description makes up.

schemathesis, a general-purpose tester of interfaces, makes the requests and judges the answers; jsonschema-rs judges
files.
"""

from __future__ import annotations

import json
import os
import re
from collections import Counter
from typing import Any

import jsonschema_rs
import pytest
import schemathesis
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import HealthCheck, Phase, given, seed, settings
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from werkzeug.datastructures import MultiDict

from scenarios import FIRST, all_scenarios, scenario
from webapp.openapi import description
from webapp.retyped import typed_from

STEADY = settings(deadline=None, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
EXAMPLES = int(os.environ.get("LODEWORTH_API_EXAMPLES", "100"))


def refs(part: Any) -> set[str]:
    if isinstance(part, dict):
        here = {part["$ref"]} if isinstance(part.get("$ref"), str) else set()
        return here.union(*map(refs, part.values()))
    return set().union(*map(refs, part)) if isinstance(part, list) else set()


def test_every_reference_leads_somewhere_and_no_keyword_is_unknown() -> None:
    told = description()
    names = {ref.removeprefix("#/components/schemas/") for ref in refs(told)}
    assert names <= set(told["components"]["schemas"])
    assert '"gt":' not in json.dumps(told) and '"assumed":' not in json.dumps(told)


def test_it_is_served(client: FlaskClient) -> None:
    told = client.get("/api/openapi.json")
    assert told.json == json.loads(json.dumps(description()))


@pytest.mark.parametrize("one", all_scenarios(), ids=lambda one: one.name)
def test_every_scenario_fits_its_description_and_so_does_the_answer(client: FlaskClient, one: Any) -> None:
    told = description()

    def judge(name: str) -> Any:
        return jsonschema_rs.validator_for({"$ref": f"#/components/schemas/{name}", "components": told["components"]})

    entries = json.loads(one.request().model_dump_json(exclude_unset=True))
    judge("QuoteRequest").validate(entries)
    answer = client.post("/api/quote", json=entries)
    assert answer.status_code == 200
    judge("Quote").validate(answer.json)


def test_every_address_that_answers_json_is_described(app: Flask) -> None:
    rules = [rule for rule in app.url_map.iter_rules() if "json" in rule.rule or rule.rule.startswith("/api/")]
    told = set()
    for rule in rules:
        path = re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", re.sub(r"<any\([^)]*\):\w+>", "*", rule.rule))
        files = re.findall(r"[\w-]+\.json", rule.rule) if "*" in path else [""]
        told |= {path.replace("*", file) for file in files}
    assert told == set(description()["paths"])


def test_what_is_turned_to_the_seller_fits_its_description(client: FlaskClient) -> None:
    told = description()
    client.get("/open")
    with client.session_transaction() as session:
        token = session["token"]
    typed = MultiDict(typed_from(scenario(FIRST).entries).texts)
    typed["token"] = token
    assert client.post("/quotes/a-name-of-sixteen", data=typed).status_code == 303
    answer = client.get("/quotes/a-name-of-sixteen/counter.json")
    reference = {"$ref": "#/components/schemas/CounterView", "components": told["components"]}
    jsonschema_rs.validator_for(reference).validate(answer.json)
    assert client.get("/quotes/another-of-sixteen/counter.json").mimetype == "text/html"


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_no_request_whatever_breaks_the_interface(app: Flask, mode: GenerationMode) -> None:
    """Requests that fit the description, and requests that break it in one place or another."""
    quoting = schemathesis.openapi.from_wsgi("/api/openapi.json", app)["/api/quote"]["POST"]
    checks = [not_a_server_error, status_code_conformance, response_schema_conformance, content_type_conformance]
    seen: Counter[int] = Counter()

    @seed(20261125)
    @settings(STEADY, max_examples=EXAMPLES)
    @given(case=quoting.as_strategy(generation_mode=mode))
    def judged(case: Any) -> None:
        answer = case.call()
        case.validate_response(answer, checks=checks)
        json.loads(answer.text, parse_constant=pytest.fail)  # NaN or Infinity as a value
        seen[answer.status_code] += 1

    judged()
    assert seen[422] + seen[400] > 0
    assert set(seen) <= {200, 400, 413, 415, 422}
