"""`finishmatch help`: what the command line says of itself."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from finishmatch.codes import CODES
from finishmatch.errors import CommandError
from finishmatch.version import __version__


def help_(
    context: typer.Context,
    verb: Annotated[list[str] | None, typer.Argument(metavar="VERB...", help="A verb, and one of its own.")] = None,
    man: Annotated[bool, typer.Option("--man", help="Print everything as a manual page, for `man -l -`.")] = False,
) -> None:
    """Show the help of a verb, or of all."""
    root = context.find_root()
    if man:
        print("\n".join(_manual(root)))
    else:
        print(_context_of(root, verb or []).get_help())


def _context_of(root: Any, words: list[str]) -> Any:
    """The parser's context of a verb: ``root`` of none."""
    context = root
    for word in words:
        command = getattr(context.command, "commands", {}).get(word)
        if command is None:
            raise CommandError("command_line", f'no verb "{" ".join(words)}"')
        context = type(root)(command, parent=context, info_name=word)
    return context


def _manual(root: Any) -> list[str]:
    """A page for man(7), made from the same texts as ``--help``; its macros are from memory of groff_man(7)."""
    lines = [f'.TH FINISHMATCH 1 "" "finishmatch {__version__}"', ".SH NAME"]
    lines += ["finishmatch \\- which parts of one finish will look alike", ".SH DESCRIPTION", ".nf"]
    lines += [_roff(line) for line in root.get_help().splitlines()]
    for name, command in sorted(root.command.commands.items()):
        for words in [[name], *([name, inner] for inner in sorted(getattr(command, "commands", {})))]:
            lines += [".fi", f".SH {_roff(' '.join(words)).upper()}", ".nf"]
            lines += [_roff(line) for line in _context_of(root, words).get_help().splitlines()]
    lines += [".fi", ".SH NOTES AND ERRORS"]
    for code, row in CODES.items():
        mend = f" To mend it: {row.mend}." if row.mend else ""
        lines += [".TP", f".B {code}", _roff(f"({row.kind}) {row.meaning}{mend}")]
    return lines


def _roff(line: str) -> str:
    """A line that the formatter takes as it is."""
    line = line.replace("\\", "\\e").replace("-", "\\-")
    return f"\\&{line}" if line.startswith((".", "'")) else line
