"""The page's small parts without a server: words, forms, cut-outs, kept lists, and the guard."""

from __future__ import annotations

import asyncio
import json
from datetime import UTC, datetime
from typing import Any

import pytest

from pitchcam.cli._stock import load_stock
from pitchcam.errors import InputError, RefusedError, UnreadableError, UsageError
from pitchcam.page import bench_memory, boxes, photos, show, typed, web
from pitchcam.page.access import COOKIE, SECURE_COOKIE, Access, digest
from pitchcam.page.guard import DRAWING_POLICY, POLICY, Guard
from pitchcam.page.phrases import on_the_page
from pitchcam.page.setup import Limits, Setup
from pitchcam.reference_kinds import LYING, REFERENCE_KINDS, SIZED
from pitchcam.store.entries import Entry, Outcome
from pitchcam.store.store import Store
from tests.page.running import by_itself


@pytest.fixture
def setup(tmp_path) -> Setup:
    made = Setup(record=tmp_path / "r.sqlite", folder=tmp_path / "page", processes=1)
    made.make_folders()
    return made


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("See: pitchcam lookup", "See: Look up on the bench"),
        ("See: pitchcam stock import", "See: Stock on the bench"),
        ("See: pitchcam stock columns", "See: the sheet of Stock on the bench"),
        ("see pitchcam mate --matrix.", "see Mate on the bench ."),
        ("then: pitchcam identify PHOTO", "then: the photo page"),
        ("Give --diameter or --bore", "Give the diameter over the crests or the bore"),
        (
            "Check --probe, --wall and --immersion.",
            "Check probe's length, port's wall and probe in the fluid.",
        ),
        ("Otherwise add --unlisted.", "Otherwise add 'No series here has it'."),
        # An option that the page has no name for is its own words.
        ("use --hose-pressure", "use hose pressure"),
        ("pitchcam has no words", "pitchcam has no words"),
        ("pitchcam names the thread", "pitchcam names the thread"),
        # What a library said of its failure stays in the log.
        ("It broke (OSError: /etc/x).", "It broke."),
        ("It broke (MemoryError) here.", "It broke here."),
        ("plain (a note) stays", "plain (a note) stays"),
        ("two  blanks", "two blanks"),
    ],
)
def test_advice_in_the_pages_words(told: str, shown: str) -> None:
    assert on_the_page(told) == shown


@pytest.mark.parametrize(
    ("text", "mm"), [("8", 8.0), (" 5/16in ", 7.9375), ("", None), ("  ", None), (None, None)]
)
def test_a_typed_length(text: str | None, mm: float | None) -> None:
    assert typed.length(text) == mm


@pytest.mark.parametrize(("text", "value"), [("0,5", 0.5), (" 2 ", 2.0), ("", None), (None, None)])
def test_a_typed_number(text: str | None, value: float | None) -> None:
    assert typed.number(text, "shrinkage") == value


def refused(call, *args: Any) -> str:
    with pytest.raises(UsageError) as caught:
        call(*args)
    return str(caught.value)


def test_what_is_no_number_says_of_what() -> None:
    assert refused(typed.number, "much", "shrinkage") == "'much' is no shrinkage; write a number"
    # A long text is not thrown back whole.
    assert len(refused(typed.number, "x" * 500, "torque")) < 90


@pytest.mark.parametrize("source", SIZED)
def test_a_sized_reference_needs_its_size(source: str) -> None:
    says = REFERENCE_KINDS[source].says
    expected = f"no size was typed for {says}; measure it and type it in mm"
    assert refused(typed.scale, {"source": source, "size": " "}) == expected
    assert typed.scale({"source": source, "size": "20"}).mm == 20.0


def test_references_of_the_form() -> None:
    assert {name for name, _, _ in typed.REFERENCES} == set(REFERENCE_KINDS)
    assert [name for name, _, sized in typed.REFERENCES if sized] == [
        n for n in REFERENCE_KINDS if n in SIZED
    ]
    assert typed.scale({}).source == "auto" == typed.scale({"source": ""}).source
    assert typed.scale({"source": "none"}).source == "none"
    assert typed.scale({"source": "sheet"}).sheet_bar_mm == 100.0
    said = refused(typed.scale, {"source": "ruler"})
    assert said == "there is no such reference; choose one of the list"
    high = typed.scale({"source": "card", "reference_height": "0.8", "axis_height": "9,5"})
    assert (high.height_mm, high.axis_height_mm) == (0.8, 9.5)


@pytest.mark.parametrize(
    ("text", "fields"),
    [
        ("pin 8", {"source": "pin", "size": "8"}),
        ("  Card ", {"source": "card", "size": ""}),
        ("sheet 99.6", {"source": "sheet", "size": "99.6"}),
        ("MAJOR  0.543in", {"source": "major", "size": "0.543in"}),
    ],
)
def test_a_reference_in_words(text: str, fields: dict[str, str]) -> None:
    assert typed.reference_text(text) == fields


def test_a_shrinkage_is_of_a_cast_and_small() -> None:
    card = {"source": "card"}
    assert refused(typed.settings, card | {"shrinkage": "1"}).startswith("a shrinkage is of a cast")
    for percent in ("-0.1", "5.1"):
        said = refused(typed.settings, card | {"cast": "yes", "shrinkage": percent})
        assert said == "a cast shrinks by 0 to 5 percent; see the compound's sheet"
    for percent in ("0", "5"):
        made = typed.settings(card | {"cast": "yes", "shrinkage": percent})
        assert made.cast and made.shrinkage_percent == float(percent)


@pytest.mark.parametrize(
    "fields",
    [
        {"source": "pin", "size": "8"},
        {"source": "card"},
        {"source": "sheet", "size": "99.6"},
        {"source": "major", "size": "13.8", "cast": "yes"},
        {"source": "none", "axis_height": "9.5"},
        {"source": "disc", "size": "20", "reference_height": "1.5"},
        {"source": "card", "cast": "yes", "shrinkage": "0.4"},
    ],
    ids=lambda f: f["source"],
)
def test_what_the_record_keeps_fills_the_form_again(fields: dict[str, str]) -> None:
    made = typed.settings(fields)
    again = typed.reference_of(made.text)
    assert typed.settings(again).key == made.key
    assert {k: v for k, v in again.items() if k != "size"} == {
        k: v for k, v in fields.items() if k != "size"
    }
    assert typed.spec_of(made.text) == made.scale
    assert typed.reference_of(json.dumps({"photos": []})) == {}


# The guard's own small things.


def test_a_token_belongs_to_its_session() -> None:
    access = Access()
    one, other = access.open("a"), access.open("b")
    token = access.change_token(one)
    assert access.allows_change(one, token) and not access.allows_change(other, token)
    assert not access.allows_change(one, token[:-1]) and not access.allows_change(one, "")
    assert not Access().allows_change(one, token)
    assert len(digest("x")) == 64 and one not in str(access.browsers())


def test_the_oldest_session_is_forgotten_first() -> None:
    access = Access()
    first = access.open("first")
    kept = [access.open(f"{n}") for n in range(200)]
    assert not access.knows(first) and all(access.knows(s) for s in kept)
    assert len(access.browsers()) == 200
    mark, since = access.browsers()[0]
    assert since == "0" and access.forget(mark) and not access.forget(mark)
    assert not access.knows(kept[0]) and not access.forget("")


def test_a_code_that_is_offered_pairs_once() -> None:
    access = Access()
    code = access.offer()
    assert access.offered(code) and not access.offered(code + "x")
    session = access.pair(code, datetime(2026, 5, 4, 12, 30, 59, tzinfo=UTC))
    assert session is not None and not access.offered(code)
    assert access.browsers()[0][1] == "2026-05-04 12:30"


class Asked:
    """One request put to a guard, and what came back."""

    def __init__(self, setup: Setup, access: Access | None = None, reads: bool = True) -> None:
        self.access = access or Access()
        self.reached: list[dict[str, Any]] = []
        self.body = b""

        async def app(scope: Any, receive: Any, send: Any) -> None:
            self.reached.append(scope)
            while reads and scope["type"] == "http":
                message = await receive()
                self.body += message.get("body", b"")
                if not message.get("more_body"):
                    break
            if scope["type"] == "http":
                start = {"type": "http.response.start", "status": 200, "headers": []}
                await send(start)
                await send({"type": "http.response.body", "body": b"seen"})

        self.guard = Guard(app, setup, self.access)

    def __call__(
        self,
        path: str = "/",
        method: str = "GET",
        body: tuple[bytes, ...] = (),
        scheme: str = "http",
        **headers: str,
    ) -> tuple[int, dict[str, str], str]:
        named = {"host": "localhost:8000"} | {k.replace("_", "-"): v for k, v in headers.items()}
        scope = {
            "type": "http",
            "scheme": scheme,
            "method": method,
            "path": path,
            "headers": [(k.encode(), v.encode()) for k, v in named.items()],
        }
        chunks = list(body) or [b""]
        sent: list[Any] = []

        async def receive() -> Any:
            part = chunks.pop(0) if chunks else b""
            return {"type": "http.request", "body": part, "more_body": bool(chunks)}

        async def send(message: Any) -> None:
            sent.append(message)

        by_itself(self.guard(scope, receive, send))
        start, end = sent[0], sent[-1]
        held = [(k.decode(), v.decode()) for k, v in start["headers"]]
        return start["status"], dict(held), end["body"].decode()


@pytest.mark.parametrize(
    "host", ["localhost", "localhost:8000", "127.0.0.1:80", "[::1]", "[::1]:9"]
)
def test_this_computers_own_names_are_served(setup: Setup, host: str) -> None:
    status, headers, body = Asked(setup)(host=host)
    assert (status, body) == (200, "seen")
    assert headers["content-security-policy"] == POLICY and headers["cache-control"] == "no-store"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["set-cookie"].startswith(f"{COOKIE}=")
    assert "HttpOnly; SameSite=Strict" in headers["set-cookie"]
    assert "Secure" not in headers["set-cookie"]


@pytest.mark.parametrize("host", ["", "evil.example", "localhost.evil.example:8000", "10.0.0.1"])
def test_another_name_for_this_machine_is_turned_away(setup: Setup, host: str) -> None:
    asked = Asked(setup)
    status, headers, body = asked(host=host)
    assert (status, body) == (421, "This server has another name.\n")
    assert not asked.reached and headers["content-security-policy"] == POLICY
    assert "set-cookie" not in headers and asked.access.browsers() == []


@pytest.mark.parametrize(
    ("headers", "allowed"),
    [
        ({}, True),
        ({"origin": "http://localhost:8000"}, True),
        ({"origin": "https://localhost:8000"}, False),
        ({"origin": "http://localhost:8001"}, False),
        ({"origin": "http://evil.example"}, False),
        ({"origin": "null"}, False),
        ({"sec_fetch_site": "same-origin"}, True),
        ({"sec_fetch_site": "none"}, True),
        ({"sec_fetch_site": "same-site"}, False),
        ({"sec_fetch_site": "cross-site"}, False),
        # An origin that is right speaks for itself.
        ({"origin": "http://localhost:8000", "sec_fetch_site": "cross-site"}, True),
    ],
)
def test_only_this_site_may_change_anything(
    setup: Setup, headers: dict[str, str], allowed: bool
) -> None:
    asked = Asked(setup)
    status, _, body = asked(method="POST", **headers)
    assert status == (200 if allowed else 403) and bool(asked.reached) == allowed
    assert allowed or body == "Another site may change nothing here.\n"
    # To look is no change.
    assert asked(method="GET", **headers)[0] == 200
    assert asked(method="HEAD", **headers)[0] == 200


def test_a_known_session_is_kept_and_a_stranger_gets_a_fresh_one(setup: Setup) -> None:
    asked = Asked(setup)
    session = asked.access.open("a")
    _, headers, _ = asked(cookie=f"{COOKIE}={session}")
    assert "set-cookie" not in headers and asked.reached[-1]["session"] == session
    _, headers, _ = asked(cookie=f"{COOKIE}=guess")
    fresh = asked.reached[-1]["session"]
    assert headers["set-cookie"].startswith(f"{COOKIE}={fresh};") and fresh != session


def test_on_the_workshops_network_only_paired_browsers_get_in(tmp_path) -> None:
    lan = Setup(
        record=tmp_path / "r", folder=tmp_path, processes=1, lan=True, hosts=("bench.local",)
    )
    asked = Asked(lan)

    def get(path: str, **headers: str) -> tuple[int, dict[str, str], str]:
        return asked(path, host="bench.local:8443", scheme="https", **headers)

    status, _, body = get("/")
    assert status == 401
    assert body == "This browser is not paired. Scan the code that the server shows.\n"
    for path in ("/photos", "/static/page.js", "/pair"):
        assert get(path)[0] == 401
    assert get("/pair/code")[0] == get("/static/look.css")[0] == 200
    assert asked.reached[-1]["session"] is None
    session = asked.access.open("phone")
    # A cookie of the name without TLS opens nothing here.
    assert get("/", cookie=f"{COOKIE}={session}")[0] == 401
    assert get("/", cookie=f"{SECURE_COOKIE}={session}")[0] == 200
    assert asked.guard.cookie("s").endswith("; Secure")


SMALL = Limits(upload_bytes=1000, form_bytes=100)


@pytest.mark.parametrize(
    ("path", "size", "status"),
    [
        ("/bench", 100, 200),
        ("/bench", 101, 413),
        ("/photos", 1000, 200),
        ("/photos", 1001, 413),
        ("/live/frame", 1000, 200),
    ],
)
def test_a_body_is_counted_as_said_and_as_it_comes(
    tmp_path, path: str, size: int, status: int
) -> None:
    small = Setup(record=tmp_path / "r", folder=tmp_path, processes=1, limits=SMALL)
    said = Asked(small)
    got, _, line = said(path, "POST", (b"x" * size,), content_length=str(size))
    assert got == status and bool(said.reached) == (status == 200)
    # One that says nothing of its size is counted while it comes.
    halves = (b"x" * (size // 2), b"x" * (size - size // 2))
    silent = Asked(small)
    assert silent(path, "POST", halves)[0] == status
    if status == 200:
        assert said.body == silent.body == b"x" * size
    else:
        assert line == "More than 0 MB is not taken.\n"


@pytest.mark.parametrize("stated", ["-1", "1e3", "many", " "])
def test_a_size_that_is_none_is_refused(setup: Setup, stated: str) -> None:
    assert Asked(setup)("/bench", "POST", (b"x",), content_length=stated)[0] == 413


def test_an_early_answer_reads_the_body_to_its_end(setup: Setup) -> None:
    asked = Asked(setup, reads=False)
    status, _, body = asked("/bench", "POST", (b"x", b"y", b"z"))
    assert (status, body) == (200, "seen") and asked.body == b""


def test_a_body_that_does_not_come_ends_the_request(tmp_path) -> None:
    slow = Setup(
        record=tmp_path / "r",
        folder=tmp_path,
        processes=1,
        limits=Limits(chunk_s=0.01, upload_s=9.0),
    )
    asked = Asked(slow)
    sent: list[Any] = []

    async def never() -> Any:
        await asyncio.Event().wait()

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {"type": "http", "scheme": "http", "method": "POST", "path": "/photos",
             "headers": [(b"host", b"localhost")]}  # fmt: skip
    by_itself(asked.guard(scope, never, send))
    assert (
        sent[0]["status"] == 408 and sent[1]["body"] == b"The upload was too slow; send it again.\n"
    )
    # What the page is given of the guard: who may ask, by the sessions it keeps.
    assert asked.reached[0]["state"]["access"] is asked.access


def test_other_kinds_of_connection_are_not_served(setup: Setup) -> None:
    asked = Asked(setup)

    async def nothing(*_: Any) -> Any:
        raise AssertionError("nobody is spoken to")

    by_itself(asked.guard({"type": "websocket"}, nothing, nothing))
    assert asked.reached == []
    by_itself(asked.guard({"type": "lifespan"}, nothing, nothing))
    assert [s["type"] for s in asked.reached] == ["lifespan"]


def test_no_policy_lets_a_script_in() -> None:
    rules = dict(part.split(" ", 1) for part in POLICY.split("; "))
    assert rules["default-src"] == rules["base-uri"] == rules["frame-ancestors"] == "'none'"
    assert rules["script-src"] == rules["style-src"] == rules["form-action"] == "'self'"
    assert "unsafe" not in POLICY and "http" not in POLICY and "*" not in POLICY
    assert "script" not in DRAWING_POLICY and DRAWING_POLICY.endswith("sandbox")


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (UsageError("x"), 400),
        (InputError("x"), 400),
        (UnreadableError("x"), 422),
        (RefusedError("x"), 422),
        (web.missing("photo"), 400),
    ],
)
def test_what_an_error_answers_a_browser_with(error: Any, status: int) -> None:
    assert web._status(error) == status  # noqa: SLF001 (its page needs a running server)
    assert web.missing("photo").message == "There is no such photo."
    assert web.missing("photo").code == "missing"


def test_only_text_is_a_field() -> None:
    assert web.texts({"a": "1", "b": object(), "c": ""}) == {"a": "1", "c": ""}
    assert web.seen("/box").headers["location"] == "/box" and web.seen("/box").status_code == 303


# What is shown and kept.


@pytest.mark.parametrize(
    ("parts", "focus"),
    [
        # A quarter of the picture in its middle, and 15 % of room about it.
        ([[[1500, 1125], [2500, 1875]]], [1425.0, 1068.8, 1150.0, 862.5]),
        # Never beyond the picture.
        ([[[0, 0], [1000, 750]]], [0.0, 0.0, 1150.0, 862.5]),
        ([[[3000, 2250], [4000, 3000]]], [2850.0, 2137.5, 1150.0, 862.5]),
        # A tall part decides the width too.
        ([[[2000, 0], [2010, 3000]]], [0.0, 0.0, 4000.0, 3000.0]),
        ([], [0.0, 0.0, 4000.0, 3000.0]),
    ],
)
def test_the_picture_opens_on_what_was_found(tmp_path, parts: Any, focus: list[float]) -> None:
    view = {"width": 4000, "height": 3000, "parts": parts}
    (tmp_path / "view.json").write_text(json.dumps(view))
    drawn = show.view_of(tmp_path)
    assert drawn is not None and drawn["focus"] == focus
    assert drawn["reference"] == [] and drawn["threads"] == []


def test_nothing_drawn_is_no_view(tmp_path) -> None:
    assert show.view_of(tmp_path) is None
    (tmp_path / "view.json").write_text("{")
    assert show.view_of(tmp_path) is None


def test_every_status_has_a_mark_of_its_own_shape() -> None:
    assert set(show.MARKS) == {
        "named", "ambiguous", "off-series", "unreadable", "refused", "failed",
    }  # fmt: skip
    assert len({show.MARKS[s] for s in ("named", "ambiguous", "off-series", "unreadable")}) == 4


@pytest.mark.parametrize(
    ("values", "spread", "agree"),
    [
        ([(1.5, 0.003), (1.504, 0.004)], 0.8, True),
        ([(1.5, 0.003), (1.5099, 0.004)], 1.98, True),
        ([(1.5, 0.003), (1.5101, 0.004)], 2.02, False),
        ([(1.5, 0.003), (1.5, 0.003), (1.52, 0.004)], 4.0, False),
    ],
)
def test_how_several_photos_agree(
    values: list[tuple[float, float]], spread: float, agree: bool
) -> None:
    told = [{"pitch_mm": {"value": v, "u": u}} for v, u in values]
    [row] = show.agreement([], told)
    assert row["name"] == "pitch" and not row["angle"]
    assert row["spread"] == pytest.approx(spread) and row["agree"] == agree
    # One photo alone agrees with nobody.
    assert show.agreement([], told[:1]) == []
    angles = [
        {"angle_deg": {"value": 60.0, "u": 0.5}},
        {"angle_deg": None},
        {"angle_deg": {"value": 55.0, "u": 0.5}},
    ]
    [row] = show.agreement([], angles)
    assert row["angle"] and not row["agree"] and row["values"][1] is None


def test_a_record_without_a_thread_in_a_few_words() -> None:
    why = Outcome(status="refused", code="blurred", message="it is blurred.", advice="hold still")
    entry = Entry(
        id="0" * 10,
        sha256="a" * 64,
        settings_key="k",
        outcome=why,
        names=("a.jpg",),
        corrections={},
    )
    assert show.headline(entry) == ("refused", "it is blurred")
    assert show.threads(entry, None) == [] and show.scale_line(entry) == ""


@pytest.mark.parametrize(
    ("first", "ending"),
    [
        (b"\xff\xd8\xff\xe0" + b"\0" * 20, ".jpg"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 20, ".png"),
        (b"II*\0" + b"\0" * 20, ".tif"),
        (b"MM\0*" + b"\0" * 20, ".tif"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 20, ".heic"),
        (b"\0\0\0\x18ftypmif1" + b"\0" * 20, ".heic"),
    ],
)
def test_the_first_bytes_say_what_a_file_is(setup: Setup, first: bytes, ending: str) -> None:
    kept = photos.keep(setup, first, "a.exe")
    assert kept.path.suffix == ending and kept.path.read_bytes() == first
    assert kept.path.stem == kept.sha256 and kept.fresh and kept.name == "a.exe"


def test_a_box_has_room_for_so_many(setup: Setup, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(boxes, "MOST", 2)
    box = boxes.new(setup, {"source": "card"})
    for n in range(3):
        added = boxes.add(setup, box.id, f"{n}.jpg", f"{n}" * 64)
        assert (added is None) == (n == 2)
    assert boxes.add(setup, "B" * 16, "a.jpg", "1" * 64) is None
    loaded = boxes.load(setup, box.id)
    assert loaded is not None and [n for n, _ in loaded.photos] == ["0.jpg", "1.jpg"]
    assert loaded.settings.scale.source == "card"
    with pytest.raises(UsageError):
        boxes.new(setup, {"source": "pin"})


def test_the_bench_starts_with_what_the_server_was_told(tmp_path) -> None:
    told = Setup(record=tmp_path / "r", folder=tmp_path, processes=1, reference="pin 8")
    assert bench_memory.remembered(told) == {"source": "pin", "size": "8"}
    bench_memory.remember(told, {"source": "disc", "size": " 20 ", "axis_height": ""})
    assert bench_memory.remembered(told) == {"source": "disc", "size": "20"}
    with pytest.raises(UsageError):
        bench_memory.remember(told, {"source": "disc"})


def test_a_page_keeps_its_files_in_its_own_folder(setup: Setup) -> None:
    assert {setup.photos.name, setup.views.name, setup.boxes.name} == {"photos", "views", "boxes"}
    assert setup.folder.stat().st_mode & 0o077 == 0
    assert setup.lenses == setup.record.with_name("pitchcam-lenses.json")
    words = dict(setup.private())
    assert words[str(setup.record)] == "the record"
    assert words[str(setup.folder.resolve())] == "the page's folder"
    assert "card" in LYING and "none" not in LYING


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path) -> None:
    (tmp_path / "file").write_text("x")
    bad = Setup(record=tmp_path / "r", folder=tmp_path / "file" / "page", processes=1)
    with pytest.raises(UsageError, match="cannot be made: .* Name another with --folder"):
        bad.make_folders()


def test_an_empty_record_is_told_without_its_path(setup: Setup) -> None:
    """The record's path is private: the sentence still reads with words in its place."""
    Store(setup.record).close()
    with pytest.raises(UsageError) as told:
        load_stock(None, setup.record)
    said = str(told.value)
    for private, words in setup.private():
        said = said.replace(private, words)
    assert said.startswith("the record holds no stock")
