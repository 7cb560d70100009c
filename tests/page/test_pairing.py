"""Pairing over TLS: one code, one browser; every request but the pairing needs it."""

from __future__ import annotations

import json
import re
import ssl
from datetime import UTC, datetime
from urllib.parse import urlsplit

import httpx
import pytest
from playwright.sync_api import expect

from pitchcam.page import tls
from pitchcam.page.access import Access
from tests.page.running import running_page
from tests.records.published import check

NOW = datetime(2026, 1, 2, tzinfo=UTC)


def test_a_code_is_spent_by_the_first_who_pairs():
    access = Access()
    code = access.offer()
    session = access.pair(code, NOW)
    assert access.knows(session)
    assert access.pair(code, NOW) is None
    assert access.pair("guess", NOW) is None
    assert not access.knows("guess")
    assert not access.knows(None)


def test_paired_browsers_are_kept_without_their_secrets(tmp_path):
    access = Access(tmp_path / "browsers.json")
    session = access.pair(access.offer(), NOW)
    kept = (tmp_path / "browsers.json").read_text()
    assert session not in kept
    check("browsers", json.loads(kept))
    assert (tmp_path / "browsers.json").stat().st_mode & 0o077 == 0
    again = Access(tmp_path / "browsers.json")
    assert again.knows(session)
    mark, since = again.browsers()[0]
    assert since == "2026-01-02 00:00"
    assert again.forget(mark)
    assert not Access(tmp_path / "browsers.json").knows(session)


def test_a_damaged_list_of_browsers_only_means_pairing_again(tmp_path):
    for damaged in ("[1, 2", "[1, 2]", "{}", '{"browsers": [1]}'):
        (tmp_path / "browsers.json").write_text(damaged)
        assert Access(tmp_path / "browsers.json").browsers() == []


def test_the_certificate_is_kept_and_names_this_machine(tmp_path):
    """Read back by the standard library's ssl, which did not write it."""
    names = ["192.0.2.7", "localhost"]
    cert, key = tls.certificate(tmp_path, names)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(cert, key)
    first = cert.read_bytes()
    assert tls.certificate(tmp_path, names)[0].read_bytes() == first
    assert key.stat().st_mode & 0o077 == 0
    tls.certificate(tmp_path, ["192.0.2.8"])
    assert cert.read_bytes() != first


@pytest.fixture(scope="module")
def lan(tmp_path_factory):
    folder = tmp_path_factory.mktemp("lan")
    with running_page(folder, "--lan", "--jobs", "1", wait="/pair/") as page:
        yield page


def code_of(page) -> str:
    return re.findall(r"/pair/([\w-]+)", "\n".join(page.lines))[-1]


def test_only_the_paired_browser_gets_in(lan, chromium):
    port = urlsplit(lan.address).port
    address = f"https://127.0.0.1:{port}"
    assert any("browser will warn" in line for line in lan.lines)
    stranger = httpx.Client(base_url=address, verify=False)
    code = code_of(lan)
    for path in ("/", "/record", "/answers/0123456789", "/static/upload.js", "/browsers"):
        assert stranger.get(path).status_code == 401
    assert stranger.post("/photos", content=b"x").status_code == 401
    # Looking at the code's page, as a preview of a link does, spends nothing.
    assert stranger.get(f"/pair/{code}").status_code == 200

    context = chromium.new_context(
        base_url=address, ignore_https_errors=True, viewport={"width": 360, "height": 740}
    )
    tab = context.new_page()
    tab.goto(f"/pair/{code}")
    tab.click("button:has-text('Pair this browser')")
    tab.wait_for_url(f"{address}/")
    expect(tab.locator("h1").first).to_contain_text("What thread is it?")
    cookie = context.cookies()[0]
    assert cookie["secure"] and cookie["httpOnly"] and cookie["sameSite"] == "Strict"

    assert stranger.post(f"/pair/{code}").status_code == 403
    assert stranger.get("/").status_code == 401
    # A browser that is in lets the next one in, and can be forgotten.
    tab.click("text=Paired browsers")
    tab.click("text=Pair one more")
    expect(tab.locator(".code svg")).to_have_count(1)
    second = tab.inner_text(".wrap code").rpartition("/")[2]
    assert stranger.post(f"/pair/{second}").status_code == 303
    assert stranger.get("/").status_code == 200
    assert code_of(lan) != code, "the terminal shows a new code when one is spent"
    tab.goto("/browsers")
    expect(tab.locator("button:has-text('Forget')")).to_have_count(2)
    tab.locator("button:has-text('Forget')").last.click()
    expect(tab.locator("button:has-text('Forget')")).to_have_count(1)
    assert stranger.get("/").status_code == 401
    context.close()
    stranger.close()
