"""`finishmatch shelf`: a shop's store of measured finishes."""

from __future__ import annotations

import typer

from finishmatch.verbs.shelf.counter import open_
from finishmatch.verbs.shelf.deliveries import drift
from finishmatch.verbs.shelf.records import add, list_records, put_back, remove
from finishmatch.verbs.shelf.search import find
from finishmatch.verbs.shelf.transfer import export, import_, pairs

app = typer.Typer(help="Keep measured finishes, find one that matches, watch deliveries drift.", no_args_is_help=True)
app.command("open")(open_)
app.command()(add)
app.command("list")(list_records)
app.command(context_settings={"ignore_unknown_options": True})(find)
app.command()(drift)
app.command()(export)
app.command("import")(import_)
app.command()(remove)
app.command("put-back")(put_back)
app.command()(pairs)
