"""What somebody sent, judged by its content and made anew: the pixels are kept, and nothing else.

A photograph from a telephone says where and when it was taken, and by which device. It is decoded and written
again, so that no metadata, no second payload and no broken structure reaches anybody's browser.
"""

import struct
import threading
from dataclasses import dataclass
from io import BytesIO

from PIL import Image, ImageOps

from server.errors import Problem, Refused

FORMATS = ("JPEG", "PNG", "WEBP")
PDF = "application/pdf"
MEDIA_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png"}
MOST_BYTES = 15_000_000
MOST_PIXELS = 50_000_000
"""A telephone's largest ordinary picture. More is refused before a pixel is decoded."""
LONGEST_EDGE_PX = 4096
SMALL_EDGE_PX = 480
QUALITY, SMALL_QUALITY = 88, 80
BROKEN = (
    OSError,
    ValueError,
    SyntaxError,
    EOFError,
    IndexError,
    KeyError,
    TypeError,
    AttributeError,
    ArithmeticError,
    struct.error,
    MemoryError,
    Image.DecompressionBombError,
)
"""What a decoder raises over content that is not what it seems."""

# The size is checked here, by a refusal that says what to do.
Image.MAX_IMAGE_PIXELS = None
# One picture at a time: the largest allowed takes some 200 MB while it is decoded.
_one_at_a_time = threading.Lock()


@dataclass(frozen=True)
class Clean:
    """What is kept of a file: its bytes, what they are, and for an image its size and the thumbnail."""

    content: bytes
    media_type: str
    width_px: int | None = None
    height_px: int | None = None
    small: bytes | None = None


def clean(sent: bytes, *, documents: bool = False) -> Clean:
    """What is kept of `sent`: a JPEG, PNG or WebP made anew, or with `documents` also a PDF as it came.

    Refused, with what to do, for anything else, whatever its name says.
    """
    if not sent:
        raise Refused("The file is empty.")
    if len(sent) > MOST_BYTES:
        raise Refused(
            f"Keep a file within {MOST_BYTES // 1_000_000} MB; this one has {len(sent) / 1e6:.1f} MB."
        )
    if sent.startswith(b"%PDF-"):
        return _document(sent, documents)
    with _one_at_a_time:
        return _picture(sent)


def _document(sent: bytes, documents: bool) -> Clean:
    if not documents:
        raise Refused("A photograph is a JPEG, PNG or WebP. A PDF can be kept as a drawing.")
    if b"%%EOF" not in sent[-2048:]:
        raise Refused("This PDF has no end; it may have been cut off on its way. Send it again.")
    return Clean(sent, PDF)


def _picture(sent: bytes) -> Clean:
    try:
        with Image.open(BytesIO(sent), formats=FORMATS) as opened:
            _refuse_large(opened)
            opened.draft("RGB", (LONGEST_EDGE_PX, LONGEST_EDGE_PX))
            opened.load()
            picture = _plain(opened)
        return _written(picture)
    except Problem:
        raise
    except BROKEN as problem:
        raise Refused("This is no picture that can be read. Send a JPEG, PNG or WebP.") from problem


def _refuse_large(opened: Image.Image) -> None:
    width, height = opened.size
    if width * height > MOST_PIXELS:
        raise Refused(
            f"Keep a picture within {MOST_PIXELS // 1_000_000} million pixels; "
            f"this one has {width} × {height}. Send it smaller."
        )


def _plain(opened: Image.Image) -> Image.Image:
    """The pixels the right way up, in plain colours, within the longest edge, with nothing beside them."""
    upright = ImageOps.exif_transpose(opened)
    see_through = upright.has_transparency_data
    picture = upright.convert("RGBA" if see_through else "RGB")
    picture.thumbnail((LONGEST_EDGE_PX, LONGEST_EDGE_PX), Image.Resampling.LANCZOS)
    picture.info = {}
    picture.format = "PNG" if see_through or opened.format == "PNG" else "JPEG"
    return picture


def _written(picture: Image.Image) -> Clean:
    kind = picture.format or "PNG"
    content = _bytes(picture, kind, QUALITY)
    small = picture.copy()
    small.thumbnail((SMALL_EDGE_PX, SMALL_EDGE_PX), Image.Resampling.LANCZOS)
    return Clean(
        content,
        MEDIA_TYPES[kind],
        picture.width,
        picture.height,
        _bytes(_on_white(small), "JPEG", SMALL_QUALITY),
    )


def _on_white(picture: Image.Image) -> Image.Image:
    if picture.mode == "RGB":
        return picture
    ground = Image.new("RGB", picture.size, "white")
    ground.paste(picture, mask=picture.getchannel("A"))
    return ground


def _bytes(picture: Image.Image, kind: str, quality: int) -> bytes:
    to = BytesIO()
    if kind == "JPEG":
        picture.save(to, kind, quality=quality, optimize=True)
    else:
        picture.save(to, kind)
    return to.getvalue()
