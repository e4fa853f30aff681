"""Every page answers, in every stage of a job, and each form keeps what it was given or gives it back."""

import pytest
from web.conftest import TOKEN


def test_an_empty_bench_says_what_to_do_first(pages):
    """A folder without a bench is an empty one; looking at it makes nothing."""
    got = pages.get("/")

    assert got.status_code == 200
    assert "/intake" in got.text


@pytest.mark.parametrize("page", ["", "/hunt", "/sound", "/proof", "/handover", "/entries/1"])
def test_every_page_of_a_new_job_answers(pages, job, page):
    """Before anything is known there is nothing to show, and the page says so."""
    got = pages.get(f"/jobs/{job}{page}")

    assert got.status_code == 200
    assert f"Job {job}" in got.text
    assert "local codes" in got.text
    assert TOKEN in got.text
