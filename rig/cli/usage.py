"""Commands as the program has them: examples whole in their help, mistakes told in one line."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

from rig.cli.called import PROGRAM, Call, as_called
from rig.cli.readable import holdable
from rig.project.hints import closest, nearest, shown

ERRORS: Any = sys.modules[typer.BadParameter.__module__]
"""Typer's errors of usage; which package they live in hangs on its version."""

VALUES = {"project": "FOLDER", "output": "FILE", "out": "FILE", "board": "FILE"}
"""What stands in the help for an option's value, where it isn't the option's own name."""

_WORDS = "rig.cli.usage"


class Command(TyperCommand):
    """A command whose lines `Example: ...` stay as they are in its help."""

    def __init__(self, *args: Any, help: str | None = None, **settings: Any) -> None:
        # A paragraph behind a line with \b isn't filled.
        raw = re.sub(r"\n\n(?=Example: )", "\n\n\b\n", help) if help else help
        super().__init__(*args, help=raw, **settings)
        for param in self.params:
            if not param.metavar and not getattr(param, "is_flag", False) and not _choices(param):
                param.metavar = VALUES.get(param.name, param.name.upper())

    def get_help(self, ctx: Any) -> str:
        """Give the help, with the program named as it was called."""
        return _shown(super().get_help(ctx))

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read the words of a command; those too many are told in our own way."""
        ctx.meta[_WORDS] = list(args)
        ctx.allow_extra_args = True
        with _of(ctx):
            rest = super().parse_args(ctx, args)
        if rest:
            ctx.fail(f"{self.name} takes no further word {shown(rest[0])}")
        for param in self.params:
            value = ctx.params.get(param.name)
            if isinstance(value, str):
                ctx.params[param.name] = _text(ctx, param, value)
            elif isinstance(value, list) and not str(param.metavar).startswith("FILE"):
                ctx.params[param.name] = [
                    _text(ctx, param, one) if isinstance(one, str) else one for one in value
                ]
        return rest

    def invoke(self, ctx: Any) -> Any:
        """Run the command; what it is about is kept for the commands that it prints."""
        if isinstance(ctx.obj, Call):
            ctx.obj.command = self.name or ""
            ctx.obj.project = _given_project(ctx)
            ctx.obj.name = ctx.params.get("name") if _is_given(ctx, "name") else None
        return super().invoke(ctx)


class Group(TyperGroup):
    """All commands together."""

    def get_help(self, ctx: Any) -> str:
        """Give the help, with the program named as it was called."""
        return _shown(super().get_help(ctx))

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read the words before a command."""
        with _of(ctx):
            return super().parse_args(ctx, args)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find the command that the first word names."""
        if self.get_command(ctx, args[0]) is None:
            ctx.fail(f"there is no command {shown(args[0])}: {nearest(args[0], self.commands)}")
        return super().resolve_command(ctx, args)


@contextmanager
def _of(ctx: Any) -> Iterator[None]:
    """Let an error of usage know which command it is about, which the parser doesn't say."""
    try:
        yield
    except ERRORS.UsageError as error:
        error.ctx = error.ctx or ctx
        raise


class App(typer.Typer):
    """Typer's application, whose commands are of our own kind unless they say otherwise."""

    def command(self, name: str | None = None, *, cls: Any = Command, **settings: Any) -> Any:
        """Register a command, as typer does."""
        return super().command(name, cls=cls, **settings)


def usage_words(error: Any) -> str:
    """Say in a line what is wrong with a command line, and which help to read.

    Parameters
    ----------
    error : UsageError
        Click's, whose words it replaces where it can.
    """
    ctx = error.ctx
    name = ctx.command.name if ctx.parent is not None else ""
    help_of = f"`{PROGRAM} {name + ' ' if name else ''}--help`"
    told = _what(error, ctx, name).rstrip(".")
    return f"{told}{'' if told.endswith('?') else ';'} see {help_of}"


def _what(error: Any, ctx: Any, name: str) -> str:
    if isinstance(error, ERRORS.NoSuchOption):
        return _no_option(error.option_name, ctx, name)
    if isinstance(error, ERRORS.MissingParameter) and error.param is not None:
        param = error.param
        option = param.param_type_name == "option"
        return f"{name} needs {param.opts[0] if option else (param.metavar or param.name).upper()}"
    if isinstance(error, ERRORS.BadParameter) and error.param is not None:
        return _bad_value(error, ctx)
    if isinstance(error, ERRORS.BadOptionUsage):
        known = next((p for p in ctx.command.params if error.option_name in p.opts), None)
        takes = known is not None and not known.is_flag
        return f"{error.option_name} {'needs a value' if takes else 'takes no value'}"
    return error.format_message()


def _no_option(option: str, ctx: Any, name: str) -> str:
    commands = getattr(ctx.command, "commands", {})
    if any(option in param.opts for one in commands.values() for param in one.params):
        return f"{option} belongs behind a command: write `{PROGRAM} COMMAND {option} ...`"
    if not option.startswith("--"):  # the parser takes `-name` for letters
        option = next((one for one in ctx.meta.get(_WORDS, ()) if one.startswith(option)), option)
    near = closest(option, [one for param in ctx.command.params for one in param.opts] + ["--help"])
    told = f"{name} has no option {option}" if name else f"there is no option {option}"
    return told + (f": did you mean {near}?" if near else "")


def _bad_value(error: Any, ctx: Any) -> str:
    param, message = error.param, error.message
    option = param.opts[0] if param.param_type_name == "option" else param.name.upper()
    value = _written(ctx, param)
    limits = getattr(_kind(param), "parameter_info", _kind(param))
    if choices := _choices(param):
        return f"{option} can't be {value}: {nearest(value, choices)}"
    if "integer" in message:
        return f"{option} must be a whole number, is {value}"
    least, most = getattr(limits, "min", None), getattr(limits, "max", None)
    if least is not None or most is not None:
        if most is None:
            return f"{option} must be at least {least}, is {value}"
        return f"{option} must be from {least} to {most}, is {value}"
    return f"{option} can't be {value}: {message[:1].lower()}{message[1:]}"


def _kind(param: Any) -> Any:
    """Give what typer knows of a value's type, which its versions keep in two places."""
    return getattr(param, "type_descriptor", None) or getattr(param, "type", None)


def _choices(param: Any) -> list[str]:
    """Give the words that a parameter may be; none where it isn't bound to words."""
    return [str(getattr(one, "value", one)) for one in getattr(_kind(param), "choices", None) or ()]


def _written(ctx: Any, param: Any) -> str:
    """Give the value that stood on the command line."""
    options, _, _ = ctx.command.make_parser(ctx).parse_args(list(ctx.meta[_WORDS]))
    return shown(str(options.get(param.name, "")))


def _text(ctx: Any, param: Any, value: str) -> str:
    """Give a text from the command line, also where the system reads only ASCII there."""
    try:
        value.encode()
        return value
    except UnicodeEncodeError:
        pass
    try:
        return os.fsencode(value).decode()
    except UnicodeError:
        return ctx.fail(f"{param.opts[0]} holds bytes that are no UTF-8 text: write it anew")


def _given_project(ctx: Any) -> str | None:
    """Give the one project folder that a command was called with, None where it was not."""
    name = "project" if "project" in ctx.params else "folder"
    given = ctx.params.get(name)
    if isinstance(given, list):
        given = given[0] if len(given) == 1 else None
    if given is None or str(given) == "." or (name == "project" and not _is_given(ctx, name)):
        return None
    return str(given)


def _is_given(ctx: Any, name: str) -> bool:
    # by its name: typer brings an enumeration of its own, click may have another
    return getattr(ctx.get_parameter_source(name), "name", None) == "COMMANDLINE"


def _shown(text: str) -> str:
    return as_called(holdable(text, getattr(sys.stdout, "encoding", None) or "utf-8"))
