"""The documents say what the program does."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from fertadjust.cli import cli

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
_FENCE = re.compile(r"^(```+|~~~+)[ \t]*([\w+-]*)[^\n]*\n(.*?)^\1[ \t]*$", re.MULTILINE | re.DOTALL)
_CODE = re.compile(r"`([^`\n]+)`")
_SUFFIX = re.compile(r"\.(py|md|toml|csv|css|j2|txt|html|db|cfg|yml|yaml|json)$")
_MADE = ("dist/", "build/", ".venv", "fertadjust-demo")
"""What is made by using the repository and is not in it."""


def blocks(path: Path) -> list[tuple[str, str]]:
    """Language and text of every code block of a document."""
    text = path.read_text(encoding="utf-8")
    return [(found[2].lower(), found[3]) for found in _FENCE.finditer(text)]


def prose(path: Path) -> str:
    """A document without its code blocks."""
    return _FENCE.sub("", path.read_text(encoding="utf-8"))


def commands(group: click.Group = cli, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Words of every command that is no group."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if isinstance(command, click.Group):
            yield from commands(command, (*path, name))
        else:
            yield (*path, name)


def typed(text: str) -> Iterator[list[str]]:
    """Words after ``fertadjust`` of every call of it in a shell text."""
    text = re.sub(r"\\\n\s*", " ", text)
    for line in text.splitlines():
        words = shlex.split(re.sub(r"^\s*(?:\$|>|%)\s+", "", line), comments=True)
        call: list[str] | None = None
        for word in [*words, ";"]:
            if word in {"&&", "||", "|", ";", ">", ">>", "<", "2>", "&"}:
                if call is not None:
                    yield call
                call = None
            elif call is not None:
                call.append(word)
            elif Path(word).name in {"fertadjust", "fertadjust.exe"}:
                call = []


def readme_calls() -> list[list[str]]:
    shell = [text for language, text in blocks(README) if language not in {"python", "py", "pycon", "toml"}]
    return [call for text in shell for call in typed(text)]


def understood(given: list[str]) -> None:
    """Hand the words of a call to the command they name; nothing is run.

    Raises:
        click.UsageError: there is no such command or option, or an argument or an option's value is wrong.
    """
    command: click.Command = cli
    context = click.Context(cli, info_name="fertadjust")
    rest = list(given)
    while isinstance(command, click.Group):
        if not rest or rest[0].startswith("-"):
            command.make_parser(context).parse_args(rest)
            return
        name, rest = rest[0], rest[1:]
        found = command.get_command(context, name)
        if found is None:
            raise click.UsageError(f'no command "{name}"')
        command = found
        context = click.Context(command, parent=context, info_name=name)
    if {"--help", "-h"} & set(rest):
        return
    command.make_context(context.info_name, rest, parent=context.parent)


def test_the_first_paragraph_says_what_it_is_about() -> None:
    paragraphs = [part for part in prose(README).split("\n\n") if part.strip() and not part.startswith("#")]
    first = paragraphs[0].lower()
    assert "petiole" in first
    assert "nitrogen" in first


def test_the_readme_shows_how_to_use_it() -> None:
    assert len(readme_calls()) >= 10


def test_every_call_in_the_readme_can_be_typed() -> None:
    wrong = {}
    for call in readme_calls():
        try:
            understood(call)
        except click.UsageError as error:
            wrong[" ".join(call)] = error.format_message()
    assert wrong == {}


def test_a_call_that_cannot_be_typed_is_noticed() -> None:
    for call in (["harvest"], ["results", "harvest"], ["advise", "--colour", "red"], ["advise", "north"]):
        with pytest.raises(click.UsageError):
            understood(call)
    understood(["advise", "--block", "north", "--full"])
    assert list(typed('a && .venv/bin/fertadjust demo > x\n$ fertadjust new \\\n  "my season"  # begin')) == [
        ["demo"],
        ["new", "my season"],
    ]


@pytest.mark.parametrize("words", list(commands()), ids=" ".join)
def test_every_command_is_in_the_readme(words: tuple[str, ...]) -> None:
    text = README.read_text(encoding="utf-8")
    called = any(tuple(call[: len(words)]) == words for call in readme_calls())
    named = re.search(rf"`(?:fertadjust )?{' '.join(words)}\b[^`]*`", text)
    assert called or named


def test_python_in_the_readme_compiles() -> None:
    snippets = [text for language, text in blocks(README) if language in {"python", "py"}]
    for text in snippets:
        compile(text, "README.md", "exec")


def test_names_that_python_in_the_readme_uses_are_there() -> None:
    import fertadjust
    from fertadjust.api import Season

    for language, text in blocks(README):
        if language in {"python", "py"}:
            for name in re.findall(r"\bfertadjust\.(\w+)", text):
                assert hasattr(fertadjust, name), name
            for name in re.findall(r"\bseason\.(\w+)\(", text):
                assert hasattr(Season, name), name
    for name in re.findall(r"`season\.(?!toml)(\w+)", README.read_text(encoding="utf-8")):
        assert hasattr(Season, name), name


def paths(document: Path) -> set[str]:
    """What stands between backticks in a document and looks like a path of the repository."""
    found = set()
    for word in _CODE.findall(prose(document)):
        if re.search(r"[\s*<>{}$|=(),\"'\\]", word) or word.startswith(("http", "/", "~", "-", "--")):
            continue
        if word.startswith(_MADE):
            continue
        names_file = word.endswith((".py", ".md")) or word == "pyproject.toml"
        below = "/" in word and (
            word.endswith("/") or _SUFFIX.search(word) or (ROOT / word.split("/")[0]).exists()
        )
        if names_file or below:
            found.add(word)
    return found


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=lambda path: path.name)
def test_every_path_that_a_document_names_is_there(document: Path) -> None:
    assert document.exists()
    known = (ROOT, ROOT / "fertadjust")
    missing = [name for name in sorted(paths(document)) if not any((base / name).exists() for base in known)]
    assert missing == []


def test_the_developers_guide_names_where_things_are() -> None:
    assert len(paths(DEVELOPERS)) >= 5
