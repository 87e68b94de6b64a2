"""What the physics refuses, and why.

PhysicsError (a ValueError)
├── OutOfRange        a temperature outside what the data cover
├── NoData            the material has no such property
├── UnknownMaterial   no material of that name
├── NotSolved         a balance did not converge
├── NoSteadyState     a lead that would run away: no steady temperature inside the data
├── Overloaded        a screw that would yield or a thread that would strip
└── Unphysical        an argument no real thing can have: a negative length, not a number
"""


class PhysicsError(ValueError):
    """Anything the physics refuses. The message is a sentence a person can act on."""


class OutOfRange(PhysicsError):
    """A temperature lies outside what the data of this property cover."""


class NoData(PhysicsError):
    """There are no published values of this property for this material here."""


class UnknownMaterial(PhysicsError):
    """No material has that name."""


class NotSolved(PhysicsError):
    """The balance did not converge, so there is no answer to show."""


class NoSteadyState(PhysicsError):
    """The conductor has no steady temperature inside the range of its data."""


class Overloaded(PhysicsError):
    """A screw would yield, or the thread it holds in would strip."""


class Unphysical(PhysicsError):
    """An argument no real thing can have, such as a negative length or a value that is not a number."""
