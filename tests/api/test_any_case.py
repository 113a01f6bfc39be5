"""Whatever a well-formed case holds, the answer is a decision or a refusal that says why, never a breakdown."""

from __future__ import annotations

import json
import re

import pytest
from hypothesis import HealthCheck, given, settings

from api import library
from api.http import create_app
from api.text import decision_text

from .strategies import cases

client = create_app().test_client()


@pytest.mark.slow
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(case=cases())
def test_every_case_is_answered(case):
    response = client.post("/v1/decisions", data=json.dumps(case), content_type="application/json")
    assert response.status_code in (200, 422), response.text
    if response.status_code == 200:
        decision = library.decide_document(case)
        text = decision_text(decision, library.machine_class(decision.machine_class))
        assert [line for line in text.splitlines() if len(line) > 100] == []
        for bad in ("EVSI", "P90", "posterior"):
            assert bad not in text
            assert not re.search(r"\b(nan|inf|infinity)\b", text, re.IGNORECASE)
