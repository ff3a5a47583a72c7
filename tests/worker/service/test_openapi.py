"""The service against its own OpenAPI: no failure, and no status that is not there."""

import json
import re
from contextlib import suppress
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import checks
from schemathesis.specs.openapi import checks as openapi_checks
from service_process import Service, walk_job

SMALL, LARGE = 8, 300
CHECKS = [
    checks.not_a_server_error,
    openapi_checks.status_code_conformance,
    openapi_checks.content_type_conformance,
    openapi_checks.response_schema_conformance,
    openapi_checks.response_headers_conformance,
]
HEALTH = list(HealthCheck)


def document(service: Service) -> dict[str, Any]:
    reply = service.ask("GET", "/v1/openapi.json", project=None)
    assert reply.status == 200
    found: dict[str, Any] = reply.json
    return found


def hold_to_document(service: Service, n_examples: int) -> int:
    """Send generated requests to every route; return how many."""
    schema = schemathesis.openapi.from_dict(document(service))
    schema.config.update(base_url=service.address)
    headers = {"Authorization": f"Bearer {service.tokens['fuzz']}"}
    sent = 0
    for found in schema.get_all_operations():
        operation = found.ok()

        @settings(
            max_examples=n_examples,
            deadline=None,
            derandomize=True,
            database=None,
            suppress_health_check=HEALTH,
            phases=(Phase.explicit, Phase.generate),
        )
        def hold(case: Any) -> None:
            nonlocal sent
            sent += 1
            case.call_and_validate(headers=headers, checks=CHECKS, timeout=60)

        schemathesis_given(operation, hold)
    return sent


def schemathesis_given(operation: Any, hold: Any) -> None:
    """Run a test on requests made from an operation, sound ones and spoilt ones."""
    from hypothesis import given
    from schemathesis import GenerationMode

    for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):
        nothing_to_spoil = mode is GenerationMode.NEGATIVE
        unmade = (Unsatisfiable,) if nothing_to_spoil else ()
        with suppress(*unmade):
            strategy = operation.as_strategy(generation_mode=mode)
            given(case=strategy)(hold)()


@pytest.mark.slow
def test_the_service_holds_to_its_document(service: Service) -> None:
    sent = hold_to_document(service, SMALL)
    print(f"{sent} requests")
    assert sent > SMALL * 8
    assert "Traceback" not in service.log


@pytest.mark.long
def test_the_service_holds_to_its_document_at_length(service: Service) -> None:
    print(f"{hold_to_document(service, LARGE)} requests")
    assert "Traceback" not in service.log


def test_every_route_and_status_is_documented(service: Service) -> None:
    routes = {
        (method, path)
        for path, methods in document(service)["paths"].items()
        for method in methods
    }
    assert routes == {
        ("post", "/v1/takes"),
        ("get", "/v1/takes/{key}"),
        ("post", "/v1/batches"),
        ("get", "/v1/batches/{name}"),
        ("delete", "/v1/batches/{name}"),
        ("get", "/v1/batches/{name}/events"),
        ("get", "/v1/batches/{name}/shots/{shot}"),
        ("get", "/v1/reviews/{sequence}/{page}"),
        ("get", "/v1/reviews/{sequence}/data/{name}"),
        ("post", "/v1/reviews/{sequence}/notes"),
        ("get", "/v1/lenses"),
        ("get", "/v1/schema"),
        ("get", "/livez"),
        ("get", "/readyz"),
        ("get", "/metrics"),
    }
    posted = document(service)["paths"]["/v1/takes"]["post"]["responses"]
    named = {"200", "202", "400", "401", "406", "408", "409", "413", "415", "422"}
    assert set(posted) == named | {"429", "500", "503"}


def test_the_document_describes_the_job_as_the_command_does(service: Service) -> None:
    from carrellata.jobs.job.schema import job_schema

    made = job_schema()
    schemas = document(service)["components"]["schemas"]
    text = json.dumps(made["$defs"]["ShotSpec"]).replace(
        "#/$defs/", "#/components/schemas/"
    )
    assert schemas["ShotSpec"] == json.loads(text)
    assert set(made["properties"]) == set(schemas["Job"]["properties"])
    assert service.ask("GET", "/v1/schema").json == made


def test_health_and_metrics_need_no_token(service: Service) -> None:
    service.ask("POST", "/v1/takes", walk_job(29))
    assert service.ask("GET", "/livez", project=None).body == b"alive\n"
    assert service.ask("GET", "/readyz", project=None).body == b"ready\n"
    text = service.ask("GET", "/metrics", project=None).body.decode()
    assert 'carrellata_takes_total{source="solved"}' in text
    assert 'route="/v1/takes",status="200"' in text
    # Names of projects and keys stay out.
    assert "north" not in text
    assert "/v1/takes/{key}" in text or "/v1/takes/" not in text


def test_every_reference_of_the_document_leads_somewhere(service: Service) -> None:
    found = document(service)
    named = set(re.findall(r'"#/components/schemas/([^"]*)"', json.dumps(found)))
    assert named
    assert named <= set(found["components"]["schemas"])
