"""What every request passes: host name, origin, size, token."""

import pytest
from web.client import TestClient
from web.conftest import ADDRESS, TOKEN

from dustcap.web.app import create_app
from dustcap.web.guard import COOKIE, MOST_BYTES


def test_a_page_brings_the_token_and_the_headers(desk):
    """A new browser gets a cookie that no script reads, and the page allows nothing from elsewhere."""
    client = TestClient(create_app(desk), base_url=ADDRESS)

    got = client.get("/")

    assert got.status_code == 200
    assert "HttpOnly" in got.headers["set-cookie"]
    assert "SameSite=Strict" in got.headers["set-cookie"]
    assert client.cookies[COOKIE] in got.text
    assert "default-src 'self'" in got.headers["content-security-policy"]
    assert "https://" not in got.text


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", ""])
def test_another_host_name_is_refused(pages, host):
    """A name that leads to this machine from outside is not answered."""
    assert pages.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["localhost:8027", "127.0.0.1", "[::1]:8027"])
def test_the_names_of_this_machine_are_answered(pages, host):
    """With and without a port."""
    assert pages.get("/", headers={"host": host}).status_code == 200


def test_a_form_of_another_site_is_refused(pages):
    """Even with the right token."""
    got = pages.post("/jobs/new", data={"token": TOKEN}, headers={"origin": "https://evil.example"})

    assert got.status_code == 403


def test_too_large_a_form_is_refused_before_it_is_read(pages):
    """By the size that it says; without a size it is not read at all."""
    assert pages.post("/jobs/new", headers={"content-length": str(MOST_BYTES + 1)}).status_code == 413
    assert pages.post("/jobs/new", content=iter([b"x"])).status_code == 411


def test_an_unknown_page_is_said_to_be_one(pages):
    """A page of ours, with the way back."""
    got = pages.get("/nowhere")

    assert got.status_code == 404
    assert "no such page" in got.text
    assert pages.get("/jobs/9").status_code == 404
    assert pages.get("/jobs/0").status_code == 422


def test_htmx_comes_from_this_machine(pages):
    """The script is served from its installed package, the styles from ours."""
    assert "htmx" in pages.get("/static/htmx.js").text
    assert pages.get("/static/bench.css").status_code == 200
