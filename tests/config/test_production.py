"""The production settings, asked from outside."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from tests.house.sources import ROOT

PRODUCTION = {
    "DJANGO_SETTINGS_MODULE": "config.settings",
    "TOWPATH_PUBLIC_URL": "https://desk.example.test",
    "TOWPATH_SECRET_KEY": "k7Jq2vN9xPzW4mTtY8sB1cR6dF3gH5jL0aQeUiOoXyZbVnMlKwEu",
    "TOWPATH_DATA": "/nonexistent",
}


def python(*words: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """Run Python in the checkout with the production variables."""
    return subprocess.run(
        [sys.executable, *words],
        cwd=ROOT,
        env={**os.environ, **PRODUCTION, **variables},
        capture_output=True,
        text=True,
        check=False,
    )


def setting(*names: str, **variables: str) -> list[object]:
    """Settings as a production process sees them."""
    code = (
        "import json; from django.conf import settings as s;"
        f"print(json.dumps([getattr(s, n) for n in {names!r}]))"
    )
    done = python("-c", code, **variables)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_deployment_check_has_nothing_to_say():
    done = python("manage.py", "check", "--deploy", "--fail-level", "WARNING")
    assert done.returncode == 0, done.stderr
    assert "no issues" in done.stdout


def test_one_address_makes_hosts_origins_and_cookies():
    names = ("CSRF_TRUSTED_ORIGINS", "SESSION_COOKIE_NAME", "SESSION_COOKIE_SECURE")
    assert setting(*names) == [["https://desk.example.test"], "__Host-session", True]
    assert "desk.example.test" in setting("ALLOWED_HOSTS")[0]
    assert setting("SECURE_HSTS_SECONDS") == [31_536_000]


def test_without_https_no_cookie_is_lost():
    address = "http://127.0.0.1:8000"
    assert setting("SESSION_COOKIE_SECURE", TOWPATH_PUBLIC_URL=address) == [False]


def test_a_secret_may_come_from_a_file(tmp_path):
    file = tmp_path / "key"
    file.write_text("from-a-file-" * 5, "utf-8")
    variables = {"TOWPATH_SECRET_KEY_FILE": str(file), "TOWPATH_SECRET_KEY": ""}
    assert setting("SECRET_KEY", **variables) == ["from-a-file-" * 5]


@pytest.mark.parametrize("module", ["config.wsgi"])
def test_the_web_server_refuses_the_key_that_is_in_the_source(module: str):
    unsafe = "unsafe-key-for-commands-without-a-server"
    done = python("-c", f"import {module}", TOWPATH_SECRET_KEY=unsafe)
    assert done.returncode != 0
    assert "TOWPATH_SECRET_KEY" in done.stderr
