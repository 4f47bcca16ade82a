"""The server of the page: who may ask, what it hands out, and that whatever is typed stays text."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from orchardsim.web.app import Desk, create_app
from orchardsim.web.folder import Folder

CONFIGS = Path(__file__).parents[2] / "configs"
PORT = 8123
OWN = f"http://127.0.0.1:{PORT}"


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    place = tmp_path_factory.mktemp("plans")
    shutil.copy(CONFIGS / "demo.toml", place / "demo.toml")
    (place.parent / "secret.toml").write_text("title = 'secret'")
    kept = place / "demo - kept" / "1"
    (kept / ".orchardsim").mkdir(parents=True)
    (kept / ".orchardsim" / "manifest.json").write_text("{}")
    (kept / "report.html").write_text("<p>kept</p>")
    (kept / "away.html").symlink_to(place.parent / "secret.toml")
    (kept / "about.json").write_text(
        json.dumps({"kind": "run", "title": "<b>t</b>", "sentences": ["<script>bad()</script>"], "pages": []})
    )
    return place


@pytest.fixture(scope="module")
def client(place):
    with TestClient(create_app(Folder(place), PORT, working=False), base_url=OWN) as client:
        yield client


def post(client, url, body, **headers):
    return client.post(url, content=json.dumps(body), headers={"origin": OWN, **headers})


def edit(client, place, value):
    return post(client, "/plan/demo/edit", {"place": place, "value": value})


@pytest.mark.parametrize("url", ["/", "/plan/demo", "/static/page.js", "/running", "/plan/demo/kept/1/report.html"])
def test_every_answer_says_what_a_page_may_load(client, url):
    answer = client.get(url)
    assert answer.status_code == 200
    policy = dict(
        part.strip().split(" ", 1)
        for part in answer.headers["content-security-policy"].split(";")
        if " " in part.strip()
    )
    assert (
        policy["default-src"] == "'none'" and policy["frame-ancestors"] == "'none'" and policy["base-uri"] == "'none'"
    )
    assert "unsafe" not in policy.get("script-src", "")
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "no-referrer"


def test_page_asks_for_nothing_from_elsewhere(client):
    text = client.get("/plan/demo").text + client.get("/static/page.css").text + client.get("/static/page.js").text
    assert not re.search(r"""(?:src|href|url|fetch)\s*[=(]\s*["']?(?:https?:)?//""", text)
    assert not re.search(r"<[^>]+\s(?:style|on\w+)=", text), "inline style or script would be refused by the policy"


@pytest.mark.parametrize(
    "host",
    [
        "example.org",
        "127.0.0.1",
        f"127.0.0.1.example.org:{PORT}",
        "127.0.0.1:1",
        "",
        f"127.0.0.1:{PORT}.example.org",
        f"example.org@127.0.0.1:{PORT}",
        f"[::1]:{PORT}",
    ],
)
def test_other_hosts_are_refused(client, host):
    assert client.get("/", headers={"host": host}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "http://example.org"},
        {"origin": "null"},
        {"origin": f"http://127.0.0.1:{PORT + 1}"},
        {"origin": OWN, "sec-fetch-site": "cross-site"},
    ],
)
def test_changes_are_taken_from_the_page_alone(client, headers):
    before = client.get("/plan/demo/file").text
    body = json.dumps({"place": ["site", "row_direction"], "value": "33"})
    assert client.post("/plan/demo/edit", content=body, headers=headers).status_code == 403
    assert client.get("/plan/demo/file").text == before


def test_nothing_is_embedded_or_read_by_other_pages(client):
    assert client.get("/running", headers={"sec-fetch-site": "cross-site", "sec-fetch-mode": "cors"}).status_code == 403
    assert client.get("/", headers={"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}).status_code == 200


@pytest.mark.parametrize(
    "url",
    [
        "/plan/..%2Fsecret",
        "/plan/%2e%2e%2fsecret/file",
        "/plan/demo/kept/1/..%2F..%2F..%2Fsecret.toml",
        "/plan/demo/kept/1/..%2F..%2Fdemo.toml",
        "/plan/demo/kept/1/.orchardsim/manifest.json",
        "/plan/demo/kept/1/away.html",
        "/plan/demo/kept/1/%2Fetc%2Fpasswd",
        "/plan/demo/kept/7/report.html",
        "/static/..%2Fapp.py",
        "/static/%2e%2e/app.py",
    ],
)
def test_no_file_outside_is_handed_out(client, url):
    answer = client.get(url)
    assert answer.status_code in (400, 404)
    assert "secret" not in answer.text.replace("..%2Fsecret", "").replace("../secret", "") or answer.status_code == 400


@pytest.mark.parametrize("name", ["../evil.csv", "a/b.csv", "x.exe", ".csv", "x.csv/../../y", ""])
def test_records_land_in_the_folder_or_nowhere(client, place, name):
    before = sorted(place.parent.rglob("*"))
    answer = client.post("/plan/demo/weather", params={"file": name}, content=b"date", headers={"origin": OWN})
    assert answer.status_code == 400 and sorted(place.parent.rglob("*")) == before


def test_no_more_is_read_than_a_limit(client, place, monkeypatch):
    monkeypatch.setattr("orchardsim.web.app.LARGEST_RECORD", 1000)
    answer = client.post("/plan/demo/weather", params={"file": "big.csv"}, content=b"x" * 2000, headers={"origin": OWN})
    assert answer.status_code == 400 and "1,000 bytes" in answer.json()["problem"] and not (place / "big.csv").exists()
    deep = b"[" * 50_000
    assert client.post("/plan/demo/edit", content=deep, headers={"origin": OWN}).status_code == 400


def test_a_plan_changed_on_disk_is_read_anew(client, place):
    post(client, "/start", {"start": "demo", "name": "disk"})
    client.get("/plan/disk")
    path = place / "disk.toml"
    path.write_text(path.read_text().replace('headland = "7 m"', 'headland = "6 m"'))
    assert 'value="6 m"' in client.get("/plan/disk").text
    post(client, "/plan/disk/edit", {"place": ["block", 0, "headland"], "value": "5 m"})
    path.write_text(path.read_text() + "# by hand\n")
    assert "changed on disk" in post(client, "/plan/disk/save", {}).json()["problem"]
    assert 'value="5 m"' in client.get("/plan/disk").text, "what was typed is not lost"
    assert post(client, "/plan/disk/save", {"name": "disk too"}).json() == {"open": "/plan/disk%20too"}
    assert (
        'value="6 m"' in client.get("/plan/disk").text and 'headland = "5 m"' in (place / "disk too.toml").read_text()
    )


def test_an_older_window_gets_all_fields_again(client):
    first = edit(client, ["block", 0, "headland"], "8 m").json()
    old = {"place": ["block", 0, "row_length"], "value": "80 m", "revision": first["revision"] - 1}
    found = post(client, "/plan/demo/edit", old).json()
    assert 'value="8 m"' in found["form"] and found["revision"] == first["revision"] + 1
    new = {"place": ["block", 0, "row_length"], "value": "84 m", "revision": found["revision"]}
    assert post(client, "/plan/demo/edit", new).json()["form"] == ""
    for _ in range(3):
        post(client, "/plan/demo/edit", {"action": "back"})


def test_broken_record_is_told_and_not_kept(client, place):
    answer = client.post("/plan/demo/weather", params={"file": "r.csv"}, content=b"a,b\n1,2\n", headers={"origin": OWN})
    assert answer.status_code == 400 and answer.json()["problem"] and not (place / "r.csv").exists()


def test_wrong_value_is_told_at_the_field(client):
    before = client.get("/plan/demo/file").text
    answer = edit(client, ["block", 0, "tree_spacing"], "99 m").json()
    assert answer["problem"] == "found '99 m', allowed 0.2 to 30 m" and not answer["shown"]
    assert 'aria-invalid="true"' in client.get("/plan/demo/form").text
    assert post(client, "/plan/demo/save", {}).status_code == 400
    assert client.get("/plan/demo/file").text == before
    assert edit(client, ["block", 0, "tree_spacing"], "1.0 m").json()["problem"] == ""


def test_land_and_bill_follow_the_change(client):
    """Half the distance in the row: twice the trees, and their price twice (the bill's own sum says so)."""

    def found(distance):
        shown = edit(client, ["block", 0, "tree_spacing"], distance).json()["shown"]
        trees = re.search(r"12 rows of ([\d,]+)", shown)
        paid = re.search(r'<th scope="row">trees</th>(?:<td>([\d,]*)</td>)(?:<td>([\d,]*)</td>)?', shown)
        return int(trees[1]), sum(int(one.replace(",", "")) for one in paid.groups() if one)

    (wide, little), (close, much) = found("2.0 m"), found("1.0 m")
    assert close == 2 * wide
    # Pollinizers at posts are bought too; their number does not double.
    assert much == pytest.approx(2 * little, rel=0.02)


@pytest.mark.parametrize(
    "body",
    [
        {"place": ["nonsense"], "value": "1"},
        {"place": [], "value": "1"},
        {"place": "site", "value": "1"},
        {"place": [["site"]], "value": "1"},
        {"place": ["block", 9, "name"], "value": "x"},
        {"place": ["block", True, "name"], "value": "x"},
        {"place": ["site", "latitude"], "value": 3},
        {"place": ["site", "latitude"]},
        {"action": "remove", "place": ["block", 0]},
        {"action": "add", "place": ["costs"]},
        [],
    ],
)
def test_bad_requests_are_told(client, body):
    before = client.get("/plan/demo/file").text
    answer = post(client, "/plan/demo/edit", body)
    assert answer.status_code in (200, 400) and answer.json()["problem"]
    assert client.get("/plan/demo/file").text == before


def test_a_minus_sign_stays_with_its_amount(place):
    found = {"kind": "run", "trials": 8, "sentences": ["NPV: -USD 47,900 in 1 of 20; a well-USD 9 sign", "<i>"]}
    said = Desk(Folder(place)).answer({"name": "demo", "number": 1, "first": found})
    assert "NPV: \N{MINUS SIGN}USD 47,900 in 1 of 20; a well-USD 9 sign" in said and "&lt;i&gt;" in said


def test_whatever_is_typed_stays_text(client, place):
    text = "<img src=x onerror=bad()>\"'"
    answer = edit(client, ["title"], text).json()
    assert answer["title"] == text  # the script sets it as text
    edit(client, ["block", 0, "name"], "<script>bad()</script>")
    edit(client, ["site", "name"], "{{ 7 * 7 }}</fieldset>")
    page = client.get("/plan/demo").text
    assert "<img" not in page and "<script>bad" not in page and "&lt;script&gt;bad()" in page
    assert "{{ 7 * 7 }}&lt;/fieldset&gt;" in page
    for _ in range(3):
        post(client, "/plan/demo/edit", {"action": "back"})
    (place / "odd.toml").write_text("title = '<script>bad()</script>'\n")
    assert "<script>bad" not in client.get("/").text


@pytest.mark.parametrize(
    "change",
    [
        {"kind": "delete"},
        {"trials": 10**9},
        {"trials": "200"},
        {"years": 1},
        {"seed": -1},
        {"kind": "compare", "before": "../1"},
        {"kind": "compare", "before": 99},
        {"kind": "study", "key": "title", "levels": "a, b"},
        {"kind": "study", "key": "block.tree_spacing", "levels": "1 m"},
    ],
)
def test_bad_orders_start_nothing(client, change):
    body = {"kind": "run", "trials": 20, "years": 5, "seed": 1, **change}
    answer = post(client, "/plan/demo/work", body)
    assert answer.status_code == 400 and answer.json()["problem"]
    assert client.get("/running").json() == {"busy": False}


def test_start_never_writes_over(client, place):
    answer = post(client, "/start", {"start": "demo", "name": "mine"}).json()
    assert (
        answer == {"open": "/plan/mine"} and (place / "mine.toml").read_bytes() == (CONFIGS / "demo.toml").read_bytes()
    )
    assert post(client, "/start", {"start": "old_block", "name": "mine"}).status_code == 400
    assert post(client, "/start", {"start": "old_block", "name": "../mine"}).status_code == 400
    broken = client.post("/bring", params={"file": "b.toml"}, content=b"title = ", headers={"origin": OWN})
    assert broken.status_code == 400 and not (place / "b.toml").exists()


def test_fields_bear_names_and_errors(client):
    """Each field has a label of its own, and is described by its meaning and its error."""
    page = client.get("/plan/demo").text
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    for one in re.findall(r'<(?:input|select)[^>]*id="(f-[^"]+)"[^>]*aria-describedby="([^"]+)"', page):
        assert f'<label for="{one[0]}">' in page
        assert all(part in ids for part in one[1].split())
