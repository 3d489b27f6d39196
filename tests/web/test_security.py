"""Everyone may look; only the operator may change anything, and nothing but the pages' own files is served."""

import re
import shutil

import pytest
from fastapi.routing import APIRoute
from starlette.routing import Route

from skyglint.web.app import make_app
from skyglint.web.forms import MOST_BYTES

FORM = {"content-type": "application/x-www-form-urlencoded"}
READING = {"GET", "HEAD"}


@pytest.fixture
def own(station, tmp_path, context_for):
    """A context whose database a test may change."""
    for name in ("site.toml", "station.db"):
        shutil.copy(station.parent / name, tmp_path / name)
    return context_for(tmp_path / "site.toml")


@pytest.fixture
def visitor(own, client_of):
    with client_of(own) as client:
        yield client


@pytest.fixture
def operator(own, visitor):
    """The operator's client and the word that the forms carry."""
    token = own.token.make_if_missing()
    answer = visitor.post("/operator/sign-in", data={"token": token})
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    visitor.cookies.set("skyglint_operator", re.search(r"skyglint_operator=([^;]+)", cookie)[1])
    return visitor, re.search(r'name="csrf" value="([^"]+)"', visitor.get("/operator").text)[1]


def routes(own) -> list[APIRoute | Route]:
    found, waiting = [], list(make_app(own).routes)
    while waiting:
        route = waiting.pop()
        waiting += getattr(getattr(route, "original_router", None), "routes", [])
        if isinstance(route, Route):
            found.append(route)
    return found


def writing(own) -> list[tuple[str, str]]:
    return sorted(
        {(method, route.path) for route in routes(own) for method in (route.methods or ()) if method not in READING}
    )


def test_these_routes_write_and_no_others(own):
    assert writing(own) == [
        ("POST", "/operator/sign-in"),
        ("POST", "/operator/sign-out"),
        ("POST", "/review/{echo_id}"),
        ("POST", "/review/{echo_id}/take-back"),
    ]


def test_unauthorised_writes_are_refused_on_every_route(own, visitor):
    own.token.make_if_missing()
    for method, path in writing(own):
        address = path.replace("{echo_id}", "1")
        for fields in ({}, {"class": "aircraft"}, {"class": "aircraft", "csrf": "guess"}, {"token": "guess"}):
            answer = visitor.request(method, address, data=fields, headers=FORM)
            assert answer.status_code in (401, 403), (address, fields)
            visitor.cookies.set("skyglint_operator", "guess")
        visitor.cookies.clear()
    with own.archive.reading() as store:
        assert not any(entry.verdict for entry in store.echoes())


def test_forged_writes_are_refused_on_every_route(own, operator):
    client, csrf = operator
    good = {"class": "aircraft", "csrf": csrf}
    for method, path in writing(own):
        address = path.replace("{echo_id}", "1")
        for headers in (
            {"origin": "http://elsewhere.test"},
            {"origin": "null"},
            {"sec-fetch-site": "cross-site"},
            {"sec-fetch-site": "same-site"},
        ):
            assert client.request(method, address, data=good, headers={**FORM, **headers}).status_code == 403, address
        if "sign-in" not in address:
            without = client.request(method, address, data={"class": "aircraft"}, headers=FORM)
            assert without.status_code == 403
            assert client.request(method, address, json=good).status_code == 415
    with own.archive.reading() as store:
        assert not any(entry.verdict for entry in store.echoes())


def test_the_operator_judges_takes_back_and_signs_out(own, operator):
    client, csrf = operator
    with own.archive.reading() as store:
        echo = store.echoes(channels=["north-sea"])[0]
    page = client.get(f"/review?echo={echo.id}").text
    assert page.count('<button name="class"') == 10
    answer = client.post(f"/review/{echo.id}", data={"class": "aircraft", "csrf": csrf, "remark": "<b>slow</b>"})
    assert (answer.status_code, answer.headers["location"]) == (303, f"/review?after={echo.id}")
    with own.archive.reading() as store:
        verdict = store.echo(echo.id).verdict
    assert (verdict.echo_class, verdict.author, verdict.remark) == ("aircraft", "operator", "<b>slow</b>")
    page = client.get(f"/review?echo={echo.id}").text
    assert "&lt;b&gt;slow" in page
    assert "Operator and machine agree on 0 of 1 judged" in page
    assert client.get(f"/api/v1/echoes/{echo.id}").json()["class"] == "aircraft"
    assert client.post(f"/review/{echo.id}", data={"class": echo.echo.echo_class, "csrf": csrf}).status_code == 303
    assert "agree on 1 of 1 judged" in client.get("/review").text
    assert client.post(f"/review/{echo.id}/take-back", data={"csrf": csrf}).status_code == 303
    with own.archive.reading() as store:
        assert store.echo(echo.id).verdict is None
    assert client.post("/review/99999", data={"class": "aircraft", "csrf": csrf}).status_code == 404
    assert client.post(f"/review/{echo.id}", data={"class": "firework", "csrf": csrf}).status_code == 422
    assert client.post("/operator/sign-out", data={"csrf": csrf}).status_code == 303
    assert client.post(f"/review/{echo.id}", data={"class": "aircraft", "csrf": csrf}).status_code == 401


def test_behind_encryption_the_cookie_stays_there(own, visitor):
    token = own.token.make_if_missing()
    for headers, secure in (({}, False), ({"x-forwarded-proto": "https"}, True)):
        answer = visitor.post("/operator/sign-in", data={"token": token}, headers=headers)
        assert ("; Secure" in answer.headers["set-cookie"]) == secure


def test_guessing_is_slowed(own, visitor):
    own.token.make_if_missing()
    statuses = [visitor.post("/operator/sign-in", data={"token": f"guess {n}"}).status_code for n in range(8)]
    assert statuses == [403] * 5 + [429] * 3


@pytest.mark.parametrize(
    ("content", "status"),
    [
        (b"a=" + b"x" * MOST_BYTES, 413),
        (b"&".join(b"a%d=1" % n for n in range(40)), 400),
        (b"a=%ff", 400),
        ("a=é".encode(), 400),
    ],
)
def test_a_form_is_read_within_bounds(visitor, content, status):
    assert visitor.post("/operator/sign-in", content=content, headers=FORM).status_code == status


ESCAPES = [
    "../site.toml",
    "..%2fsite.toml",
    "%2e%2e/site.toml",
    "..%5c..%5csite.toml",
    "....//site.toml",
    "%2e%2e%2f%2e%2e%2fetc%2fpasswd",
    "/etc/passwd",
    "%2fetc%2fpasswd",
    "site.toml%00.css",
    "..%c0%afsite.toml",
    "station.operator.json",
]
GOOD = {"echo_id": "1", "evening": "2026-08-12", "part": "meta", "name": "pages.css"}


def with_parameters(own) -> list[tuple[str, str]]:
    """Return every reading address that takes a parameter, once for each of them, with the others at good values."""
    found = []
    for path in sorted({route.path for route in routes(own) if (route.methods or set()) & READING}):
        names = re.findall(r"{(\w+)(?::\w+)?}", path)
        for name in names:
            others = {other: GOOD[other] for other in names if other != name}
            found.append((path, re.sub(r"{(\w+)(?::\w+)?}", lambda at, o=others: o.get(at[1], "{}"), path)))
    return [*found, ("/", "/{}")]


def test_no_address_leads_out_of_the_pages(own, visitor):
    taken = with_parameters(own)
    assert {path for path, _ in taken} >= {
        "/static/{name}",
        "/echoes/{echo_id}",
        "/echoes/{echo_id}/sound.wav",
        "/echoes/{echo_id}/snippet.sigmf-{part}",
        "/nights/{evening}",
        "/nights/{evening}/channels",
        "/api/v1/echoes/{echo_id}",
    }
    for _, address in taken:
        for escape in ESCAPES:
            answer = visitor.get(address.format(escape))
            assert answer.status_code in (404, 422), (address, escape)
            assert "[receiver]" not in answer.text
            assert "root:" not in answer.text
            assert "scrypt" not in answer.text


def test_every_answer_carries_the_headers(visitor):
    for address in ("/", "/nowhere", "/echoes/0", "/api/v1/station", "/api/v1/nowhere", "/static/nothing", "/healthz"):
        headers = visitor.get(address).headers
        policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == "'self'"
        assert policy["frame-ancestors"] == "'none'"
        assert policy["form-action"] == "'self'"
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert headers["x-frame-options"] == "DENY"
        assert ("access-control-allow-origin" in headers) == address.startswith("/api/")
    overlay = visitor.get("/overlay").headers
    assert "frame-ancestors *" in overlay["content-security-policy"]
    assert "x-frame-options" not in overlay


def test_cookies_never_open_the_data_to_other_sites(visitor):
    assert "access-control-allow-credentials" not in visitor.get("/api/v1/echoes").headers
