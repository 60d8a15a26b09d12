"""What can go wrong between an instrument and a number.

    CoilcallError
    ├── SetupError (ValueError)        a set-up file that cannot be meant
    ├── AddressError (ValueError)      an address nobody can open
    ├── FormatError (ValueError)       a file whose content cannot be understood
    └── SourceLost (ConnectionError)   a source that was there and is gone

Each message is one line: what was tried, on what, and what would be right. The command line prints it and exits with
`exit_status`.
"""


class CoilcallError(Exception):
    """Base of everything this project raises on purpose."""

    exit_status = 2


class SetupError(CoilcallError, ValueError):
    """The set-up names something impossible; the message holds file, key and what would be right."""


class AddressError(CoilcallError, ValueError):
    """The address fits no source, or no such file or device is there."""


class FormatError(CoilcallError, ValueError):
    """A file cannot be understood; the message holds file, row and column where they are known."""


class SourceLost(CoilcallError, ConnectionError):
    """The source delivered samples and then stopped for a reason of its own."""

    exit_status = 3


def one_line(what: object) -> str:
    """An error, or any text, with single spaces for whatever breaks it; an error without words says its kind."""
    text = " ".join(str(what).split())
    return text or (type(what).__name__ if isinstance(what, BaseException) else "")
