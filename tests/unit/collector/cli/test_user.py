"""The account commands, as a person runs them."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fadewatch_collector.cli.user import user_group

PASSWORD = "three boats on a lake"  # noqa: S105  of a test's operator


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FADEWATCH_DATA_FOLDER", str(tmp_path / "data"))


def run(*arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(user_group, arguments, input=typed)


def add(name: str = "mira", role: str = "technician") -> Result:
    return run("add", name, "--role", role, typed=f"{PASSWORD}\n{PASSWORD}\n")


def test_a_password_is_asked_for_twice_and_never_shown() -> None:
    result = add()

    assert result.exit_code == 0
    assert "mira can sign in as technician." in result.output
    assert PASSWORD not in result.output


def test_two_different_passwords_add_nobody() -> None:
    result = run("add", "mira", "--role", "viewer", typed="first one\nsecond one\n")

    assert result.exit_code != 0
    assert "No operator yet" in run("list").output


def test_a_password_comes_from_a_file_or_standard_input(tmp_path: Path) -> None:
    file = tmp_path / "password"
    file.write_text(f"{PASSWORD}\nnot this line\n")

    from_file = run("add", "a", "--role", "viewer", "--password-file", str(file))
    from_input = run(
        "add", "b", "--role", "viewer", "--password-file", "-", typed=f"{PASSWORD}\r\n"
    )
    missing = run("password", "a", "--password-file", str(tmp_path / "none"))

    assert (from_file.exit_code, from_input.exit_code) == (0, 0)
    assert missing.exit_code == 1
    assert "cannot be read" in missing.stderr


def test_what_cannot_be_done_is_one_line_and_exit_code_1() -> None:
    for result in (
        run("add", "mira", "--role", "viewer", typed="short\nshort\n"),
        run("disable", "nobody"),
        run("sign-in-link", "nobody"),
        run("api-token", "revoke", "7"),
    ):
        assert result.exit_code == 1
        assert result.stderr.startswith("fadewatch-collector: ")
        assert result.stderr.count("\n") == 1


def test_operators_are_listed_with_role_and_state() -> None:
    add()
    run("disable", "mira")

    (line,) = (line for line in run("list").output.splitlines() if "mira" in line)

    assert "technician" in line
    assert "disabled 2" in line


def test_a_disabled_operator_gets_no_link_until_enabled() -> None:
    add()
    run("disable", "mira")

    refused = run("sign-in-link", "mira")
    run("enable", "mira")

    assert refused.exit_code == 1
    assert run("sign-in-link", "mira").exit_code == 0


@pytest.mark.parametrize(
    ("variables", "start"),
    [
        ({}, "http://127.0.0.1:8470/sign-in/once?token=fwo_"),
        (
            {"FADEWATCH_PUBLIC_URL": "https://collector.example/"},
            "https://collector.example/sign-in/once?token=fwo_",
        ),
        ({"FADEWATCH_PORT": "0"}, "/sign-in/once?token=fwo_"),
    ],
)
def test_a_sign_in_link_is_printed_alone(
    variables: dict[str, str], start: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    add()

    output = run("sign-in-link", "mira").output

    assert output.startswith(start)
    assert output.count("\n") == 1


def test_an_api_token_is_shown_once_listed_and_revoked() -> None:
    add()

    token = run("api-token", "new", "mira", "--label", "script").output.strip()
    listed = run("api-token", "list").output
    run("api-token", "revoke", "1")

    assert token.startswith("fwa_")
    assert "script" in listed
    assert token not in listed
    assert "revoked 2" in run("api-token", "list").output


def test_a_role_is_changed_and_listed() -> None:
    add(role="viewer")

    result = run("role", "mira", "administrator")

    assert result.output == "The role is administrator now.\n"
    assert "administrator" in run("list").output
    assert run("role", "nobody", "viewer").exit_code != 0
