"""Errors of limbsight.

::

    LimbsightError(Exception)                     code, advice
      InputError(LimbsightError, ValueError)      a photo, number or option that is wrong
      InstrumentError(LimbsightError, ValueError) a wrong or incomplete instrument file
      NotMeasurable(LimbsightError)               the photo does not carry the number

A message names the file, the key or the limb, says what is wrong, and what to do.
``NotMeasurable`` never leaves ``limbsight.reading``: it becomes a refused reading.
"""

from __future__ import annotations


class LimbsightError(Exception):
    """Root of every error this package raises on purpose.

    Parameters
    ----------
    message
        What was found and where, in one line.
    code
        Stable identifier; defaults to the class's own.
    """

    code = "error"

    def __init__(self, message: str, *, code: str | None = None) -> None:
        super().__init__(message)
        if code is not None:
            self.code = code


class InputError(LimbsightError, ValueError):
    """A photo that can't be decoded, a bad number, a bad option."""

    code = "bad_input"


class InstrumentError(LimbsightError, ValueError):
    """An instrument file that is wrong or incomplete."""

    code = "bad_instrument"


class NotMeasurable(LimbsightError):
    """The photo does not carry the number; the message says how to retake it."""

    code = "not_measurable"
