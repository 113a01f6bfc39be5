"""The pages of the machine classes are those the rulebooks give."""

from __future__ import annotations

import re

import pytest

from api import library
from api.reference import FOLDER, pages, write


@pytest.fixture(scope="module")
def written():
    return pages(library.shelf())


def test_they_are_current(written):
    there = {path.name: path.read_text(encoding="utf-8") for path in FOLDER.glob("*")}
    assert there == written, "python -m api.reference writes them"


def test_every_table_of_a_class_is_on_its_page(written):
    for class_id, c in library.shelf().items():
        rows = set(re.findall(r"^\| `(\w+)` \|", written[f"{class_id}.md"], re.MULTILINE))
        assert rows == {
            *c.facts, *c.faults, *c.checks, *c.complaints, *c.operations, *c.jobs, *c.parts, *c.tools, *c.holds,
            *c.cautions, *c.release_checks,
        }  # fmt: skip
        assert f"]({class_id}.md)" in written["README.md"]


def test_a_fault_a_job_and_a_part_by_hand(written):
    """Odds 0.27 / 0.73; hours and money summed over the tables of the tiller by hand."""
    page = written["tiller_rear_tine.md"]
    assert "| `stale_fuel_jet` | stale fuel and a blocked carburettor jet | 27 % | 0.37 |  | 100 % |" in page
    assert re.search(r"^\| `further_diagnosis` .* \| 0\.50 / 1\.50 / 4\.00 \|.*\| 49\.33 \|", page, re.MULTILINE)
    assert re.search(r"^\| `rod_galled` \| [^|]* \| [^|]* \| [^|]* \| yes \|", page, re.MULTILINE)


def test_every_row_has_as_many_cells_as_its_head(written):
    for text in written.values():
        for table in re.findall(r"(?:^\|.*\n)+", text, re.MULTILINE):
            counts = {len(re.findall(r"(?<!\\)\|", line)) for line in table.splitlines()}
            assert len(counts) == 1, table


def test_a_page_of_a_class_that_is_no_more_goes(tmp_path, written):
    (tmp_path / "gone.md").write_text("old", encoding="utf-8")
    write(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == set(written)
