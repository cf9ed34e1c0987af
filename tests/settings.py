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
# A file, as in use: threads of a live server, the test and a worker's heart have a connection each. In memory
# they would share one, or lock each other out of a table at once, whatever the patience.
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":  # noqa: F405
    DATABASES["default"]["TEST"] = {"NAME": f"{_folder}/tests.sqlite3"}  # noqa: F405
    quick = DATABASES["default"]["OPTIONS"]["init_command"].replace("synchronous=FULL", "synchronous=OFF")  # noqa: F405
    DATABASES["default"]["OPTIONS"]["init_command"] = quick  # noqa: F405 - a power cut spoils no test
