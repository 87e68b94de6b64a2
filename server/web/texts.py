"""What is no text: signs that no person types, and that a database refuses or drops."""

import re

NOT_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")
"""Control signs but for tab and the ends of lines, and half surrogate pairs."""
