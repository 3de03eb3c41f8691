"""Who is let in: only who has the link, by this machine's own name, from the page itself."""

import json
import re

import pytest

from acquire.cli import main
from acquire.commands import page as page_command
from acquire.model.errors import AcquireError
from acquire.page import link
from acquire.page.guard import is_own_host
from acquire.page.serving import SCRIPTS
from tests.invented import survey_in

from .conftest import BED, TOKEN, command, needs_extra, run_served

pytestmark = needs_extra


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """One server for all, of which a single claim ends the run: each that stops takes a fifth of a second."""
    with run_served(survey_in(tmp_path_factory.mktemp("guarded") / "survey", BED)) as asker:
        yield asker


@pytest.mark.parametrize(
    "path",
    ["/", "/state", "/favicon.ico", f"/{TOKEN[:-1]}/state", f"/{TOKEN}x/state", f"/x/{TOKEN}/state",
     f"/{TOKEN}", f"/%54{TOKEN[1:]}0/state", "/é/state"],
)  # fmt: skip
def test_without_the_token_there_is_403_and_not_a_word(served, path):
    path = path.encode("utf-8").decode("latin-1") if path.isascii() else "/%C3%A9/state"
    status, data, headers = served.raw("GET", path)
    assert (status, data) == (403, b"") and set(headers) <= {"date", "content-length", "Date"}


def test_request_by_a_name_that_somebody_else_owns_is_refused(served):
    """A foreign page could have its own name point here: RFC 9110, 7.2, leaves it to the server to look."""
    for host in (f"shop.example:{served.port}", f"127.0.0.1:{served.port + 1}", "127.0.0.1", ""):
        assert served.raw("GET", f"/{TOKEN}/state", Host=host)[0] == 403
    for host in (f"127.0.0.1:{served.port}", f"localhost:{served.port}", f"192.168.7.9:{served.port}"):
        assert served.raw("GET", f"/{TOKEN}/state", Host=host)[0] == 200


def test_post_that_another_page_makes_a_browser_send_is_refused(served):
    body = json.dumps({"run": served.run["name"]}).encode()
    path = f"/{TOKEN}/leave"
    assert served.raw("POST", path, body, Origin="http://shop.example")[0] == 403
    assert served.raw("POST", path, body, Origin="null")[0] == 403
    assert served.raw("POST", path, body, **{"Sec-Fetch-Site": "cross-site"})[0] == 403
    assert served.raw("POST", path, body, **{"Content-Type": "text/plain"})[0] == 403
    assert served.raw("PUT", path, body)[0] == 403
    assert served.run is not None
    own = f"http://127.0.0.1:{served.port}"
    assert served.raw("POST", path, body, Origin=own, **{"Sec-Fetch-Site": "same-origin"})[0] == 200


def test_link_may_be_followed_from_a_message_and_fetched_by_no_other_page(served):
    """Fetch Metadata (W3C): where a request comes from, and whether it opens a page or only fetches."""
    visit = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}
    assert served.raw("GET", f"/{TOKEN}/", **visit)[0] == 200
    assert served.raw("GET", f"/{TOKEN}/", **{**visit, "Sec-Fetch-Dest": "iframe"})[0] == 403
    assert (
        served.raw("GET", f"/{TOKEN}/state", **{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "cors"})[0]
        == 403
    )
    assert served.raw("POST", f"/{TOKEN}/leave", b"{}", **visit)[0] == 403


def test_body_that_is_too_long_or_does_not_say_how_long_is_refused(served):
    assert served.raw("POST", f"/{TOKEN}/leave", b"x" * 9000)[0] == 413
    assert served.raw("POST", f"/{TOKEN}/leave", iter([b"{}"]))[0] == 413
    for body in (b"", b"[]", b"{", b"\xff"):
        assert served.raw("POST", f"/{TOKEN}/leave", body)[0] == 422


def test_every_answer_says_that_nothing_from_outside_is_loaded(served):
    for path in ("", "page.js", "state"):
        status, _, headers = served.raw("GET", f"/{TOKEN}/{path}")
        found = {name.lower(): value for name, value in headers.items()}
        assert status == 200 and found["referrer-policy"] == "no-referrer"
        policy = dict(
            part.strip().partition(" ")[::2] for part in found["content-security-policy"].split(";")
        )
        assert policy["default-src"] == "'none'" and policy["frame-ancestors"] == "'none'"
        assert policy["script-src"] == policy["connect-src"] == policy["style-src"] == "'self'"
        assert "server" not in found


def test_files_of_the_page_name_no_other_place(served):
    for name in ("", "page.css", *(f"{script}.js" for script in SCRIPTS)):
        status, data, _ = served.raw("GET", f"/{TOKEN}/{name}")
        assert status == 200 and len(data) > 500 and not re.search(rb"https?:|url\(|[\"'(]//", data), name


@pytest.mark.parametrize(
    "path", ["../__init__.py", "..%2f__init__.py", "files/page.html", "page.html", "%00"]
)
def test_nothing_else_is_served(served, path):
    assert served.raw("GET", f"/{TOKEN}/{path}")[0] == 404


def test_name_of_this_machine_is_its_own():
    import socket

    assert is_own_host(f"{socket.gethostname()}:80", 80) and not is_own_host(
        f"a.{socket.gethostname()}:80", 80
    )


def test_token_is_drawn_anew_and_long():
    tokens = {link.new_token() for _ in range(100)}
    assert len(tokens) == 100 and all(len(token) == 22 for token in tokens)  # 128 bits in base 64


def test_address_that_the_whole_internet_may_reach_has_to_be_asked_for(monkeypatch):
    class Anywhere:
        def __init__(self, *_):
            pass

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

        def connect(self, _):
            pass

        def getsockname(self):
            return ("8.8.4.4", 5)

    monkeypatch.setattr(link.socket, "socket", Anywhere)
    with pytest.raises(AcquireError, match="whole internet"):
        link.own_address()


def test_without_the_extra_one_line_says_what_to_install(survey, monkeypatch, capsys):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    assert main(["page", str(survey)]) == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "pip install 'waylog[page]'" in said


def test_port_that_is_taken_is_told_in_one_line(served, survey, capsys):
    code = main(["page", str(survey), "--address", "127.0.0.1", "--port", str(served.port)])
    said = capsys.readouterr().err
    assert code == 1 and said.count("\n") == 1 and "another --port" in said


def test_code_in_the_terminal_holds_the_link(monkeypatch, capsys):
    import io

    import segno

    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    page_command._invite("http://192.168.1.5:8737/t0ken/", "nobody")
    drawn = io.StringIO()
    segno.make("http://192.168.1.5:8737/t0ken/", error="m", micro=False).terminal(drawn, compact=True)
    said = capsys.readouterr().out
    assert drawn.getvalue() in said and said.endswith("http://192.168.1.5:8737/t0ken/\n")


@pytest.mark.whole
def test_command_says_who_can_reach_it_and_ends_with_what_was_kept(survey):
    with command(survey, "way", "-i", "level") as (process, asker):
        assert asker.reading("1")[0] == 200
        process.send_signal(2)
        _, said = process.communicate(timeout=60)
    assert process.returncode == 0
    assert "only this machine can reach it" in said and "stopped: 1 readings kept in 001" in said
    assert "isolate the machine and lock it off" in said and asker.token not in said
