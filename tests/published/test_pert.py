"""Three-point times: activity and path means printed in management science textbooks."""

from __future__ import annotations

import pytest

from econ.knowledge import pert_mean

from .figures import entry


def three(row: list) -> tuple[float, float, float]:
    return (row[0], row[1], row[2])


def test_taylor() -> None:
    """Taylor, Introduction to Management Science, ch. 8: activity means, and 24 along the critical path."""
    v = entry("pert", "taylor_seven_activities")["values"]
    means = {i: pert_mean(three(row)) for i, row in v["activities"].items()}
    assert means == pytest.approx(v["recomputed"]["mean"], abs=1e-12)
    assert sum(means[i] for i in v["critical_path"]) == pytest.approx(v["printed"]["project_mean"])


def test_heizer() -> None:
    """Heizer and Render, Operations Management, ch. 3: fourteen printed means, to the cent."""
    v = entry("pert", "heizer_fourteen_activities")["values"]
    means = {i: pert_mean(three(row)) for i, row in v["activities"].items()}
    assert means == pytest.approx({i: row[4] for i, row in v["activities"].items()}, abs=0.00501)
    path = v["recomputed"]["critical_path"]
    assert sum(means[i] for i in path) == pytest.approx(v["recomputed"]["project_mean"], abs=5e-7)


def test_render_and_stair() -> None:
    """Render, Stair and Hanna, Quantitative Analysis for Management, ch. 12: 15 weeks."""
    v = entry("pert", "render_stair_eight_activities")["values"]
    length = sum(pert_mean(three(v["activities"][i])) for i in v["printed"]["critical_path"])
    assert length == pytest.approx(v["printed"]["project_mean"], abs=1e-12)
