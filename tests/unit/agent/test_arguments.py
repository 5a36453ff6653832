"""The command line."""

import pytest

from fadewatch_agent.arguments import Command, Option, UsageError, parse

COMMANDS = {
    "look": Command(
        "look at it", (Option("json", "as JSON"), Option("at", "x", "DIR"))
    ),
    "stay": Command("stay", ()),
}


def test_a_switch_and_a_value() -> None:
    chosen = parse(["look", "--json", "--at", "here"], COMMANDS)

    assert chosen.command == "look"
    assert chosen.values == {"json": "", "at": "here"}


def test_a_value_after_a_sign_of_equality() -> None:
    assert parse(["look", "--at=a=b"], COMMANDS).values == {"at": "a=b"}


def test_of_an_option_given_twice_the_last_counts() -> None:
    assert parse(["look", "--at", "a", "--at", "b"], COMMANDS).values == {"at": "b"}


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ([], "the first word must be one of look, stay"),
        (["jump"], "the first word must be one of look, stay"),
        (["look", "--loud"], "look has no option '--loud'"),
        (["look", "here"], "look has no option 'here'"),
        (["look", "--js"], "look has no option '--js'"),
        (["look", "--at"], "--at needs a value"),
        (["look", "--at="], "--at needs a value"),
        (["look", "--json=1"], "--json takes no value"),
    ],
)
def test_what_cannot_be_understood_is_named(words: list[str], message: str) -> None:
    with pytest.raises(UsageError, match=message):
        parse(words, COMMANDS)


@pytest.mark.parametrize("word", ["-h", "--help"])
def test_help_lists_the_commands(word: str) -> None:
    chosen = parse([word], COMMANDS)

    assert chosen.command is None
    assert "  look  look at it\n  stay  stay\n" in chosen.text


def test_help_of_a_command_lists_its_options() -> None:
    chosen = parse(["look", "--at", "x", "--help"], COMMANDS)

    assert chosen.command is None
    assert chosen.text == (
        "fadewatch-agent look [OPTIONS]: look at it\n"
        "\n"
        "  --json    as JSON\n"
        "  --at DIR  x\n"
    )


def test_help_of_a_command_without_options() -> None:
    assert parse(["stay", "-h"], COMMANDS).text.startswith("fadewatch-agent stay")
