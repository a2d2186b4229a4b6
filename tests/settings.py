"""Settings of the test run: a data folder of its own, work done at once, and the database the run is asked to use.

``BUILDOUT_TEST_POSTGRESQL_URL`` makes the whole run use that PostgreSQL server; otherwise it is SQLite, in a file,
so that tests with several threads meet the same locks as a real installation.
"""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

_postgresql = os.environ.pop("BUILDOUT_TEST_POSTGRESQL_URL", "")
if _postgresql:
    os.environ["BUILDOUT_DATABASE_URL"] = _postgresql
if "BUILDOUT_DATA" not in os.environ:
    _folder = tempfile.mkdtemp(prefix="buildout-tests-")
    os.environ["BUILDOUT_DATA"] = _folder
    atexit.register(shutil.rmtree, _folder, ignore_errors=True)
os.environ.setdefault("BUILDOUT_TASKS", "at-once")

from buildout.settings import *  # noqa: E402, F403
from buildout.settings import DATA, DATABASES  # noqa: E402

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
(DATA / "static").mkdir(exist_ok=True)
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    # One file for each process of the run.
    DATABASES["default"]["TEST"] = {
        "NAME": str(Path(DATA) / f"test-{os.environ.get('PYTEST_XDIST_WORKER', 'main')}.sqlite3")
    }
