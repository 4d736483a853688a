"""Everything cureplan raises on purpose.

    CurePlanError                 exit code 2
    ├── OutOfRangeError           an argument lies outside a model's range
    ├── QuantityError             a text is not a quantity of the kind asked for
    ├── InputError                something the user wrote: file, line, key, value, cure
    ├── OutputError               a result could not be written
    ├── NoFeasiblePlanError       exit code 3: no order and start keeps every limit
    └── WeatherUnavailableError   exit code 4: no weather covers the job

Exit code 1 means a plan that falls short of its job's policy, and nothing else; 70 a fault
of ours, among them a plan its judge does not confirm; 130 and 141 what a shell says of
Ctrl-C and of a reader that went away.

A user's mistake must reach the terminal as one line, so each class here renders
itself as one; nothing in the package lets another library's exception through.
"""

from __future__ import annotations

from pathlib import Path

from cureplan.core.messages import Message

__all__ = [
    "CurePlanError",
    "InputError",
    "NoFeasiblePlanError",
    "OutOfRangeError",
    "OutputError",
    "QuantityError",
    "WeatherUnavailableError",
    "harmless",
]


LONGEST_PATH = 400
LONGEST_VALUE = 80
LONGEST_PART = 500
"""Letters of a path, a value or key, and a problem or cure that a message shows."""


class CurePlanError(Exception):
    """Base of the tree; `exit_code` is what the command line ends with."""

    exit_code = 2


class OutOfRangeError(CurePlanError, ValueError):
    """An argument lies outside the range in which a model is meant to be used."""


class QuantityError(CurePlanError, ValueError):
    """A text is not a quantity of the kind asked for."""


class OutputError(CurePlanError):
    """A result could not be written; whatever stood there before still stands."""


class NoFeasiblePlanError(CurePlanError):
    """No order and start of rooms keeps every limit of the job.

    `advice` says, to be put into any language, what to do at once where a night is lost.
    """

    exit_code = 3

    def __init__(self, message: str, advice: tuple[Message, ...] = ()) -> None:
        super().__init__(message)
        self.advice = advice


class WeatherUnavailableError(CurePlanError):
    """No weather could be had that covers the job.

    `reason` says it to the sheets where another source can stand in for this one.
    """

    exit_code = 4

    def __init__(self, message: str, reason: Message | None = None) -> None:
        super().__init__(message)
        self.reason = reason


class InputError(CurePlanError, ValueError):
    """Something the user wrote is wrong; says where, what, and how to mend it.

    `after` holds what else is wrong there, where that is known.

    Examples
    --------
    >>> print(InputError("not a length", cure='write "22 ft"', source="job.toml",
    ...                  line=12, key="rooms[1].width", value="22"))
    job.toml:12: rooms[1].width = '22': not a length; write "22 ft"
    """

    def __init__(
        self,
        problem: str,
        *,
        cure: str,
        source: Path | str | None = None,
        line: int | None = None,
        key: str | None = None,
        value: object = None,
    ) -> None:
        self.problem = problem
        self.cure = cure
        self.source = source
        self.line = line
        self.key = key
        self.value = value
        self.after: tuple[InputError, ...] = ()
        super().__init__(self._one_line())

    def _one_line(self) -> str:
        where = "" if self.source is None else harmless(self.source, LONGEST_PATH)
        if where and self.line is not None:
            where += f":{self.line}"
        what = harmless(self.key or "", LONGEST_VALUE)
        if self.value is not None:
            shown = repr(self.value)
            if len(shown) > LONGEST_VALUE:
                shown = shown[: LONGEST_VALUE - 3] + "..."
            what = f"{what} = {shown}" if what else shown
        head = ": ".join(part for part in (where, what) if part)
        problem, cure = (harmless(text, LONGEST_PART) for text in (self.problem, self.cure))
        text = f"{head}: {problem}" if head else problem
        return " ".join(f"{text}; {cure}".split())


def harmless(text: object, longest: int = 10 * LONGEST_PATH) -> str:
    r"""A name or text that no terminal obeys, its middle cut where it is too long.

    Examples
    --------
    >>> harmless("a\x1b[31m.toml")
    'a\\x1b[31m.toml'
    """
    plain = "".join(
        sign if sign.isprintable() else " " if sign.isspace() else repr(sign)[1:-1]
        for sign in str(text)
    )
    if len(plain) <= longest:
        return plain
    return f"{plain[: longest // 2]}...{plain[-(longest - longest // 2 - 3) :]}"
