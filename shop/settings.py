"""Django settings. A shop sets nothing here: what its owner decides are rows edited in the app.

What the machine decides comes from the environment:

BENCHTAG_HOME   folder of the database, pictures, backups and the secret key (default: .data)
DATABASE_URL    another database, e.g. postgres://… (default: SQLite in BENCHTAG_HOME)
BENCHTAG_TLS    1 where the shop is served over TLS: cookies are then sent over TLS only
BENCHTAG_HOSTS  names the shop may be called by, with commas (default: any, see below)
BENCHTAG_DEBUG  1 shows tracebacks to whoever looks: for developers only
"""

import os
import secrets
from pathlib import Path

import dj_database_url

BASE_DIR = Path(__file__).resolve().parent.parent
HOME = Path(os.environ.get("BENCHTAG_HOME", BASE_DIR / ".data")).resolve()
HOME.mkdir(parents=True, exist_ok=True, mode=0o700)  # customers' names and signatures are its user's alone


def _switch(name: str) -> bool:
    return os.environ.get(name, "") in {"1", "true", "yes"}


def _secret_key() -> str:
    """Return this shop's own secret, made on the first start and readable by its user alone.

    It is written whole before it gets its name: two first starts at once end with the same key, and a pulled
    plug leaves none rather than half of one.
    """
    path = HOME / "secret.key"
    if not path.exists():
        made = HOME / f"secret.{os.getpid()}.{secrets.token_hex(4)}"
        with os.fdopen(os.open(made, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(64))
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(made, path)  # fails where the other start was first; then theirs is the key
        except FileExistsError:
            pass
        except OSError:  # a file system without links
            made.replace(path)
        made.unlink(missing_ok=True)
    return path.read_text().strip()


SECRET_KEY = _secret_key()
DEBUG = _switch("BENCHTAG_DEBUG")
DEMO = _switch("BENCHTAG_DEMO")  # the invented shop, in a database of its own: `openshop --demo` sets it
# The address of a shop's PC changes with its router, and tablets reach it by number. A wrong Host header
# gains nothing here: no page builds an address from it but the QR codes, which staff see before they print.
ALLOWED_HOSTS = [h for h in os.environ.get("BENCHTAG_HOSTS", "*").split(",") if h]

INSTALLED_APPS = [
    "shop",
    "intake",
    "calc",
    "inventory",
    "axes",
    "django_htmx",
    "template_partials",
    "whitenoise.runserver_nostatic",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "shop.middleware.SecurityPolicy",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "shop.middleware.SignInRequired",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "shop.middleware.ShopPlace",
    "shop.middleware.PlainRefusals",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "shop.urls"
WSGI_APPLICATION = "shop.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "shop.context.place",
            ],
        },
    }
]

# The shop's own file is named without a URL: in a URL, the # in a folder's name would begin a fragment.
_own = {"ENGINE": "django.db.backends.sqlite3", "NAME": str(HOME / "shop.sqlite3"), "CONN_MAX_AGE": 60}
_other = os.environ.get("DATABASE_URL", "")
DATABASES = {"default": dj_database_url.parse(_other, conn_max_age=60) if _other else _own}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["OPTIONS"] = {
        # Measured: without IMMEDIATE one write in eight meets a lock; with it and 20 s none did.
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        # recursive_triggers: without it INSERT OR REPLACE would go around the triggers of shop.keep.
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON; "
        "PRAGMA recursive_triggers=ON;",
    }
    # In a file, as in the shop: in memory all threads would share one connection, and no race would be tested.
    DATABASES["default"]["TEST"] = {"NAME": str(HOME / "test.sqlite3")}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "shop.Staff"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "shop.doors.PasswordDoor",
    "shop.doors.PinDoor",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("name", "sign_in")},
    },
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "enter"
LOGIN_REDIRECT_URL = "home"

# Lock-out after repeated failures. By person and device together, so that a stranger at one tablet can't
# keep the owner out at another; the owner lifts a lock in the staff page.
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False  # or whoever keeps tapping could hold a lock for ever
AXES_DISABLE_ACCESS_LOG = True  # nobody would read it
AXES_SENSITIVE_PARAMETERS = [  # a failed try keeps what was sent, but never these
    *["username", "ip_address", "sign_in", "password", "password_again", "pin", "code"],
    *["new_password", "new_password_again", "new_pin"],
]
AXES_LOCKOUT_CALLABLE = "shop.doors.locked_out"
AXES_VERBOSE = False
AXES_ENABLE_ADMIN = False

USE_I18N = False
LANGUAGE_CODE = "en"
USE_TZ = True
TIME_ZONE = "UTC"  # each request switches to the shop's own zone: see shop.middleware.ShopPlace

STATIC_URL = "/static/"
STATICFILES_DIRS = [BASE_DIR / "static"]
STATIC_ROOT = HOME / "static"
MEDIA_ROOT = HOME / "media"
STORAGES = {
    "default": {"BACKEND": "shop.disk.Disk"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
FILE_UPLOAD_PERMISSIONS = 0o600
DATA_UPLOAD_MAX_MEMORY_SIZE = 4 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2000

SESSION_ENGINE = "django.contrib.sessions.backends.db"
SESSION_COOKIE_AGE = 14 * 24 * 3600
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Strict"
CSRF_FAILURE_VIEW = "shop.refusals.csrf_failure"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = _switch("BENCHTAG_TLS")
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        "weasyprint": {"level": "ERROR"},
        "fontTools": {"level": "ERROR"},
        "axes": {"level": "ERROR"},
    },
}
