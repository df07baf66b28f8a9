"""Nobody but the person's own browser gets anything of the page: asked by a client that may lie."""

import json
import os
import re
import shutil
import socket
import stat
import time
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from running import swept_project
from served import Served, read_answer

from rig.page import connections
from rig.page.guard import BODY_MOST, URL_MOST
from rig.page.token import TOKEN, folder_token

PLACES = ["/", "/finds", "/picks", "/events", "/static/main.js", "/photo", "/board"]


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("cookie", [None, "", "other"])
def test_without_this_runs_cookie_nothing_is_told(small_page, place, cookie):
    name = small_page.cookie.split("=")[0]
    held = {None: None, "": f"{name}=", "other": f"{name}={small_page.token}"}[cookie]
    answer = small_page.get(place, cookie=held)
    assert answer.status == 403
    assert b"padsweep page" in answer.body
    assert b"parrot" not in answer.body.lower()


def test_with_it_they_are_told(small_page):
    assert {place: small_page.get(place).status for place in PLACES} == dict.fromkeys(PLACES, 200)


def test_the_first_address_leads_at_once_to_a_clean_one(small_page):
    answer = small_page.get(f"/?token={small_page.token}&q=loop", cookie=None)
    assert (answer.status, answer.headers["location"], answer.body) == (303, "/", b"")
    cookie = answer.headers["set-cookie"]
    assert f"padsweep-{small_page.port}=" in cookie
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert small_page.token not in cookie
    assert answer.headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize("query", [
    "token=", "token=x", "token=" + "A" * 43, "token={0}x", "token={0}&token={0}", "token=%00",
    "token=" + "é", "TOKEN={0}",
])  # fmt: skip
def test_another_token_opens_nothing(small_page, query):
    answer = small_page.get("/?" + query.format(small_page.token), cookie=None)
    assert answer.status in (400, 403)
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("hosts", [
    [], ["localhost"], ["127.0.0.1"], ["127.0.0.1:1"], ["evil.example"], ["evil.example:{port}"],
    ["[::1]:{port}"], ["127.0.0.1:{port}.evil.example"], ["127.0.0.2:{port}"], ["127.0.0.1:0{port}"],
    ["{own}", "{own}"], ["{own}", "evil.example"], ["LOCALHOST:{port}"], [""],
])  # fmt: skip
def test_another_host_is_refused(small_page, hosts):
    told = [one.format(port=small_page.port, own=small_page.host) for one in hosts]
    answer = small_page.ask("GET", "/finds", {"Host": told, "Cookie": small_page.cookie})
    assert answer.status in (400, 421)
    # Without a name, and with two, it is no request at all; any other name is another machine's.
    assert answer.status == 421 or len(told) != 1


def test_a_host_that_is_not_said_in_the_old_protocol_is_refused(small_page):
    sent = f"GET /finds HTTP/1.0\r\nCookie: {small_page.cookie}\r\n\r\n"
    assert small_page.raw(sent.encode()).status == 421


def test_localhost_is_another_name_of_it(small_page):
    host = f"localhost:{small_page.port}"
    assert small_page.ask("GET", "/finds", {"Host": host, "Cookie": small_page.cookie}).status == 200


@pytest.mark.parametrize("site", ["cross-site", "same-site", "nonsense", "Same-Origin"])
def test_what_another_page_asks_for_is_refused(small_page, site):
    assert small_page.get("/finds", Sec_Fetch_Site=site).status == 403
    assert small_page.get("/finds", Sec_Fetch_Site=["same-origin", site]).status == 403


@pytest.mark.parametrize("site", ["same-origin", "none", None])
def test_what_its_own_page_asks_for_is_answered(small_page, site):
    assert small_page.get("/finds", Sec_Fetch_Site=site).status == 200


@pytest.mark.parametrize("origin", [
    None, "null", "http://evil.example", "http://127.0.0.1", "http://127.0.0.1:1", "{own}/",
    "https://127.0.0.1:{port}", "http://localhost:{port}", ["{own}", "{own}"],
    ["{own}", "http://evil.example"],
])  # fmt: skip
@pytest.mark.parametrize("place", ["/picks", "/undo"])
def test_another_origin_changes_nothing(small_page, place, origin):
    made = {"own": small_page.origin, "port": small_page.port}
    origin = [one.format(**made) for one in origin] if isinstance(origin, list) else (
        origin and origin.format(**made))
    asked = {"was": None, "now": {"pair": "A-B"}}
    assert small_page.post(place, asked, Origin=origin).status == 403
    assert not (small_page.folder / "picks.yaml").exists()


@pytest.mark.parametrize(("headers", "status"), [
    ({"Content_Type": "text/plain"}, 415), ({"Content_Type": None}, 415),
    ({"Content_Type": ["application/json", "text/plain"]}, 415),
    ({"Content_Length": None}, 411), ({"Content_Length": str(10**9)}, 413),
    ({"Content_Length": "9" * 400}, 413), ({"Content_Length": str(BODY_MOST + 1)}, 413),
    ({"Content_Length": None, "Transfer_Encoding": "chunked"}, 411), ({"Cookie": None}, 403),
])  # fmt: skip
def test_a_body_that_isnt_small_json_is_refused_before_it_is_read(small_page, headers, status):
    begun_s = time.monotonic()
    asked = {"was": None, "now": {"pair": "A-B"}}
    answer = small_page.post("/undo", asked, **headers)
    # What HTTP itself doesn't allow is no request at all.
    assert answer.status in (status, 400)
    assert time.monotonic() - begun_s < 5
    assert answer.headers["connection"] == "close"
    assert not (small_page.folder / "picks.yaml").exists()


@pytest.mark.parametrize("body", [
    b"", b"{", b"[]", b"null", b"[" * 9000, b'"\\ud800"', b"\xff", b'{"was": 1, "now": 2}',
    b'{"was": null, "now": {"pair": "A-B", "at_ohm": Infinity}}',
    b'{"was": null, "now": {"pair": "A-B", "at_ohm": NaN}}',
    b'{"was": null, "now": {"pair": ["A-B"]}}', b'{"was": null, "now": {"pair": "A-B", "note": 5}}',
    b'{"was": null, "now": {"pair": "A-B", "note": "\\u0007"}}',
    b'{"was": null, "now": {"pair": "A-B", "note": "\\ud800"}}',
])  # fmt: skip
@pytest.mark.parametrize("place", ["/picks", "/undo"])
def test_what_is_no_change_is_told_and_changes_nothing(small_page, place, body):
    assert small_page.post(place, body).status in (400, 422)
    assert not (small_page.folder / "picks.yaml").exists()


@pytest.mark.parametrize("method", ["PUT", "DELETE", "HEAD", "OPTIONS", "TRACE", "PATCH"])
def test_other_methods_do_nothing(small_page, method):
    own = {"Host": small_page.host, "Cookie": small_page.cookie}
    assert small_page.ask(method, "/picks", own).status == 403
    assert small_page.ask(method, "/picks", own | {"Origin": small_page.origin}).status == 405


UPWARDS = ["../", "..%2f", "%2e%2e/", "%2e%2e%2f", "..\\", "..%5c", "%252e%252e%252f", "....//", "/",
           "%2f", ".%2e/", "..;/", "%c0%ae%c0%ae/", "..%00/"]  # fmt: skip


@pytest.mark.parametrize("up", UPWARDS)
@pytest.mark.parametrize("below", ["/static/", "/takes/", "/photo/", "/", "/takes/000001.flac/"])
@pytest.mark.parametrize("wanted", ["toy.yaml", "sweeps/main/log.db", TOKEN, "etc/passwd"])
def test_no_path_leads_anywhere(small_page, below, up, wanted):
    answer = small_page.get(f"{below}{up * 3}{wanted}")
    assert answer.status in (400, 404)
    for told in (b"supply", b"SQLite", small_page.token.encode(), b"root:"):
        assert told not in answer.body


@pytest.mark.parametrize("number", ["0", "-1", "99999", "1e3", "1.0", "%31%00", "9" * 30, "1/", "٣"])
def test_takes_go_by_their_number_in_the_log_alone(small_page, number):
    (small_page.folder / "sweeps/main/takes/099999.flac").write_bytes(b"fLaC never logged")
    assert small_page.get(f"/takes/{number}".encode().decode("latin-1")).status in (400, 404)


def test_a_take_comes_whole_with_its_type_and_length(small_page):
    takes = sorted((small_page.folder / "sweeps/main/takes").glob("*.flac"))
    answer = small_page.get("/takes/1")
    assert answer.status == 200
    assert answer.headers["content-type"] == "audio/flac"
    assert int(answer.headers["content-length"]) == takes[0].stat().st_size
    assert answer.body == takes[0].read_bytes()


def test_every_answer_forbids_what_the_page_doesnt_need(small_page):
    answers = [small_page.get(place) for place in PLACES]
    answers += [small_page.get("/nothing"), small_page.get("/", cookie=None),
                small_page.post("/undo", {}), small_page.get("/", Host="evil.example")]  # fmt: skip
    for one in answers:
        policy = one.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "script-src" not in policy or "script-src 'self';" in policy
        assert one.headers["x-content-type-options"] == "nosniff"
        assert one.headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in one.headers
        assert "server" not in one.headers


def test_a_long_address_or_head_is_refused(small_page):
    assert small_page.get("/events?after=" + "1" * URL_MOST).status == 414
    assert small_page.get("/" + "a" * 200_000).status in (400, 0)
    assert small_page.get("/finds", X="a" * 200_000).status in (400, 0)
    assert small_page.get("/finds").status == 200


@pytest.mark.parametrize("after", ["-1", "x", "1" * 40, "", "1.5", "%00", "٣"])
def test_an_event_number_that_is_none_is_refused(small_page, after):
    assert small_page.get(f"/events?after={after}".encode().decode("latin-1")).status == 400


def test_it_listens_on_this_machine_alone(small_page):
    table = Path("/proc/net/tcp").read_text("ascii") + Path("/proc/net/tcp6").read_text("ascii")
    mine = re.findall(rf"\s([0-9A-F]+):{small_page.port:04X} [0-9A-F]+:0000 0A", table)
    assert mine == ["0100007F"]


def test_a_hundred_connections_that_say_half_of_something_stop_nobody(small_page):
    links = []
    try:
        for _ in range(100):
            link = small_page.connect()
            link.sendall(b"GET / HTTP/1.1\r\nHost: ")
            links.append(link)
        begun_s = time.monotonic()
        assert small_page.get("/finds").status == 200
        assert time.monotonic() - begun_s < 2
        closed = [one for one in links if _is_closed(one)]
        assert len(closed) >= 100 - connections.MOST
    finally:
        for one in links:
            one.close()


def _is_closed(link: socket.socket, wait_s: float = 0.05) -> bool:
    link.settimeout(wait_s)
    try:
        return link.recv(1) == b""
    except TimeoutError:
        return False
    except ConnectionError:
        return True


def test_who_dawdles_with_a_head_or_a_body_is_cut_off(small_page):
    head = small_page.connect()
    body = small_page.connect()
    second = small_page.connect()
    body.sendall(
        f"POST /undo HTTP/1.1\r\nHost: {small_page.host}\r\nOrigin: {small_page.origin}\r\n"
        f"Cookie: {small_page.cookie}\r\nContent-Type: application/json\r\nContent-Length: 9\r\n\r\n{{"
        .encode()
    )
    second.sendall(f"GET /events HTTP/1.1\r\nHost: {small_page.host}\r\n"
                   f"Cookie: {small_page.cookie}\r\n\r\n".encode())
    assert read_answer(second).status == 200
    begun_s = time.monotonic()
    ended_s = {}
    waiting = {"head": head, "second": second}
    while waiting and time.monotonic() - begun_s < 3 * connections.HEADERS_S:
        for name, link in list(waiting.items()):
            try:
                link.sendall(b"G")
            except ConnectionError:
                ended_s[name] = time.monotonic() - begun_s
                del waiting[name]
        assert small_page.get("/events").status == 200
        time.sleep(0.25)
    assert not waiting
    assert max(ended_s.values()) < connections.HEADERS_S + 3
    assert read_answer(body).status == 408
    for one in (head, body, second):
        one.close()


def test_links_out_of_the_folder_are_not_followed(tmp_path):
    folder = swept_project(tmp_path / "toy")
    outside = tmp_path / "outside"
    outside.mkdir()
    takes = folder / "sweeps/main/takes"
    secret = outside / "secret.flac"
    shutil.copy(takes / "000002.flac", secret)
    (takes / "000002.flac").unlink()
    (takes / "000002.flac").symlink_to(secret)
    (takes / "000003.flac").unlink()
    os.mkfifo(takes / "000003.flac")
    Image.new("RGB", (30, 20), "red").save(outside / "mine.jpg")
    (folder / "board.yaml").unlink()
    (folder / "board.svg").unlink()
    (folder / "board.jpg").symlink_to(outside / "mine.jpg")
    with Served(folder) as page:
        linked = page.get("/takes/2")
        assert linked.status == 422
        assert "is a link" in linked.json["told"]
        assert page.get("/takes/3").status == 422
        assert page.get("/photo").status == 404
        assert page.get("/takes/1").status == 200
        shutil.move(takes, outside / "takes")
        takes.symlink_to(outside / "takes")
        assert page.get("/takes/1").status == 422


def test_the_photo_tells_no_place(tmp_path):
    folder = swept_project(tmp_path / "toy")
    (folder / "board.yaml").unlink()
    facts = Image.Exif()
    facts[0x010E] = "kitchen table"
    facts[0x8825] = {1: "N", 2: (52.0, 30.0, 11.0)}
    Image.new("RGB", (300, 200), "green").save(folder / "board.jpg", exif=facts, comment=b"at home")
    with Served(folder) as page:
        answer = page.get("/photo")
    assert answer.headers["content-type"] == "image/jpeg"
    for told in (b"Exif", b"kitchen", b"at home"):
        assert told in (folder / "board.jpg").read_bytes()
        assert told not in answer.body
    with Image.open(BytesIO(answer.body)) as shown:
        assert shown.size == (300, 200)
        assert not shown.getexif()


def test_the_token_is_made_once_for_its_owner_alone(tmp_path):
    token = folder_token(tmp_path)
    path = tmp_path / TOKEN
    assert re.fullmatch(r"[\w-]{43}", token)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert folder_token(tmp_path) == token
    path.chmod(0o644)
    anew = folder_token(tmp_path)
    assert anew != token
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert [one.name for one in tmp_path.iterdir()] == [TOKEN]


@pytest.mark.parametrize("spoilt", ["", "short", "x" * 44, "é" * 43])
def test_a_token_that_is_none_is_made_anew(tmp_path, spoilt):
    path = tmp_path / TOKEN
    path.write_text(spoilt, "utf-8")
    path.chmod(0o600)
    assert folder_token(tmp_path) == path.read_text("ascii").strip() != spoilt


def test_a_token_is_never_read_or_written_through_a_link(tmp_path):
    target = tmp_path / "mine.txt"
    target.write_text("A" * 43, "ascii")
    target.chmod(0o600)
    (tmp_path / TOKEN).symlink_to(target)
    assert folder_token(tmp_path) != "A" * 43
    assert target.read_text("ascii") == "A" * 43
    assert not (tmp_path / TOKEN).is_symlink()


def test_a_cookie_of_another_run_and_a_token_of_another_folder_open_nothing(tmp_path):
    folder, other = (swept_project(tmp_path / name) for name in ("toy", "other"))
    with Served(folder) as page:
        before = page.cookie.split("=")[1]
        told = page.token
    with Served(folder) as page, Served(other) as stranger:
        assert page.token == told
        name = page.cookie.split("=")[0]
        assert page.get("/finds", cookie=f"{name}={before}").status == 403
        assert page.get("/finds", cookie=stranger.cookie).status == 403
        assert page.get(f"/?token={stranger.token}", cookie=None).status == 403
        assert page.get("/finds", cookie=f"a=1; {page.cookie}; b=2").status == 200


def test_ctrl_c_ends_it_at_once_whatever_is_open(tmp_path):
    folder = swept_project(tmp_path / "toy")
    with Served(folder) as page:
        half, waiting = page.connect(), page.connect()
        half.sendall(b"GET / HT")
        waiting.sendall(f"POST /undo HTTP/1.1\r\nHost: {page.host}\r\nOrigin: {page.origin}\r\n"
                        f"Cookie: {page.cookie}\r\nContent-Type: application/json\r\n"
                        "Content-Length: 9\r\n\r\n".encode())
        begun_s = time.monotonic()
    assert time.monotonic() - begun_s < 3
    assert page.process.returncode == 130
    assert page.told[1] == "padsweep: stopped\n"
    half.close()
    waiting.close()


def test_an_error_that_nobody_foresaw_is_told_and_the_page_goes_on(tmp_path):
    folder = swept_project(tmp_path / "toy")
    with Served(folder) as page:
        (folder / "picks.yaml").mkdir()
        answer = page.get("/picks")
        assert answer.status == 200
        assert "can't be read" in answer.json["trouble"]
        assert page.get("/events").status == 200
        asked = {"was": None, "now": {"pair": "A-B"}}
        assert page.post("/undo", asked).status == 422
    assert json.loads(answer.body)["entries"] == []
