"""Anything that fits the description of the pages' interface is answered, and never by a server error."""

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from web.client import TestClient
from web.conftest import ADDRESS, TOKEN, make_desk

from dustcap.job.desk import view
from dustcap.job.intake import take_in
from dustcap.job.payloads import Intake
from dustcap.web.app import create_app
from dustcap.web.guard import COOKIE

EXAMPLES = 4
SLOW = ("/stimulus.wav",)
"""Computed anew at each call; its own tests ask for it."""


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """Pages over a bench with job 1, which has no board so that nothing is computed."""
    desk = make_desk(tmp_path_factory.mktemp("bench") / "bench")
    take_in(desk, Intake(model="model 27", unit="room 1 left"))
    return desk, create_app(desk)


@pytest.fixture(scope="module")
def operations(bench):
    """Every operation of the interface."""
    import schemathesis

    schema = schemathesis.openapi.from_dict(bench[1].openapi())
    return {f"{one.ok().method.upper()} {one.ok().path}": one.ok() for one in schema.get_all_operations()}


def test_every_form_is_described(operations):
    """Forms stand in the interface's description with their fields, and say how they refuse."""
    posts = [name for name in operations if name.startswith("POST")]

    assert len(posts) >= 12
    for name in posts:
        answers = operations[name].definition.raw["responses"]
        assert {"303", "404", "422"} <= set(answers), name


def many_times(cases, name, call):
    """Calls it with generated cases, the same ones at every run."""

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(cases)
    def run(case):
        call(case, name)

    run()


def test_nothing_that_fits_the_description_breaks_a_page(bench, operations):
    """No answer is 500 or above; every refusal is a page of ours; the job stays readable."""
    desk, app = bench
    client = TestClient(app, base_url=ADDRESS, cookies={COOKIE: TOKEN}, raise_server_exceptions=False)
    found = {}

    def call(case, name):
        places = {**(case.path_parameters or {}), **({"job": 1} if "job" in (case.path_parameters or {}) else {})}
        body = case.body if isinstance(case.body, dict) else {}
        files = {key: (key, value) for key, value in body.items() if isinstance(value, bytes)}
        fields = {key: value for key, value in body.items() if isinstance(value, str | int)}
        got = client.request(
            case.method,
            case.path.format(**{key: str(value).replace("/", "_") for key, value in places.items()}) or "/",
            params={key: value for key, value in (case.query or {}).items() if not isinstance(value, dict)},
            data={**fields, "token": TOKEN} if case.method != "GET" else None,
            files=files or None,
            follow_redirects=False,
        )
        found.setdefault(name, set()).add(got.status_code)
        assert got.status_code < 500, (name, places, body, got.text[:400])

    for name, operation in operations.items():
        if operation.path not in SLOW:
            many_times(operation.as_strategy(), name, call)

    assert len(found) >= 20
    assert view(desk, 1).state.intake.model
    assert client.get("/jobs/1").status_code == 200
