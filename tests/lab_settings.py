"""The application's own settings, with functions of the tests that a run may name."""

from teardown.site.settings import *  # noqa: F403

WORK = WORK | {  # noqa: F405
    f"tests.{name}": (f"tests.files.work.{name}", "1") for name in ("count", "slowly", "refuse", "break_down")
}
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # many sign in at once
