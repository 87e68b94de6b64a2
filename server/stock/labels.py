"""The square code on a drawer, whose address opens the item on a phone."""

import io

import segno


def svg(address: str) -> str:
    """The code of an address as a drawing, with its quiet zone of four modules (ISO/IEC 18004)."""
    to = io.BytesIO()
    code = segno.make(address, error="m", micro=False)
    code.save(to, kind="svg", border=4, scale=4, dark="#000", light="#fff", xmldecl=False, nl=False)
    return to.getvalue().decode()
