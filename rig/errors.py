"""Every error that a person can meet, in one tree.

The command line prints the message of a `RigError` as one line and leaves with
its `exit_code`; anything else is a bug, and its traceback goes into a report.
"""


class RigError(Exception):
    """Something went wrong that a person can act on: says what, where and what to do."""

    exit_code = 1


class ConfigError(RigError):
    """A file of the project folder can't be used as it stands."""

    exit_code = 2


class SafetyRefusal(ConfigError):
    """The set-up could hurt the toy or the person, and is refused."""

    exit_code = 3


class LogError(RigError):
    """The sweep's log can't be read, written or continued."""

    exit_code = 4


class DiskFull(LogError):
    """No room is left for takes or for the log."""


class Refused(RigError):
    """What a person asked for while pads are held isn't done now; all else goes on."""


class AskTwice(Refused):
    """It stopped the toy before: it is done where the person asks for it once more."""


class BenchError(RigError):
    """The bench failed: controller, sound path or toy supply."""

    exit_code = 5


class LinkLost(BenchError):
    """The controller does not reply, replied wrongly, or restarted unasked."""


class Restarted(LinkLost):
    """The controller restarted by itself and was checked again: a sweep may go on."""


class CaptureLost(BenchError):
    """The sound stream stopped or lost samples."""


class BadSound(BenchError):
    """What the sound input gives can't be judged: too loud, too soft, covered, or nothing."""


class MissingLibrary(BenchError):
    """A system library that this bench needs is not installed."""


class HeldTooLong(BenchError):
    """The controller opened held pads by itself: nobody said for a minute that they are wanted."""


class GuardTripped(BenchError):
    """The controller's guard opened everything and holds it open."""


class ToyLost(RigError):
    """The recovery ladder is used up: the toy no longer answers."""

    exit_code = 6


class Stopped(RigError):
    """The person stopped it; everything is safe and can be continued."""

    exit_code = 130
