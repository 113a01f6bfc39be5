"""The next time round, for any case: nothing is raised without a prior job, or by one done long ago."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from econ.findings import hear

from ..strategies import cases, decide, machine_class, read


@pytest.mark.slow
@settings(deadline=None, max_examples=15)
@given(cases(), st.data())
def test_only_a_job_that_failed_early_changes_an_answer(document: dict[str, Any], data: st.DataObject) -> None:
    plain = decide(document)
    case, c = read(document)
    assert hear(case, c) == hear(case, c, {})
    assert plain.warranty_first == ""
    assert not [a for a in plain.assumptions if a.name.startswith("root_cause")]
    assert all(x.root_cause == 0 for x in plain.next_time)
    jobs = sorted(machine_class(document["machine"]["class"]).jobs)
    prior = [{"job": data.draw(st.sampled_from(jobs)), "months_ago": 600, "warranty_months": 12}]
    long_ago = decide({**document, "prior_jobs": prior})
    assert replace(long_ago, assumptions=(), next_time=()) == replace(plain, assumptions=(), next_time=())


@pytest.mark.slow
@settings(deadline=None, max_examples=15)
@given(cases())
def test_the_lines_fit_the_estimate(document: dict[str, Any]) -> None:
    d, c = decide(document), machine_class(document["machine"]["class"])
    jobs = d.estimate.jobs if d.estimate else ()
    fitted = {q.part for j in jobs for q in c.jobs[j].parts if c.parts[q.part].life}
    assert len(d.next_time) == (0 if d.perspective == "reseller" else min(len(fitted), 3))
    for x in d.next_time:
        assert x.part in fitted
        assert x.job in jobs
        assert x.part in {q.part for q in c.jobs[x.job].parts}
        assert x.repairs >= 0
        assert x.repairs_cost >= 0
        assert x.cost_now > 0
        if x.next_failure is not None:
            assert 0 < x.next_failure.chance <= 1
            assert x.next_failure.limit <= x.limit_now
