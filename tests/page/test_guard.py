"""What the page refuses: other names, other sites, forged tokens, too much, too slow; and how."""

from __future__ import annotations

import asyncio
import contextlib
import re
import select
import socket
import time
from urllib.parse import urlsplit

import cv2
import httpx
import pytest

from tests.page.running import SAMPLES, Client, by_itself, running_page, sample
from tests.records.published import check


@pytest.fixture(scope="module")
def browser(page):
    with page.client() as client:
        yield client


def test_every_answer_carries_the_headers(browser):
    """The directives are those of the W3C's Content Security Policy Level 3."""
    for address in ("/", "/nothing", "/static/look.css", "/record"):
        headers = browser.get(address).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "script-src 'self'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert "server" not in headers


def test_no_page_has_script_or_style_of_its_own_or_of_others(browser):
    answer = browser.measure(sample("p05-unf12-pin"))["address"]
    for address in ("/", "/live", "/panel", "/record", "/chart", answer):
        text = browser.get(address).text
        assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=|javascript:", text)
        assert not re.search(r'(?:src|href|action)="(?:https?:)?//', text)


@pytest.mark.parametrize("host", ["evil.example", "localhost.evil.example", "", "127.0.0.1.x"])
def test_another_name_for_this_machine_is_refused(page, host):
    """A name bent to this address would make another site's page one of ours."""
    got = httpx.get(page.address, headers={"Host": host})
    assert got.status_code in (400, 421)
    assert "<html" not in got.text


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_other_sites_change_nothing(browser, headers):
    got = browser.change("/reference", {"source": "pin", "size": "7"}, **headers)
    assert got.status_code == 403
    assert 'value="7"' not in browser.get("/").text


@pytest.mark.parametrize("token", ["", "0" * 64, "x", "é"])
def test_a_change_needs_its_token(browser, token):
    fields = {"token": token, "source": "pin", "size": "7"}
    assert browser.post("/reference", data=fields).status_code == 403
    assert browser.post("/live/frame?stream=abcdefgh", content=b"x").status_code == 403


def test_a_token_is_good_for_its_own_browser_only(page, browser):
    with page.client() as other:
        got = browser.post("/reference", data={"token": other.token, "source": "card"})
    assert got.status_code == 403


def test_what_a_script_is_answered_is_as_the_schemas_say(browser):
    """A frame that is no picture, one that is, and a reference."""
    address = "/live/frame?stream=abcdefgh&source=pin&size=6"
    token = {"X-Token": browser.token, "Accept": "application/json"}
    refused = browser.post(address, content=b"x", headers=token)
    assert refused.status_code in (400, 422)
    check("refusal", refused.json())
    frame = cv2.resize(cv2.imread(str(SAMPLES / "p05-unf12-pin.jpg")), (800, 600))
    seen = browser.post(address, content=cv2.imencode(".jpg", frame)[1].tobytes(), headers=token)
    if seen.status_code != 503:  # a machine under load passes a frame over
        check("frame", seen.json())
    check("kept", browser.change("/reference", {"source": "pin", "size": "6"}).json())


def test_runs_of_other_browsers_are_not_seen(page, browser):
    started = browser.change(
        "/photos", {"source": "pin", "size": "6"}, photo=("a.jpg", sample("p05-unf12-pin"))
    ).json()
    check("run", started)
    with page.client() as other:
        assert other.get(started["run"]).status_code == 404
        assert other.get(started["events"]).status_code == 404
    assert browser.follow(started["events"])["kind"] == "done"


@pytest.mark.parametrize(
    "address",
    [
        "/answers/0000000000",
        "/answers/../../etc",
        "/answers/%2e%2e/photo.jpg",
        "ANSWER/..%2f..%2f..%2fpitchcam.sqlite",
        "ANSWER/plots.json",
        "ANSWER/view.json",
        "/box/..%2f..%2fbench",
        "/box/AAAAAAAAAAAAAAAA",
        "/static/../app.py",
        "/static/..%2fapp.py",
        "/runs/x",
        "/answers/0000000000/part/0.jpg",
        "/together?id=zzz",
        "/chart.exe",
        "/box/AAAAAAAAAAAAAAAA/labels.pdf",
    ],
)
def test_guessed_addresses_find_nothing(browser, address):
    if address.startswith("ANSWER"):
        answer = browser.measure(sample("p05-unf12-pin"))["address"]
        address = address.replace("ANSWER", answer)
    got = browser.get(address)
    assert got.status_code in (400, 404)
    silent(got.text, browser)


def silent(text: str, browser: Client) -> None:
    """Nothing of the machine, of Python or of a library stands in an answer."""
    assert not re.search(r"Traceback|File \"|site-packages|\.py\b|sqlite3|/home|/tmp|/root", text)


def test_too_large_is_refused_before_it_is_read(page, browser):
    parts = urlsplit(page.address)
    with socket.create_connection((parts.hostname, parts.port), timeout=10) as line:
        head = (
            f"POST /photos HTTP/1.1\r\nHost: {parts.netloc}\r\nContent-Length: 99999999999\r\n"
            "Content-Type: multipart/form-data; boundary=x\r\n\r\n"
        )
        line.sendall(head.encode())
        assert line.recv(4096).startswith(b"HTTP/1.1 413")


def test_more_than_was_said_is_refused_while_it_comes(page, browser):
    """A body in chunks says no length; the answer comes while it is still being sent."""
    parts = urlsplit(page.address)
    piece = b"x" * 65536
    with socket.create_connection((parts.hostname, parts.port), timeout=30) as line:
        head = (
            f"POST /reference HTTP/1.1\r\nHost: {parts.netloc}\r\nX-Token: {browser.token}\r\n"
            f"Cookie: {'; '.join(f'{c.name}={c.value}' for c in browser.cookies.jar)}\r\n"
            "Content-Type: multipart/form-data; boundary=y\r\n"
            "Transfer-Encoding: chunked\r\n\r\n"
        )
        start = b'--y\r\nContent-Disposition: form-data; name="a"; filename="a"\r\n\r\n'
        line.sendall(head.encode() + b"%x\r\n%b\r\n" % (len(start), start))
        with contextlib.suppress(ConnectionError):  # the server hangs up on who goes on sending
            for _ in range(1280):  # 80 MB at most
                if select.select([line], [], [], 0)[0]:
                    break
                line.sendall(b"%x\r\n%b\r\n" % (len(piece), piece))
        assert line.recv(4096).startswith(b"HTTP/1.1 413")
    assert browser.get("/").status_code == 200


def test_a_half_upload_holds_up_nobody(page, browser):
    parts = urlsplit(page.address)
    lines = [socket.create_connection((parts.hostname, parts.port)) for _ in range(10)]
    head = (
        f"POST /photos HTTP/1.1\r\nHost: {parts.netloc}\r\nContent-Length: 1000000\r\n"
        "Content-Type: multipart/form-data; boundary=x\r\n\r\n--x\r\n"
    )
    for line in lines:
        line.sendall(head.encode())
    assert browser.measure(sample("p05-unf12-pin"))["kind"] == "done"
    for line in lines:
        line.close()
    assert browser.get("/").status_code == 200


@pytest.mark.parametrize(
    "name",
    [
        "../../../etc/passwd",
        "a\\..\\..\\b.jpg",
        "x" * 5000,
        "\u202egpj.exe",
        "a\0b.jpg",
        "CON",
        "<script>alert(1)</script>.jpg",
        "'; DROP TABLE measurement;--.jpg",
        "photo.svg",
        "名前.jpg",
    ],
)
def test_odd_names_are_only_names(page, browser, name):
    try:
        got = browser.measure(sample("p05-unf12-pin"), name=name)
    except UnicodeEncodeError:
        return
    assert got["kind"] in ("done", "refused")
    record = browser.get("/record").text
    assert "<script>alert" not in record
    assert not list(page.folder.rglob("passwd"))


@pytest.mark.parametrize(
    "fields",
    [
        {"source": "pin", "size": ""},
        {"source": "pin", "size": "0.2"},
        {"source": "ruler"},
        {"source": "pin", "size": "9e999"},
        {"source": "pin", "size": "8", "axis_height": "-3"},
        {"source": "pin", "size": "8", "shrinkage": "2"},
        {"source": "disc", "size": "nan"},
        {"source": "pin", "size": "8", "box": "../../x"},
    ],
)
def test_a_bad_reference_is_told_in_one_line(browser, fields):
    got = browser.change("/photos", fields, photo=("a.jpg", sample("p05-unf12-pin")))
    assert got.status_code in (400, 404)
    said = got.json()
    assert said["message"]
    assert said["advice"]
    silent(got.text, browser)


def test_a_slow_upload_is_ended(tmp_path):
    """The limits are those of the setup; a short one shows that they hold."""
    from starlette.requests import Request
    from starlette.responses import PlainTextResponse

    from pitchcam.page.access import Access
    from pitchcam.page.guard import Guard
    from pitchcam.page.setup import Limits, Setup

    async def take(scope, receive, send):
        await Request(scope, receive).body()
        await PlainTextResponse("taken")(scope, receive, send)

    setup = Setup(
        record=tmp_path / "r",
        folder=tmp_path,
        processes=1,
        limits=Limits(chunk_s=0.05, upload_s=0.2),
    )
    guard = Guard(take, setup, Access())
    scope = {
        "type": "http",
        "method": "POST",
        "path": "/photos",
        "raw_path": b"/photos",
        "query_string": b"",
        "scheme": "http",
        "http_version": "1.1",
        "root_path": "",
        "headers": [(b"host", b"localhost:1"), (b"content-length", b"50")],
    }
    sent = []

    async def serve(pause_s: float) -> None:
        async def receive():
            await asyncio.sleep(pause_s)
            return {"type": "http.request", "body": b"x", "more_body": True}

        async def send(message):
            sent.append(message)

        await guard(dict(scope), receive, send)

    for pause_s in (0.02, 10.0):  # drop by drop, and not at all
        sent.clear()
        began = time.monotonic()
        by_itself(serve(pause_s))
        assert sent[0]["status"] == 408
        assert time.monotonic() - began < 5


def test_the_record_survives_a_kill(tmp_path):
    """What was answered is there after the server was killed, not stopped."""
    with running_page(tmp_path, "--jobs", "1") as page, page.client() as client:
        assert client.measure(sample("p05-unf12-pin"))["kind"] == "done"
        client.change(
            "/photos", {"source": "pin", "size": "8"}, photo=("b.jpg", sample("p13-npt12-pin"))
        )
        page.process.kill()
        page.process.wait()
    with running_page(tmp_path, "--jobs", "1") as page, page.client() as client:
        assert "1/2-20 UNF" in client.get("/record").text
        assert client.measure(sample("p13-npt12-pin"), size="8")["kind"] == "done"
