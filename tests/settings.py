"""The application's own settings, with a data folder that is thrown away."""

import atexit
import os
import shutil
import tempfile

_folder = tempfile.mkdtemp(prefix="teardown-tests-")
atexit.register(shutil.rmtree, _folder, ignore_errors=True)
os.environ["TEARDOWN_DATA"] = _folder
os.environ.setdefault("TEARDOWN_UPLOAD_RESERVE_BYTES", "0")

from teardown.site.settings import *  # noqa: E402, F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
LABORATORY = "Skerry Point Laboratory"
# Runs are worked off by the test that asked for them; nobody listens for the doorbell.
TASKS = {
    "default": {
        "BACKEND": "django_tasks.backends.dummy.DummyBackend",
        "ENQUEUE_ON_COMMIT": False,
        "QUEUES": [],
    }
}
# With the manifest storage a live server answers 404 for every hashed file.
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}  # noqa: F405
WHITENOISE_AUTOREFRESH = True
AXES_ENABLED = False
