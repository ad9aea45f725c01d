"""`finishmatch completion`: verbs and options completed by the shell."""

from __future__ import annotations

import os
import sys
from typing import Annotated, Any

import typer

from finishmatch.errors import CommandError
from finishmatch.text import listed

SHELLS = ("bash", "zsh", "fish")
_ASKS = "_FINISHMATCH_COMPLETE"


def completion(
    shell: Annotated[str, typer.Argument(metavar="SHELL", help=f"{listed(SHELLS, 'or')}.")],
) -> None:
    """Print what completes verbs and options in a shell: eval "$(finishmatch completion bash)"."""
    from typer._completion_shared import get_completion_script

    if shell not in SHELLS:
        raise CommandError("command_line", f'no completion for "{shell}"', f"say {listed(SHELLS, 'or')}")
    print(get_completion_script(prog_name="finishmatch", complete_var=_ASKS, shell=shell))


def answer_shell(command: Any) -> None:
    """Where a shell asks for completions, answer it and end."""
    if _ASKS not in os.environ:
        return
    from typer._completion_classes import completion_init

    completion_init()
    sys.exit(command(prog_name="finishmatch", complete_var=_ASKS))
