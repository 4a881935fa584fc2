"""The house has these rooms and no others."""

from __future__ import annotations

from tests.house import sources

TOP_LEVEL = {
    *("README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "manage.py"),
    *("planning", "ledger", "reports", "config", "tests", "docs", "docker-compose.yml"),
}


def test_the_top_level_is_exactly_the_agreed_one():
    names = {path.relative_to(sources.ROOT).parts[0] for path in sources.tracked()}
    visible = {name for name in names if not name.startswith(".")}
    assert visible == TOP_LEVEL


def test_the_packages_carry_no_data_of_a_running_installation():
    endings = (".sqlite3", ".pid", ".log", ".env", ".pyc")
    assert [path for path in sources.tracked() if path.name.endswith(endings)] == []


def test_no_text_names_a_folder_of_somebodys_machine():
    folders = ["/" + name + "/" for name in ("root", "work", "home/user")]
    found = [
        f"{sources.shown(path)}: {folder}"
        for path, text in sources.texts()
        for folder in folders
        if folder in text
    ]
    assert found == []
