"""The command line: a thin face over the actions. Everything heavy is imported inside a command.

`actions`, `schema` and `do` are the contract; the friendlier commands are made from the actions.
"""

from __future__ import annotations

import json
import os
import sys
from datetime import UTC, datetime
from pathlib import Path

import click

from saltfare import __version__
from saltfare.actions.registry import ACTIONS, get
from saltfare.faces import cli_door
from saltfare.faces.cli_run import opened, refuse, run_and_print
from saltfare.faces.words import Words

# The arrays of a forecast are small: threads of the linear algebra cost three times the processor and
# save nothing. Read when numpy is first imported, by us or by a process we start.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


class _Commands(click.Group):
    """The fixed commands, then one per action, made when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*super().list_commands(ctx), *(a.name.replace("_", "-") for a in ACTIONS)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        fixed = super().get_command(ctx, cmd_name)
        if fixed is not None:
            return fixed
        name = cmd_name.replace("-", "_")
        if all(a.name != name for a in ACTIONS):
            return None
        from saltfare.faces.cli_actions import command_for

        return command_for(get(name))

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Help for the actions comes from the words, so that no action need be imported."""
        words = Words()
        fixed = [(n, c.get_short_help_str(80)) for n, c in sorted(self.commands.items())]
        made = [(a.name.replace("_", "-"), words.say(f"action.{a.name}.text")) for a in ACTIONS]
        for title, rows in ((words.say("cli.house"), fixed), (words.say("cli.work"), made)):
            with formatter.section(title):
                formatter.write_dl(rows)


def _now(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise click.BadParameter(Words().say("cli.bad_now")) from None
    return at if at.tzinfo else at.replace(tzinfo=UTC)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
@click.option("--demo", is_flag=True, help="Use the invented demo journal.")
@click.option(
    "--now", "now", metavar="INSTANT", help="Take this as the present, for example 2026-09-01T08:00Z."
)
@click.pass_context
def main(ctx: click.Context, demo: bool, now: str | None) -> None:
    """From green weight to the meal at camp: cure, hang, weigh, know when it is ready."""
    ctx.obj = {"demo": demo, "now": _now(now)}


@main.command("actions")
def list_actions() -> None:
    """List every action."""
    words = Words()
    for action in ACTIONS:
        click.echo(f"{action.name:18} {action.kind:8} {words.say(f'action.{action.name}.text')}")


@main.command()
@click.argument("action")
def schema(action: str) -> None:
    """Print the JSON Schema of an action's input and output."""
    from saltfare.core.errors import SaltfareError

    try:
        found = get(action)
    except SaltfareError as error:
        refuse(error)
    shape = {
        "input": found.Input.model_json_schema(),
        "output": found.Output.model_json_schema(mode="serialization"),
    }
    click.echo(json.dumps(shape, indent=2, ensure_ascii=False))


@main.command()
@click.argument("action")
@click.argument("file", default="-")
@click.pass_context
def do(ctx: click.Context, action: str, file: str) -> None:
    """Run an action on JSON from FILE or standard input; print JSON."""
    from saltfare.core.errors import Problem, Refused, SaltfareError

    try:
        text = sys.stdin.read() if file == "-" else Path(file).read_text("utf-8")
        data = json.loads(text or "{}")
        if not isinstance(data, dict):
            raise Refused(Problem("not_an_object", given=type(data).__name__))
    except (json.JSONDecodeError, UnicodeDecodeError, RecursionError) as error:
        refuse(Refused(Problem("not_json", given=str(error)[:80])))
    except OSError as error:
        refuse(Refused(Problem("no_such_file", given=str(error.filename))))
    except SaltfareError as error:
        refuse(error)
    run_and_print(ctx, action, data)


@main.command("check-sources")
@click.option("--quiet", is_flag=True, help="Only the misses, the failures and the count.")
def check_sources(quiet: bool) -> None:
    """Run every printed worked example: printed, computed, tolerance, role, source."""
    from saltfare.actions.checks import records, result
    from saltfare.core.library import Library

    words, library = Words(), Library()
    failed = count = 0
    for record in records():
        found = result(record, library)
        count += 1
        failed += not found.passed
        if quiet and found.passed and found.role != "known_miss":
            continue
        computed = found.error or f"{found.computed:.6g}"
        said = words.say("cli.passed" if found.passed else "cli.failed")
        click.echo(
            f"{said}\t{found.printed}\t{computed}\t{found.unit}\t{found.tolerance}\t{found.role}\t{found.cite}"
        )
    click.echo(words.say("cli.checked", {"count": count, "failed": failed}))
    sys.exit(1 if failed else 0)


@main.command()
@click.option("--demo", "demo", is_flag=True, help="Use the invented demo journal.")
@click.option("--once", is_flag=True, help="Print the report and stop.")
@click.option("--port", default=8765, show_default=True, help="Where the pages are served.")
@click.option("--now", "now", metavar="INSTANT", help="Take this as the present.")
@click.pass_context
def run(ctx: click.Context, demo: bool, once: bool, port: int, now: str | None) -> None:
    """Report on every piece, then serve the pages on this machine."""
    from saltfare.faces.opening import has_journal
    from saltfare.faces.report import report

    words = Words()
    at = _now(now)
    if at:
        ctx.obj["now"] = at
    wanted = demo or ctx.obj["demo"]
    if not wanted and not has_journal():
        click.echo(words.say("cli.no_journal"))
        wanted = True
    from saltfare.core.errors import SaltfareError
    from saltfare.faces.serving import serve

    try:
        with opened(ctx, demo=wanted) as house:
            for line in report(house.context()):
                click.echo(line)
            if not once:
                serve(house, port=port, say=click.echo)
    except SaltfareError as error:
        cli_door.refuse(error)


@main.command()
@click.option("--port", default=8765, show_default=True)
@click.option("--lan", "wide", is_flag=True, help="On the home network too; needs a passphrase.")
@click.option("--address", "addresses", multiple=True, help="With --lan: an address of this machine to use.")
@click.option(
    "--name", "names", multiple=True, help="With --lan: a name this machine goes by, like bench.local."
)
@click.option(
    "--certificate", type=click.Path(path_type=Path), help="With --lan: your own, PEM; makes it https."
)
@click.option("--key", type=click.Path(path_type=Path), help="With --certificate: its key, PEM.")
@click.option("--ask", is_flag=True, help="Ask for the passphrase on this machine too.")
@click.pass_context
def serve(
    ctx: click.Context,
    port: int,
    wide: bool,
    addresses: tuple[str, ...],
    names: tuple[str, ...],
    certificate: Path | None,
    key: Path | None,
    ask: bool,
) -> None:
    """Serve the pages on this machine, and with --lan on the home network."""
    from saltfare.core.errors import Problem, Refused, SaltfareError
    from saltfare.faces.door.keeper import Door
    from saltfare.faces.lan import lan, require_passphrase
    from saltfare.faces.opening import data_dir
    from saltfare.faces.serving import serve as serve_pages

    given = {"--address": addresses, "--name": names, "--certificate": certificate, "--key": key}
    try:
        stray = [option for option, value in given.items() if value and not wide]
        if stray:
            raise Refused(Problem("only_with_lan", given=", ".join(stray)))
        asked = lan(addresses, names, certificate, key) if wide else None
        if asked or ask:  # before a journal is made for nothing
            require_passphrase(Door(data_dir()))
        with opened(ctx) as house:
            serve_pages(house, port=port, say=click.echo, lan=asked, ask_here=ask)
    except SaltfareError as error:
        cli_door.refuse(error)


for _command in cli_door.COMMANDS:
    main.add_command(_command)


if __name__ == "__main__":
    main()
