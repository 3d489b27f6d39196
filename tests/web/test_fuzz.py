"""The open interface under requests made up from its own OpenAPI description, valid and invalid."""

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from skyglint.web.app import make_app

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
PATHS = [
    "/api/v1/station",
    "/api/v1/channels",
    "/api/v1/nights",
    "/api/v1/echoes",
    "/api/v1/echoes/{echo_id}",
    "/api/v1/coverage",
    "/api/v1/rates",
    "/api/v1/live/recent",
    "/api/v1/live/spectrogram",
    "/api/v1/live/passes",
]
#: Sends events without end; tested with a real server.
ENDLESS = "/api/v1/live"


@pytest.fixture
def described(context):
    return schemathesis.openapi.from_asgi("/api/v1/openapi.json", make_app(context))


def test_every_described_path_is_fuzzed(described):
    assert {found.ok().path for found in described.get_all_operations()} == {*PATHS, ENDLESS}


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE], ids=["valid", "invalid"])
@pytest.mark.parametrize("path", PATHS)
def test_no_request_breaks_the_interface(described, path, mode):
    operation = described[path]["GET"]
    if mode is GenerationMode.NEGATIVE and not (operation.query or operation.path_parameters):
        mode = GenerationMode.POSITIVE  # nothing in such a request can be wrong

    @settings(
        max_examples=10,
        derandomize=True,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def ask(case):
        case.call_and_validate(checks=CHECKS)

    ask()
