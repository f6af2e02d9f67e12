"""The style that decides where things stand is in the page as it is served, and in nothing else."""

import http.client

import pytest

from ui.first import _STYLE


def asked(server, path, method="GET", **headers):
    there = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
    try:
        there.request(method, path, headers=headers)
        answer = there.getresponse()
        return answer, answer.read()
    finally:
        there.close()


@pytest.mark.parametrize("path", ["/", "/records", "/weeks?client=K-017", "/no-such-page"])
def test_each_page_holds_it_whole_and_once(path, server):
    answer, body = asked(server, path, **{"Accept-Encoding": "gzip, br"})
    assert answer.status == 200
    assert answer.headers["content-encoding"] is None
    assert int(answer.headers["content-length"]) == len(body)
    assert body.count(f"<style>{_STYLE}</style></head>".encode()) == 1
    assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]


def test_a_page_that_is_known_is_sent_anew_because_its_style_may_be_another(server):
    answer, _ = asked(server, "/")
    assert answer.headers["etag"] is None
    later = "Fri, 01 Jan 2100 00:00:00 GMT"
    again, body = asked(
        server, "/", **{"If-None-Match": "*", "If-Modified-Since": later, "Range": "bytes=0-9"}
    )
    assert again.status == 200
    assert body.endswith(b"</html>\n")


def test_what_is_no_page_passes_as_it_is(server):
    _, page = asked(server, "/")
    script = page.decode().split('src="./static/js/')[1].split('"')[0]
    answer, body = asked(server, f"/static/js/{script}")
    assert answer.status == 200
    assert b"<style>" + _STYLE.encode() not in body
    assert asked(server, "/_stcore/health")[1] == b"ok"
    answer, body = asked(server, "/", "HEAD")
    assert (answer.status, body) == (200, b"")
