"""The door from the console: passphrases, devices, the lock. What is typed here is never an argument,
which every other process could read."""

from __future__ import annotations

import secrets
import sys
from typing import TYPE_CHECKING, Any, NoReturn

import click

from saltfare.core.errors import Problem, Refused, SaltfareError
from saltfare.faces.words import Words, find

if TYPE_CHECKING:
    from saltfare.faces.door.keeper import Door

BAD_INPUT = 2
ROLES = ("look", "record", "all")


def refuse(error: SaltfareError) -> NoReturn:
    """Say what is wrong and how to mend it, and leave with exit code 2."""
    from saltfare.faces.errors_shown import problems

    words = Words()
    own = getattr(error, "problem", None)
    for problem in (own,) if isinstance(own, Problem) else problems(error):
        said = words.problem(problem)
        click.echo(f"{said.text}\n{said.mend}", err=True)
    sys.exit(BAD_INPUT)


def _door() -> Door:
    from saltfare.faces.door.keeper import Door
    from saltfare.faces.opening import data_dir

    return Door(data_dir())


@click.command()
@click.option(
    "--for", "role", type=click.Choice(ROLES), default="all", show_default=True, help="What it opens."
)
@click.option("--words", "offer", is_flag=True, help="Be offered words drawn by chance.")
@click.option("--remove", is_flag=True, help="Remove it instead.")
def passphrase(role: Any, offer: bool, remove: bool) -> None:
    """Set the passphrase asked for on the home network.

    It is asked for on the terminal, or read as one line of standard input.
    """
    door, words = _door(), Words()
    try:
        if remove:
            door.remove_passphrase(role)
            click.echo(words.say("cli.door.removed"))
            return
        door.set_passphrase(role, _offered(words) if offer else _typed(words, role))
    except SaltfareError as error:
        refuse(error)
    click.echo(words.say("cli.door.set"))


def _offered(words: Words) -> str:
    from saltfare.faces.door.passphrase import offered

    drawn_from = tuple(str(find("door.words")).split())
    while True:
        made = offered(secrets.token_bytes, drawn_from)
        click.echo(words.say("cli.door.offer", {"count": len(drawn_from), "offered": made}))
        if click.confirm(words.say("cli.door.take"), default=True):
            return made


def _typed(words: Words, role: str) -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    asked = words.say("cli.door.ask", {"role": words.say(f"role.{role}")})
    first = click.prompt(asked, hide_input=True, default="", show_default=False)
    again = click.prompt(words.say("cli.door.again"), hide_input=True, default="", show_default=False)
    if first != again:
        raise Refused(Problem("passphrase_differs", "passphrase"))
    return str(first)


@click.command()
@click.option("--sign-out", "key", metavar="KEY", help="Sign the device of that key out.")
@click.option("--sign-out-all", "every", is_flag=True, help="Sign every device out.")
def devices(key: str | None, every: bool) -> None:
    """List the devices that are signed in, or sign them out."""
    from saltfare.faces.opening import system_zone

    door, words = _door(), Words(zone=system_zone())
    try:
        if key or every:
            if key:
                door.revoke(key)
            else:
                door.revoke_others()
            click.echo(words.say("cli.door.revoked"))
            return
        found = door.devices()
    except SaltfareError as error:
        refuse(error)
    for one in found:
        said = {
            "key": one.key,
            "name": one.name or words.say("cli.door.unnamed"),
            "may": words.say(f"role.{one.role}"),
            "client": one.client,
            "at": words.shown.at(one.at),
            "seen": words.shown.at(one.seen),
        }
        click.echo(words.say("cli.door.device", said))
    if not found:
        click.echo(words.say("cli.door.no_devices"))


@click.command()
def unlock() -> None:
    """Take passphrases again after too many wrong ones."""
    door = _door()
    try:
        count = door.unlock()
    except SaltfareError as error:
        refuse(error)
    click.echo(Words().say("cli.door.unlocked", {"count": count}))


COMMANDS = (passphrase, devices, unlock)
