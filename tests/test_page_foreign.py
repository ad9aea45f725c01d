"""A foreign page in the same browser, with the session's cookie in it, can neither read nor change anything."""

from __future__ import annotations

import http.server
import threading

import pytest
from page_browser import Person, chromium
from page_world import bench_photo, build_text, served

ATTACK = """<!DOCTYPE html><title>foreign</title><p id="out">waiting</p>
<form id="form" method="post" action="{target}/api/build" enctype="text/plain"><input name='{{"revision":1,"x":"' value='"}}'></form>
<img id="img" src="{target}/photo/{photo}/view">
<iframe id="frame" src="{target}/"></iframe>
<script src="{target}/static/store.js"></script>
<script>
(async () => {{
  const results = [];
  const tries = [
    ['read', '{target}/api/state', {{ credentials: 'include' }}],
    ['blind', '{target}/api/state', {{ credentials: 'include', mode: 'no-cors' }}],
    ['put', '{target}/api/build', {{ method: 'PUT', credentials: 'include', body: '{{}}', headers: {{ 'Content-Type': 'application/json' }} }}],
    ['post', '{target}/api/verdict', {{ method: 'POST', credentials: 'include', mode: 'no-cors', body: '{{}}' }}],
  ];
  for (const [name, url, options] of tries) {{
    try {{ const r = await fetch(url, options); results.push(name + ':' + r.type + r.status); }}
    catch (e) {{ results.push(name + ':failed'); }}
  }}
  const img = document.getElementById('img');
  results.push('img:' + img.naturalWidth);
  document.getElementById('out').textContent = results.join(' ');
}})();
</script>"""


class _Foreign(http.server.BaseHTTPRequestHandler):
    page = b""

    def do_GET(self):
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.send_header("Content-Length", str(len(self.page)))
        self.end_headers()
        self.wfile.write(self.page)

    def log_message(self, *_):
        """Quiet."""


@pytest.fixture(scope="module")
def browser():
    with chromium("--host-resolver-rules=MAP rebound.example 127.0.0.1") as launched:
        yield launched


@pytest.fixture
def world(tmp_path):
    bench_photo(tmp_path / "bench.jpg")
    (tmp_path / "bench.toml").write_text(build_text("plate"))
    with served(tmp_path / "bench.toml") as served_world:
        yield served_world


@pytest.fixture
def foreign():
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Foreign)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()
    server.server_close()
    thread.join()


# The first is another site; the second is the same site to the browser (sites have no ports), so the cookie is sent.
@pytest.mark.parametrize("host", ["localhost", "127.0.0.1"])
def test_a_foreign_page_s_form_fetch_image_and_frame_get_nothing(browser, world, foreign, host):
    context = browser.new_context()
    person = Person(context, world)
    person.sees("#headline", "plate")
    before = world.text
    photo = world.edited.state()["draft"]["photo"][0]["file"]
    _Foreign.page = ATTACK.format(target=world.address, photo=photo).encode()
    page = context.new_page()
    page.goto(foreign.replace("127.0.0.1", host))
    page.wait_for_timeout(300)
    page.get_by_text("read:").wait_for(timeout=15_000)
    said = page.inner_text("#out").split()
    assert "read:failed" in said
    assert "put:failed" in said
    assert "img:0" in said
    assert not any(word.endswith("200") for word in said)
    with page.expect_navigation() as sent:
        page.evaluate("() => document.getElementById('form').submit()")
    assert sent.value.status == 403
    assert world.text == before
    context.close()


def test_a_foreign_name_for_this_machine_is_refused_in_the_browser(browser, world):
    context = browser.new_context()
    page = context.new_page()
    for path in ("/", f"/enter?token={world.keys.token}"):
        assert page.goto(f"http://rebound.example:{world.keys.port}{path}").status == 403
    context.close()
    assert world.keys.spend(world.keys.token)  # the token was not used up


def test_a_used_address_opens_nothing_in_another_browser(browser, world):
    first, second = browser.new_context(), browser.new_context()
    Person(first, world)
    page = second.new_page()
    assert page.goto(world.entrance).status == 403
    assert "used already" in page.inner_text("body")
    assert page.goto(world.address).status == 403
    first.close()
    second.close()
