"""The household's settings, and the health of the house."""

from __future__ import annotations

from typing import Annotated, Literal, get_args
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator
from pydantic_core import PydanticCustomError

from saltfare.actions.context import Context, Settings
from saltfare.actions.shapes import Command, Done, Output, Query, done
from saltfare.core import tables
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import Frozen
from saltfare.core.units import DecimalSign, Measures
from saltfare.journal.chamber import SETTINGS as STREAM
from saltfare.journal.chamber import settings as chosen
from saltfare.journal.events import SettingChanged
from saltfare.journal.store import Journal

Locale = Literal["en", "en-US", "iso"]


def _zone(name: str) -> str:
    if name not in available_timezones():
        raise PydanticCustomError(
            "problem", "{code}", {"code": "zone_unknown", "problem": Problem("zone_unknown", given=name[:64])}
        )
    return name


Zone = Annotated[str, AfterValidator(_zone)]


def _currency(name: str) -> str:
    code = name.strip().upper()
    if code not in tables.load("currencies").rows:
        problem = Problem("currency_unknown", given=name[:20])
        raise PydanticCustomError("problem", "{code}", {"code": problem.code, "problem": problem})
    return code


Currency = Annotated[str, AfterValidator(_currency)]


class SettingsGiven(Query):
    """Nothing."""


class SettingsShown(Output):
    """The settings in force and what each may be."""

    zone: str
    locale: Locale
    decimal: DecimalSign
    measures: Measures
    currency: str
    version: int
    choices: dict[str, tuple[str, ...]]


class SettingsChange(Command):
    """What is given is changed, the rest stays."""

    zone: Zone | None = None
    locale: Locale | None = None
    decimal: DecimalSign | None = None
    measures: Measures | None = None
    currency: Currency | None = None


def settings_of(journal: Journal, zone: str) -> Settings:
    """The settings a journal holds; `zone` is the machine's, where none was chosen."""
    held = chosen(journal)
    known = SettingsChange.model_validate({name: held[name] for name in _NAMES if name in held})
    base = Settings(zone=zone)
    return Settings(
        zone=known.zone or base.zone,
        locale=known.locale or base.locale,
        decimal=known.decimal or base.decimal,
        measures=known.measures or base.measures,
        currency=known.currency or base.currency,
    )


_NAMES = ("zone", "locale", "decimal", "measures", "currency")


def settings(context: Context, given: SettingsGiven) -> SettingsShown:
    """The household's settings."""
    now = context.settings
    return SettingsShown(
        zone=now.zone,
        locale=SettingsChange.model_validate({"locale": now.locale}).locale or "en",
        decimal=now.decimal,
        measures=now.measures,
        currency=now.currency,
        version=context.journal.stream_head(STREAM),
        choices={
            "zone": tuple(sorted(available_timezones())),
            "locale": get_args(Locale),
            "decimal": get_args(DecimalSign),
            "measures": get_args(Measures),
            "currency": tuple(tables.load("currencies").rows),
        },
    )


def set_settings(context: Context, given: SettingsChange) -> Done:
    """Change the household's settings."""
    bodies = [
        SettingChanged(name=name, value=value)
        for name in _NAMES
        if (value := getattr(given, name)) is not None and value != getattr(context.settings, name)
    ]
    if not bodies:
        raise Refused(Problem("nothing_changed"))
    return done(context, given, [(STREAM, body) for body in bodies])


class SelftestGiven(Query):
    """Nothing."""


class Finding(Frozen):
    """One thing looked at: a words key, whether it is in order, what was seen."""

    name: str
    ok: bool
    params: dict[str, str | float | int]


class SelftestFound(Output):
    """Everything looked at; ok only if all of it is."""

    ok: bool
    findings: tuple[Finding, ...]


def selftest(context: Context, given: SelftestGiven) -> SelftestFound:
    """Check the installation, the journal and the backups."""
    from saltfare.actions.checks import ChecksGiven, checks

    found = [
        Finding(name=item.name, ok=item.ok, params=dict(item.params)) for item in context.journal.selftest()
    ]
    ran = checks(context, ChecksGiven())
    found.append(
        Finding(
            name="worked_examples",
            ok=ran.failed == 0,
            params={"failed": ran.failed, "count": len(ran.checks)},
        )
    )
    found.append(
        Finding(name="tables", ok=True, params={"count": len([tables.load(n) for n in tables.names()])})
    )
    try:
        ZoneInfo(context.settings.zone)
        zone_ok = True
    except (KeyError, OSError):
        zone_ok = False
    found.append(Finding(name="zone", ok=zone_ok, params={"zone": context.settings.zone}))
    return SelftestFound(ok=all(f.ok for f in found), findings=tuple(found))
