"""Command: the command line. Heavy imports wait until a command runs, so that help comes at once."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from econ import __version__
from econ.problems import BadInput

if TYPE_CHECKING:
    from econ.decision import Decision
    from econ.rulebook import Shelf

# Products of small matrices: more threads than one only get in each other's way. Set before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


class Door(click.Group):
    """A group whose errors are one sentence each on standard error: 2 for bad input, 1 for anything else."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; turn what it raises into sentences and an exit status."""
        try:
            return super().invoke(ctx)
        except BadInput as error:
            _complain(error, "")
        except click.UsageError as error:
            _misused(error)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except OSError as error:
            if error.errno == errno.EPIPE:
                raise  # click ends quietly
            _say_error(f"mendworth: {error.strerror or error}.")
            sys.exit(1)
        except Exception as error:
            _say_error(f"mendworth: something went wrong here: {type(error).__name__}: {error}.")
            sys.exit(1)

    def make_context(self, *args: Any, **extra: Any) -> click.Context:
        """Read the options that stand before the command; what is wrong with them in a sentence, too."""
        try:
            return super().make_context(*args, **extra)
        except click.UsageError as error:
            _misused(error)


def _misused(error: click.UsageError) -> NoReturn:
    """Say what is wrong with a command line, and exit with 2; where nothing was asked for, show the help."""
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        raise error
    text = error.format_message().rstrip(".")
    text += "" if text.endswith("?") else "."
    usage = " ".join(error.ctx.get_usage().split()) if error.ctx else "Usage: mendworth COMMAND"
    _say_error(f"{text[:1].lower()}{text[1:]} {usage}; more: --help.")
    sys.exit(2)


def _say_error(sentence: str) -> None:
    click.echo("".join(c if c.isprintable() else "?" for c in sentence), err=True)


def _complain(error: BadInput, source: str) -> None:
    """Say all that is wrong with an input, a sentence each, and exit with 2."""
    from api.refusal import tidy

    for problem in tidy(error.problems):
        _say_error(f"{source}: {problem.sentence()}" if source else problem.sentence())
    sys.exit(2)


def _print_json(value: object) -> None:
    from api.strictjson import write_json

    click.echo(write_json(value).encode(), nl=False)


def _print_text(text: str) -> None:
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    click.echo(text.encode(encoding, "replace").decode(encoding), nl=False)


def _read(path: str) -> bytes:
    """Return the bytes of a file, or of standard input for -; not much more than a case may have."""
    from api.strictjson import MOST_BYTES

    with click.open_file(path, "rb") as file:
        body: bytes = file.read(MOST_BYTES + 1)
    return body


def _told(decision: Decision, classes: Shelf) -> str:
    from api.text import decision_text

    return decision_text(decision, classes[decision.machine_class])


as_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
with_overlays = click.option(
    "--overlay",
    "overlays",
    metavar="FILE",
    type=click.Path(),
    multiple=True,
    help="Figures of your own, a TOML file or a folder (docs/rulebooks.md). May be given again.",
)


@click.group(cls=Door, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="mendworth")
def main() -> None:
    """Is this machine worth the next hour and the next parts order, and what would change that?"""


in_book = click.option(
    "--book",
    "book",
    metavar="FILE",
    type=click.Path(),
    help="Price book to take prices from; else MENDWORTH_BOOK, else the one in your own folder, if there is one.",
)


@main.command()
@click.argument("case", type=click.Path(allow_dash=True))
@click.option("--two-way", nargs=2, metavar="INPUT INPUT", help="Lay two inputs, such as terms.shop_rate, together.")
@click.option("--workbook", metavar="FILE", type=click.Path(dir_okay=False), help="Write the answer as XLSX to try in.")
@with_overlays
@in_book
@as_json
def decide(
    case: str,
    two_way: tuple[str, str] | None,
    workbook: str | None,
    overlays: tuple[str, ...],
    book: str | None,
    as_json: bool,
) -> None:
    """Decide a CASE, a JSON file or - for standard input."""
    from api.answer import to_json
    from api.library import decide_apart, decide_document, open_shelf
    from api.outputs import check_outputs
    from api.quiet import quiet
    from api.strictjson import read_json
    from api.supply import book_at

    check_outputs({"--workbook": workbook}, (case, book, *overlays))
    known, prices = open_shelf(overlays), book_at(book)
    source = "standard input" if case == "-" else click.format_filename(case)
    try:
        body = _read(case)
    except OSError as error:
        _say_error(f"{source}: can't be read: {error.strerror or error}.")
        sys.exit(2)
    try:
        document = read_json(body)
        if two_way and isinstance(document, dict):
            document["two_way"] = list(two_way)
        with quiet():
            if workbook:
                decision, workings = decide_apart(document, classes=known, book=prices)
            else:
                decision = decide_document(document, classes=known, book=prices)
    except BadInput as error:
        _complain(error, source)
    if workbook:
        from api.whole import put
        from api.workbook import write_workbook

        put(Path(workbook), lambda file: write_workbook(decision, workings, file))
    if as_json:
        _print_json(to_json(decision))
    else:
        _print_text(_told(decision, known))


@main.command()
@click.argument("file", type=click.Path(allow_dash=True))
@with_overlays
@as_json
def again(file: str, overlays: tuple[str, ...], as_json: bool) -> None:
    """Is a part that failed worth paying for now, and the next time? FILE: JSON, or - for standard input."""
    from api.again import again_document, again_text
    from api.answer import to_json
    from api.library import open_shelf
    from api.strictjson import read_json

    known = open_shelf(overlays)
    source = "standard input" if file == "-" else click.format_filename(file)
    try:
        body = _read(file)
    except OSError as error:
        _say_error(f"{source}: can't be read: {error.strerror or error}.")
        sys.exit(2)
    try:
        answer = again_document(read_json(body), classes=known)
    except BadInput as error:
        _complain(error, source)
    if as_json:
        _print_json(to_json(answer))
    else:
        _print_text(again_text(answer, known[answer.machine_class]))


@main.command()
@click.argument("text", nargs=-1, required=True)
@click.option("--tolerance", metavar="MM", help="Reading error of each measure, either way. Default: 0.1.")
@click.option("--currency", default="USD", show_default=True, metavar="CODE", help="Of the prices to show.")
@click.option("--as-of", metavar="DAY", help="Prices as they held on that day, YYYY-MM-DD; else today.")
@click.option("--revision", metavar="N", help="Prices of the book as it was after import N; else the newest.")
@in_book
@as_json
def bearing(
    text: tuple[str, ...],
    tolerance: str | None,
    currency: str,
    as_of: str | None,
    revision: str | None,
    book: str | None,
    as_json: bool,
) -> None:
    """Name a ball bearing by bore x outside x width, or read a designation. TEXT: 17x40x12, or 6203-2RS."""
    from api.answer import to_json
    from api.bearingask import asked_bearing
    from api.bearings import bearing_text
    from api.library import today
    from api.supply import book_at
    from econ.calliper import is_size
    from econ.problems import Problem

    asked = " ".join(text)
    given = {"size" if is_size(asked) else "designation": asked, "currency": currency.upper()}
    others = {"tolerance": tolerance, "as_of": as_of, "revision": revision}
    given |= {name: said for name, said in others.items() if said is not None}
    path, wrong_book = None, list[Problem]()
    try:
        path = book_at(book)
    except BadInput as error:
        wrong_book += error.problems
    answer = asked_bearing(path, given, today(), wrong_book)
    _print_json(to_json(answer)) if as_json else _print_text(bearing_text(answer))


@main.command()
@as_json
def demo(as_json: bool) -> None:
    """Decide three invented cases, one of each perspective."""
    from api.answer import to_json
    from api.demo import demos
    from api.library import decide_document, shelf

    decided = [(d, decide_document(d.case)) for d in demos()]
    if as_json:
        _print_json(
            {
                "demos": [
                    {"name": d.name, "about": d.about, "invented": True, "case": d.case, "decision": to_json(x)}
                    for d, x in decided
                ]
            }
        )
        return
    told = [f"=== {d.name}: {d.about} (an invented case) ===\n\n{_told(decision, shelf())}" for d, decision in decided]
    _print_text("\n\n".join(told))


@main.command()
@click.argument("names", metavar="[ID]", nargs=-1)
@click.option("--check", is_flag=True, help="Check overlays, given as FILE..., and say what they add and change.")
@with_overlays
@as_json
def classes(names: tuple[str, ...], check: bool, overlays: tuple[str, ...], as_json: bool) -> None:
    """List the machine classes, show what a case of one (ID) may name, or check overlays (--check FILE...)."""
    from api.answer import to_json
    from api.catalogue import class_text, list_text
    from api.classes import ClassList, describe
    from api.library import ids, machine_class, open_shelf
    from api.overlays import checked, checked_text

    if check and not names:
        raise click.UsageError("--check takes the overlays to check: mendworth classes --check FILE...")
    if len(names) > 1 and not check:
        raise click.UsageError("one machine class at a time: mendworth classes ID")
    known = open_shelf((*names, *overlays) if check else overlays)
    if check:
        found = checked(known, ids())
        _print_json(to_json(found)) if as_json else _print_text(checked_text(found))
    elif names:
        one = describe(machine_class(names[0], "ID", known))
        _print_json(to_json(one)) if as_json else _print_text(class_text(one))
    else:
        every = ClassList(tuple(map(describe, known.values())))
        _print_json(to_json(every)) if as_json else _print_text(list_text(every))


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8000, show_default=True, type=click.IntRange(0, 65535), help="Port to listen on.")
@with_overlays
@in_book
def serve(host: str, port: int, overlays: tuple[str, ...], book: str | None) -> None:
    """Serve JSON over HTTP."""
    from waitress import create_server  # type: ignore[import-untyped]  # it ships no types

    from api.http import create_app
    from api.library import open_shelf
    from api.supply import book_at

    app = create_app(open_shelf(overlays), book_at(book))
    try:
        server = create_server(app, host=host, port=port, ident=None)
    except OSError as error:
        raise click.ClickException(f"can't listen on {host}:{port}: {error.strerror or error}") from None
    click.echo(f"Listening on http://{host}:{server.effective_port}, end with Ctrl+C.", err=True)
    server.run()


from api.prices import prices  # noqa: E402 - it takes its printing from here
from api.screen import screen  # noqa: E402 - likewise

main.add_command(prices)
main.add_command(screen)
