"""What runs on this machine for one data folder, in words."""

from __future__ import annotations

import os
from pathlib import Path

import psycopg
import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from config import environment
from config.embedded.folder import pid_in, works_in


def report(folder: Path, root: Path) -> tuple[list[str], bool]:
    """Lines to print, and whether both database and broker answer."""
    given_database = environment.OWNER_URL in os.environ
    given_broker = environment.BROKER_URL in os.environ
    environment.load()
    database, database_answers = _database(os.environ.get(environment.APP_URL, ""))
    broker, broker_answers = _broker(os.environ.get(environment.BROKER_URL, ""))
    pid = pid_in(folder / "serve.pid")
    serving = pid is not None and works_in(pid, root)
    lines = [
        f"data folder  {folder}{'' if folder.exists() else ' (not made yet)'}",
        f"database     {_whose(given_database)}{database}",
        f"broker       {_whose(given_broker)}{broker}",
        f"desk         {f'running, process {pid}' if serving else 'not running'}",
    ]
    return lines, database_answers and broker_answers


def _whose(given: bool) -> str:  # noqa: FBT001 - a word, not an option
    return "given, " if given else "our own, "


def _database(url: str) -> tuple[str, bool]:
    if not url:
        return "never started", False
    try:
        with psycopg.connect(url, connect_timeout=3) as connection:
            version = connection.info.server_version // 10000
            port = connection.info.port
    except psycopg.OperationalError:
        return "does not answer", False
    return f"answers (PostgreSQL {version}, port {port})", True


def _broker(url: str) -> tuple[str, bool]:
    if not url:
        return "never started", False
    try:
        at_once = Retry(NoBackoff(), 0)
        client = redis.Redis.from_url(
            url, socket_connect_timeout=2, socket_timeout=2, retry=at_once
        )
        found = client.info("server")
    except redis.RedisError:
        return "does not answer", False
    name = "Valkey" if "valkey_version" in found else "Redis"
    version = found.get("valkey_version", found["redis_version"])
    return f"answers ({name} {version}, port {found['tcp_port']})", True
