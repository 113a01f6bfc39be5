"""Schemathesis holds the service to its own OpenAPI description, in process."""

from __future__ import annotations

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.checks import CHECKS, load_all_checks

from api.http import create_app

load_all_checks()
schema = schemathesis.openapi.from_wsgi("/openapi.json", create_app())
# A well-shaped case may name a fault or part that its class does not have, which no JSON Schema can say: 422 then.
NOT_HELD = {"positive_data_acceptance"}


@pytest.mark.slow
@schema.parametrize()
@settings(max_examples=50, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
def test_the_service_is_what_it_says(case):
    case.call_and_validate(checks=[c for c in CHECKS.get_all() if c.__name__ not in NOT_HELD])
