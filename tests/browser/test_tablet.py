"""A tablet beside the laptop: paired by the picture, a secure page, a session that arrives.

The laptop is on 127.0.0.1 over HTTP, the tablet on 127.0.0.2 over TLS in a browser of its own that
trusts the leaf by its key, as an installed certificate would make it.
"""

import base64
import hashlib
import re
import urllib.error
import urllib.request
from collections.abc import Callable
from typing import Any

import pytest
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import Error, Page, expect
from stand import laid_out, plan_today, slot

pytestmark = pytest.mark.browser

MICROPHONE = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
SECURE = """async () => {
  const mic = await navigator.mediaDevices.getUserMedia({ audio: true });
  mic.getTracks().forEach((track) => track.stop());
  const worker = await navigator.serviceWorker.ready;
  return {
    secure: isSecureContext,
    worker: new URL(worker.scope).pathname,
    wake: "wakeLock" in navigator,
    cookie: document.cookie,
  };
}"""


def trusting(sharing: Any) -> str:
    """The switch that trusts this leaf's key (SHA-256 of its SPKI, RFC 7469, section 2.4)."""
    public = sharing.leaf.key.public_key()
    spki = public.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    digest = base64.b64encode(hashlib.sha256(spki).digest()).decode()
    return f"--ignore-certificate-errors-spki-list={digest}"


def share(page: Page, url: str) -> str:
    """Share as the player would, on a free port; return the digits shown."""
    page.goto(f"{url}/share")
    page.locator("summary", has_text="Change port").click()
    page.locator("[name=port]").fill("0")
    page.locator("#address").fill("127.0.0.2")
    page.get_by_role("button", name="Start sharing").click()
    expect(page.locator(".digits")).to_be_visible()
    return page.locator(".digits").inner_text()


def arrives(page: Page, true: Callable[[], bool]) -> bool:
    """Wait until something on the server's side is true."""
    for _ in range(150):
        if true():
            return True
        page.wait_for_timeout(100)
    return False


def test_a_session_on_the_tablet_arrives_and_ends_with_the_pairing(
    shareable, open_page, axe, another_browser
):
    steps = laid_out(shareable.services)
    plan_today(shareable.services, [slot(steps["own"], 5)])
    own = open_page(1366, 768)
    digits = share(own, shareable.url)
    assert axe(own) == []
    url = shareable.sharing.url
    tablet = another_browser(trusting(shareable.sharing), *MICROPHONE)
    page = tablet.new_context(viewport={"width": 820, "height": 1180}).new_page()
    page.goto(f"{url}/session")
    expect(page.get_by_role("heading", name="Not paired")).to_be_visible()
    page.goto(f"{url}/pair#{digits.replace(' ', '')}")
    expect(page.locator("#code")).to_have_value(digits)
    expect(page.locator("#trust-first")).to_be_hidden()  # this browser trusts it already
    assert axe(page) == []
    page.get_by_role("button", name="Pair").click()
    expect(page.locator("#secure")).to_have_attribute("data-check", "yes")

    page.get_by_role("link", name="Open session").click()
    expect(page.locator("#start-go")).to_be_visible()
    found = page.evaluate(SECURE)
    assert found == {"secure": True, "worker": "/session", "wake": True, "cookie": ""}
    page.locator("#start-go").click()
    assert arrives(page, lambda: len(shareable.services.state().sessions) == 1)
    page.goto(url)
    expect(page.locator("#new-topic")).to_be_hidden()  # the pile is the computer's

    expect(own.locator(".paired-now")).to_contain_text("Paired: ")
    assert axe(own) == []
    own.get_by_role("button", name="Unpair device").click()
    expect(own.locator(".digits")).to_be_visible()
    assert page.evaluate("fetch('/api/session').then((r) => r.status)") == 401
    own.get_by_role("button", name="Stop sharing").click()
    expect(own.get_by_role("button", name="Start sharing")).to_be_visible()
    with pytest.raises(Error, match="ERR_CONNECTION_REFUSED"):
        page.goto(f"{url}/pair")


def test_a_browser_without_the_certificate_warns_and_is_told_what_to_do(
    shareable, open_page, axe, another_browser
):
    own = open_page(390, 844)
    share(own, shareable.url)
    url = shareable.sharing.url
    with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
        urllib.request.urlopen(f"{url}/pair", timeout=10)
    browser = another_browser()
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        browser.new_page().goto(f"{url}/pair")
    page = browser.new_context(  # gone on past the warning
        ignore_https_errors=True,
        viewport={"width": 390, "height": 844},
        user_agent="Mozilla/5.0 (Linux; Android 14; K)",
    ).new_page()
    page.goto(f"{url}/pair")
    expect(page.get_by_text("Open the device’s settings")).to_be_visible()
    assert axe(page) == []
    with page.expect_download() as download:
        page.get_by_role("link", name="Download certificate").click()
    assert download.value.path().read_bytes() == shareable.sharing.authority.der
    shown = page.locator(".finger").inner_text()
    assert re.fullmatch(r"(..:){3}.. … (..:){3}..", shown)
    assert shown == own.locator(".finger").first.inner_text()
