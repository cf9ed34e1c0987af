"""Looking at pages in a browser: who looks, in which light, at which size, and what is wrong with them."""

import shutil
from typing import Any

from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore

SIZES = {"desk": (1280, 900), "tablet": (820, 1180), "wall": (1920, 1080)}
RULES = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]


def chromium() -> str | None:
    """Find the browser of this machine."""
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
    return next((path for name in names if (path := shutil.which(name))), None)


class Visit:
    """Pages opened as a person; ``complaints`` is what the console said, refusals of the policy among it."""

    def __init__(self, browser: Any, address: str) -> None:
        """Keep the browser and where the server is."""
        self.browser, self.address = browser, address
        self.contexts: list[Any] = []
        self.complaints: list[str] = []

    def __call__(
        self,
        path: str,
        user: Any = None,
        *,
        scheme: str = "light",
        size: str = "desk",
        settled: Any = "networkidle",
        **more: Any,
    ) -> Any:
        """Open a page and give it once it is ``settled``: quiet on the network, or only loaded."""
        width, height = SIZES[size]
        context = self.browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            has_touch=size == "tablet",
            **more,
        )
        self.contexts.append(context)
        context.set_default_timeout(60_000)
        if user is not None:
            context.add_cookies(
                [{"name": settings.SESSION_COOKIE_NAME, "value": session_of(user), "url": self.address}]
            )
        page = context.new_page()
        page.on(
            "console",
            lambda said: self.complaints.append(f"{page.url}: {said.text}") if said.type == "error" else None,
        )
        page.on("pageerror", lambda error: self.complaints.append(f"{page.url}: {error}"))
        page.goto(self.address + path)
        page.wait_for_load_state(settled)
        return page

    def leave(self) -> None:
        """Close everything that was opened."""
        for context in self.contexts:
            context.close()


def session_of(user: Any) -> str:
    """Sign a person in without typing, and give the key of the session."""
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.save()
    return str(session.session_key)


def faults(page: Any) -> list[str]:
    """Say what axe finds wrong, and whether the page is wider than its window."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page, options={"runOnly": RULES, "resultTypes": ["violations"]}).response["violations"]
    said = [f"{v['id']}: {node['html'][:160]}" for v in found for node in v["nodes"][:4]]
    over = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    return [*said, f"{over} px wider than the window"] if over > 0 else said
