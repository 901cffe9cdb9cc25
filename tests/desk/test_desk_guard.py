"""Who may speak to the desk.  Oracles: RFC 6265, RFC 9110 for what a browser sends; each attack is tried."""

import http.client
import io
import os
import stat
import zipfile

import httpx
import pytest

from desk.served import TOKEN
from slopewright.desk.guard import make_token
from slopewright.desk.serve import listen


def bare(page, **headers):
    return httpx.Client(base_url=f"http://127.0.0.1:{page.port}", headers=headers, trust_env=False)


def test_nothing_is_served_without_the_token(page):
    with bare(page) as stranger:
        for path in ("/", "/api/jobs", "/assets/index.js", "/api/events", "/api/jobs/x/points", "/docs"):
            assert stranger.get(path).status_code == 401, path
        assert stranger.get("/?token=" + "x" * 40).status_code == 401
        assert TOKEN not in stranger.get("/").text


def test_the_opening_address_gives_a_cookie_that_scripts_and_other_sites_do_not_get(page):
    with bare(page) as browser:
        answer = browser.get(f"/?token={TOKEN}")
        assert answer.status_code == 303 and answer.headers["location"] == "/"
        cookie = answer.headers["set-cookie"].lower()
        assert "httponly" in cookie and "samesite=strict" in cookie
        assert browser.get("/").status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:80", "127.0.0.1", "127.0.0.1.evil.example", ""]
)
def test_a_name_that_was_pointed_at_this_machine_is_refused(page, host):
    """DNS rebinding: the browser sends the attacker's name as Host."""
    answer = page.client.get("/api/jobs", headers={"host": host})
    assert answer.status_code in (400, 421)


@pytest.mark.parametrize(
    "origin", [None, "null", "http://evil.example", "http://127.0.0.1:1", "https://127.0.0.1"]
)
def test_changes_from_another_origin_are_refused(page, origin):
    """Cross-site requests: a form or a script of another page, with the cookie that the browser adds."""
    cookies = {f"slopewright_{page.port}": TOKEN}
    headers = {} if origin is None else {"origin": origin}
    with bare(page, **headers) as other:
        other.cookies.update(cookies)
        assert other.post("/api/jobs", json={"name": "stolen"}).status_code == 403
        assert other.put("/api/jobs/x/files/a.laz?size=4", content=b"LASF").status_code == 403
        assert other.delete("/api/jobs/x").status_code == 403
    assert page.client.get("/api/jobs").json() == []


def test_reading_for_another_site_is_refused(page):
    answer = page.client.get("/api/jobs", headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403


def test_policy_allows_own_scripts_only_and_no_other_host(page):
    answer = page.client.get("/")
    policy = dict(part.strip().split(" ", 1) for part in answer.headers["content-security-policy"].split(";"))
    assert (
        policy["default-src"] == "'none'"
        and policy["script-src"] == "'self'"
        and policy["style-src"] == "'self'"
    )
    assert not any(word in str(policy) for word in ("unsafe", "http:", "https:", "*", "data:"))
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "http://" not in answer.text and "https://" not in answer.text


def test_the_server_listens_on_this_machine_alone():
    listening = listen(0)
    assert listening.getsockname()[0] == "127.0.0.1"
    listening.close()


def test_the_key_is_readable_by_its_owner_alone_and_stays(tmp_path):
    token = make_token(tmp_path)
    assert len(token) >= 32 and make_token(tmp_path) == token
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / "token").stat().st_mode) == 0o600


TRAVERSALS = [
    "..",
    "../x",
    "..%2F..%2Fetc%2Fpasswd",
    "%2e%2e%2fx",
    "a/../../b",
    "..\\x",
    "/etc/passwd",
    ".desk",
    "x%00.laz",
]


def names(page, job):
    return [file["name"] for file in page.client.get(f"/api/jobs/{job}").json()["files"]]


def raw(page, method, target, body=b""):
    """A request whose path nobody makes plain on the way."""
    connection = http.client.HTTPConnection("127.0.0.1", page.port, timeout=20)
    connection.putrequest(method, target, skip_accept_encoding=True)
    connection.putheader("Cookie", f"slopewright_{page.port}={TOKEN}")
    connection.putheader("Origin", f"http://127.0.0.1:{page.port}")
    connection.putheader("Content-Length", str(len(body)))
    connection.endheaders(body)
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return answer.status


@pytest.mark.parametrize("name", TRAVERSALS)
def test_no_name_leads_out_of_the_jobs_folder(page, name):
    job = page.new_job(f"Paths {TRAVERSALS.index(name)}")
    root = page.places.root
    (root.parent / "secret.laz").write_bytes(b"LASF" + bytes(600))
    (root / f"{job}.run").mkdir()
    before = sorted(path for path in root.parent.rglob("*") if "cache" not in path.parts)
    content = b"LASF" + bytes(600)
    for method, target, body in (
        ("GET", f"/api/jobs/{name}", b""),
        ("GET", f"/api/jobs/{name}/roof", b""),
        ("DELETE", f"/api/jobs/{name}", b""),
        ("PUT", f"/api/jobs/{job}/files/{name}?size={len(content)}", content),
        ("PUT", f"/api/jobs/{name}/files/a.laz?size={len(content)}", content),
        ("GET", f"/api/jobs/{job}/photos/{name}/full.jpg", b""),
        ("GET", f"/api/jobs/{job}/outputs/{name}", b""),
        ("GET", f"/api/jobs/{job}/uploads/{name}?size=x", b""),
        ("DELETE", f"/api/jobs/{job}/files/{name}", b""),
        ("POST", f"/api/deleted/{name}/restore", b""),
        ("GET", f"/assets/{name}", b""),
    ):
        assert raw(page, method, target, body) in (404, 405, 422), (method, target)
    assert sorted(path for path in root.parent.rglob("*") if "cache" not in path.parts) == before


def test_links_out_of_a_job_are_not_followed(page):
    job = page.new_job("Links")
    secret = page.places.root.parent / "other.laz"
    secret.write_bytes(b"LASF" + bytes(600))
    (page.places.root / job / "a.laz").symlink_to(secret)
    (page.places.root / "linked").symlink_to(page.places.root.parent, target_is_directory=True)
    assert page.put(job, "a.laz", b"LASF" + bytes(700), replace=True).status_code == 422
    assert secret.stat().st_size == 604
    assert page.client.get("/api/jobs/linked").status_code == 422
    assert "linked" not in [line["id"] for line in page.client.get("/api/jobs").json()]


def test_archives_are_refused_by_name_and_by_content(page):
    """A zip bomb: 20 MB of zeros in 20 kB; it is never unpacked, whatever it is called."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("zeros", bytes(20_000_000))
    job = page.new_job("Bomb")
    for name in ("bomb.zip", "bomb.laz", "bomb.jpg", "bomb.e57", "bomb.csv", "bomb.heic"):
        answer = page.put(job, name, packed.getvalue())
        assert answer.status_code == 422 and name in answer.json()["text"], name
    assert names(page, job) == ["job.toml"]
    assert not [path for path in (page.places.desk / "uploads").rglob("*") if path.is_file()]


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("clip.mp4", b"\0\0\0\x18ftypmp42" + bytes(600), "video"),
        ("page.html", b"<script>alert(1)</script>", "no use"),
        ("tool.exe", b"MZ" + bytes(600), "no use"),
        ("photo.jpg", b"<svg onload=alert(1)>" + b" " * 600, "web page"),
        ("photo.png", b"\xff\xd8\xff" + bytes(600), "JPEG"),
        ("empty.laz", b"", "empty"),
    ],
)
def test_files_that_are_not_what_they_say_are_refused_with_the_reason(page, name, content, said):
    job = page.new_job(f"Kinds {name}")
    answer = page.put(job, name, content)
    assert answer.status_code == 422 and said in answer.json()["text"]


def test_files_larger_than_their_kind_are_refused_before_a_byte_is_taken(page):
    job = page.new_job("Large")
    for name, size in (("a.jpg", 2**40), ("a.laz", 2**50), ("job.toml", 2**21), ("marks.json", 2**30)):
        answer = page.client.put(f"/api/jobs/{job}/files/{name}?size={size}", content=b"")
        assert answer.status_code == 422 and "MB" in answer.json()["text"], name


def test_more_bytes_than_announced_are_refused(page):
    job = page.new_job("More")
    answer = page.put(job, "a.laz", b"LASF" + bytes(2000), size=1000)
    assert answer.status_code == 422 and "announced" in answer.json()["text"]
    assert names(page, job) == ["job.toml"]


def test_a_form_may_not_fill_the_memory(page):
    job = page.new_job("Flood")
    content = b'{"marks": [' + b" " * (33 * 2**20) + b"]}"
    assert page.client.put(f"/api/jobs/{job}/marks", content=content).status_code == 413
    assert page.client.put(f"/api/jobs/{job}/marks", content=iter([content])).status_code == 413


def test_names_are_text_and_never_markup(page):
    """JSON with nosniff; that the page makes text of it is looked at in the browser."""
    answer = page.client.post("/api/jobs", json={"name": "<img src=x onerror=alert(1)>"})
    line = next(one for one in page.client.get("/api/jobs").json() if one["id"] == answer.json()["id"])
    assert line["name"] == "<img src=x onerror=alert(1)>"
    assert page.client.get("/api/jobs").headers["content-type"] == "application/json"


def test_no_page_of_the_framework_is_there(page):
    for path in ("/docs", "/redoc", "/openapi.json"):
        assert page.client.get(path).status_code == 404
