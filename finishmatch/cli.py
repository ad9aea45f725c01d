"""The command line: its verbs, and what becomes of errors."""

from __future__ import annotations

import io
import os
import sys
from typing import Annotated, Any

import typer

from finishmatch import loading
from finishmatch.codes import CODES
from finishmatch.errors import FinishmatchError, Stopped
from finishmatch.verbs import card, shelf
from finishmatch.verbs.audit import audit
from finishmatch.verbs.batch import batch
from finishmatch.verbs.choose import choose
from finishmatch.verbs.compare import compare
from finishmatch.verbs.completion import answer_shell, completion
from finishmatch.verbs.difference import difference
from finishmatch.verbs.explain import explain
from finishmatch.verbs.help import help_
from finishmatch.verbs.mark import mark
from finishmatch.verbs.match import match
from finishmatch.verbs.measure import measure
from finishmatch.verbs.new import new
from finishmatch.verbs.output import print_json, printable
from finishmatch.verbs.schema import schema
from finishmatch.version import __version__

HELP = """Says from photographs which parts sold under one finish name will look alike and which will stand out.

Photograph the parts beside a reference card, say in a build file where they lie, and audit it:

\b
    finishmatch mark bench.jpg
        outline the parts in the browser; keeps a build file
    finishmatch new bench.jpg --out build.toml
        or write the build file by hand
    finishmatch audit build.toml --out result
        measure, compare, and write the report

A camera is no spectrophotometer: read the report's notes on how sure it is. Colour never outranks a part's rating."""

# typer's own exceptions descend from its parser's; this is their common base, wherever the parser lives.
_ParserError: Any = typer.BadParameter.__mro__[2]

app = typer.Typer(
    name="finishmatch",
    help=HELP,
    context_settings={"help_option_names": ["-h", "--help"]},
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.callback(invoke_without_command=True)
def _version(
    context: typer.Context, version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False
) -> None:
    if version:
        print(__version__)
        raise typer.Exit
    if context.invoked_subcommand is None:  # nothing was asked for: no error, and nothing done either
        print(context.get_help())
        raise typer.Exit(2)


# Help lists the verbs in this order.
_TEXT_MAY_BEGIN_WITH_MINUS = {"ignore_unknown_options": True}
app.command()(audit)
app.command()(measure)
app.command(context_settings=_TEXT_MAY_BEGIN_WITH_MINUS)(difference)
app.command()(new)
app.command()(explain)
app.add_typer(card.app, name="card")
app.command()(choose)
app.command()(mark)
app.command()(batch)
app.add_typer(shelf.app, name="shelf")
app.command()(schema)
app.command()(compare)
app.command(context_settings=_TEXT_MAY_BEGIN_WITH_MINUS)(match)
app.command("help")(help_)
app.command()(completion)


def main() -> None:
    """The program: exit status and one line on stderr as scripts may rely on them."""
    loading.tune()
    _print_anything()
    answer_shell(app)
    try:
        status = app(prog_name="finishmatch", standalone_mode=False) or 0
        if status == Stopped.exit_status:  # an interrupt, which the parser turns into a status
            raise Stopped("stopped", "stopped, nothing was written")
    except FinishmatchError as error:
        status = _fail(error.code, str(error), error.exit_status)
    except _ParserError as error:
        status = _command_line(error)
    except (KeyboardInterrupt, typer.Abort):
        status = _fail("stopped", f"stopped, nothing was written: {CODES['stopped'].mend}", Stopped.exit_status)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 0
    except Exception as error:  # our own bug: one line, no traceback
        where = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
        status = _fail("internal", f"{where}: {CODES['internal'].mend}", 70)
    sys.exit(int(status))


def _command_line(error: Any) -> int:
    """A wrong command line leads to the help of the verb that it was for; a group without a verb shows its own."""
    if type(error).__name__ == "NoArgsIsHelpError":
        print(error.ctx.get_help())
        return 2
    verb = error.ctx.command_path if error.ctx else "finishmatch"
    return _fail("command_line", f"{error.format_message().rstrip('.')}: see `{verb} --help`", 2)


def _print_anything() -> None:
    """File names may hold bytes that are no text: printed, they are escaped rather than a failure."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _fail(code: str, text: str, status: int) -> int:
    line = printable(text)
    print(f"finishmatch: {line} [{code}]", file=sys.stderr)
    if "--json" in sys.argv[1:]:
        print_json({"error": {"code": code, "text": line}})
    return status
