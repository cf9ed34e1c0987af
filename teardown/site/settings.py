"""One settings file, driven by the environment (TEARDOWN_*, DATABASE_URL)."""

import os
import secrets
from pathlib import Path

import environ

from teardown.site.sqlite import use_the_safe_one

use_the_safe_one()

# One thread for each process: small matrices go slower with more, and several workers share a machine.
# It has to be said before numpy is first imported.
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

env = environ.Env()
BASE_DIR = Path(__file__).resolve().parents[2]
DATA_DIR = Path(env("TEARDOWN_DATA", default=str(BASE_DIR / ".data"))).resolve()
DATA_DIR.mkdir(parents=True, exist_ok=True)


def _secret_key() -> str:
    """Read the key of this installation, made once and readable by its owner alone."""
    path = DATA_DIR / "secret_key"
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(48))
    except FileExistsError:
        pass
    return path.read_text()


SECRET_KEY = env("TEARDOWN_SECRET_KEY", default="") or _secret_key()
DEBUG = env.bool("TEARDOWN_DEBUG", default=False)
HTTPS = env.bool("TEARDOWN_HTTPS", default=False)
ALLOWED_HOSTS = env.list("TEARDOWN_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
# A data folder that holds the invented laboratory says so on every page.
_INVENTED = "Skerry Point Laboratory (invented)" if (DATA_DIR / "demo.json").exists() else ""
LABORATORY = env("TEARDOWN_LABORATORY", default=_INVENTED or "Laboratory")

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",
    "django_tasks",
    "django_tasks_db",
    "django_filters",
    "django_htmx",
    "template_partials",
    "axes",
    "csp",
    "js_lib_leaflet",
    "teardown.page",
    "teardown.records",
    "teardown.accounts",
    "teardown.files",
    "teardown.vocabulary",
    "teardown.cells",
    "teardown.cycling",
    "teardown.dissection",
    "teardown.imaging",
    "teardown.diffraction",
    "teardown.findings",
    "teardown.review",
    "teardown.api",
    "teardown.site",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "teardown.records.middleware.request_number",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "teardown.page.preferences.PreferencesMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "csp.middleware.CSPMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "teardown.files.middleware.room_and_patience",
    "teardown.accounts.middleware.refusals_in_words",
    "teardown.cells.middleware.FormerCodes",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "teardown.site.urls"
WSGI_APPLICATION = "teardown.site.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "builtins": ["teardown.page.templatetags.page"],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "teardown.page.context.laboratory",
            ],
        },
    }
]
# what waits at a page, counted beside its link
NAVIGATION_COUNTS = {"waiting": "teardown.findings.dossier.waiting.count_waiting"}
FORM_RENDERER = "teardown.page.rendering.FormRenderer"

# --- the database: SQLite embedded, PostgreSQL for a laboratory ---------------------------------------
DATABASES = {"default": env.db_url("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'teardown.sqlite3'}")}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    # IMMEDIATE: a transaction that reads first and then writes cannot wait, it would fail at once.
    # FULL: an acknowledged save survives a power cut. recursive_triggers: else REPLACE slips past the guards.
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON; "
        "PRAGMA recursive_triggers=ON; PRAGMA temp_store=MEMORY; PRAGMA cache_size=-20000;",
    }
else:
    DATABASES["default"].setdefault("OPTIONS", {})["pool"] = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# --- people -----------------------------------------------------------------------------------------
AUTH_USER_MODEL = "accounts.User"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "sign_in"
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_LOCKOUT_TEMPLATE = "accounts/locked_out.html"
AXES_VERBOSE = False

# --- files ------------------------------------------------------------------------------------------
STORES = {"originals": DATA_DIR / "originals", "derived": DATA_DIR / "derived"}
STORAGES = {
    "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": DATA_DIR / "media"},
    },
    "originals": {"BACKEND": "teardown.files.store.Originals", "OPTIONS": {"location": STORES["originals"]}},
    "derived": {"BACKEND": "teardown.files.store.Derived", "OPTIONS": {"location": STORES["derived"]}},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
# What shows an original to who may not see open cells: the way to when its cell was closed, or nothing
# where the table says itself what a person may see.
FILES_SHOWN = {
    "dissection.Photograph": "dissection__cell__closed_at",
    "dissection.TranscribedPage": "transcription__dissection__cell__closed_at",
    "cycling.CyclingFile": "test__cell__closed_at",
    "imaging.Micrograph": "",
    "diffraction.Pattern": "",
}
FILE_UPLOAD_HANDLERS = ["teardown.files.store.HashingUploadHandler"]
FILE_UPLOAD_TEMP_DIR = STORES["originals"] / "incoming"  # same disk as the store: the last step is a rename
FILE_UPLOAD_TEMP_DIR.mkdir(parents=True, exist_ok=True)
DATA_UPLOAD_MAX_MEMORY_SIZE = 8 * 2**20
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2000
DATA_UPLOAD_MAX_NUMBER_FILES = 500
UPLOAD_LARGEST_BYTES = env.int("TEARDOWN_UPLOAD_LARGEST_BYTES", default=4 * 2**30)
UPLOAD_RESERVE_BYTES = env.int("TEARDOWN_UPLOAD_RESERVE_BYTES", default=256 * 2**20)
# calmed greys of pictures, kept so that levels can be pinned in less time; losing them loses nothing
CALM_GREYS_BYTES = env.int("TEARDOWN_CALM_GREYS_BYTES", default=2 * 2**30)
STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "static"]
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.FileSystemFinder",
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "teardown.page.finders.TypefaceFinder",
]

# --- work: which function a run names, and the release of that function ------------------------------
WORK = {
    "cycling.summarise": ("teardown.cycling.measure.summarise", "4"),
    "imaging.section": ("teardown.imaging.measure.section", "5"),
    "imaging.rescale": ("teardown.imaging.measure.rescale", "1"),
    "imaging.sample": ("teardown.imaging.measure.sample", "2"),
    "imaging.electrode": ("teardown.imaging.measure.electrode", "1"),
    "imaging.train": ("teardown.imaging.measure.train", "1"),
    "diffraction.fit": ("teardown.diffraction.measure.fit", "5"),
    "diffraction.calibrate": ("teardown.diffraction.measure.calibrate", "1"),
    "diffraction.external": ("teardown.diffraction.measure.external", "1"),
    "findings.balance": ("teardown.findings.measure.balance", "2"),
}
WORK_LEASE_SECONDS = env.float("TEARDOWN_WORK_LEASE_SECONDS", default=30)
WORK_LONGEST_SECONDS = env.float("TEARDOWN_WORK_LONGEST_SECONDS", default=3600)
TASKS = {
    "default": {
        "BACKEND": env("TEARDOWN_TASKS_BACKEND", default="django_tasks_db.DatabaseBackend"),
        "ENQUEUE_ON_COMMIT": False,  # the doorbell is rung on commit by our own deeds
        "QUEUES": [],
    }
}

# --- what a browser may do with our pages -------------------------------------------------------------
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "connect-src": ["'self'"],
        "img-src": ["'self'", "data:", "blob:"],
        "media-src": ["'self'", "blob:"],
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
        "form-action": ["'self'"],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 14 * 24 * 3600
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
CSRF_TRUSTED_ORIGINS = env.list("TEARDOWN_ORIGINS", default=[])

LANGUAGE_CODE = "en-gb"
TIME_ZONE = env("TEARDOWN_TIME_ZONE", default="UTC")
USE_TZ = True
USE_I18N = True
USE_THOUSAND_SEPARATOR = False

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "{asctime} {levelname} {name} {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {"handlers": ["stderr"], "level": env("TEARDOWN_LOG_LEVEL", default="WARNING")},
}
