"""What is kept of a file: the pixels, and nothing that came with them."""

import struct
import zlib
from io import BytesIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from server.errors import Refused
from server.files import pictures

SECRET = b"47.2692 N 11.4041 E"
GPS, LATITUDE_REFERENCE, DESCRIPTION, ORIENTATION = 0x8825, 1, 0x010E, 0x0112


def bench(size: tuple[int, int] = (64, 48), mode: str = "RGB") -> Image.Image:
    """A picture that is brighter to the right and downwards."""
    picture = Image.linear_gradient("L").rotate(45).resize(size).convert(mode)
    if mode == "RGBA":
        picture.putalpha(Image.linear_gradient("L").resize(size))
    return picture


def saved(picture: Image.Image, kind: str, **options: object) -> bytes:
    to = BytesIO()
    picture.save(to, kind, **options)
    return to.getvalue()


def telling(kind: str) -> bytes:
    """A picture that says where it was taken, in every way its format has."""
    exif = Image.Exif()
    exif[DESCRIPTION] = SECRET.decode()
    exif.get_ifd(GPS)[LATITUDE_REFERENCE] = "N"
    if kind == "PNG":
        info = PngImagePlugin.PngInfo()
        info.add_text("Comment", SECRET.decode())
        return saved(bench(), kind, pnginfo=info, exif=exif, icc_profile=SECRET)
    if kind == "WEBP":
        return saved(bench(), kind, exif=exif, xmp=SECRET, icc_profile=SECRET, lossless=True)
    return saved(bench(), kind, exif=exif, comment=SECRET, icc_profile=SECRET)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_nothing_is_kept_that_says_where_and_when(kind: str) -> None:
    sent = telling(kind)
    assert SECRET in sent
    kept = pictures.clean(sent)
    for content in (kept.content, kept.small or b""):
        assert SECRET not in content
        with Image.open(BytesIO(content)) as again:
            assert not again.getexif()
            assert not {"comment", "icc_profile", "xmp", "Comment", "exif"} & set(again.info)


def test_what_is_hidden_behind_a_picture_is_not_kept() -> None:
    kept = pictures.clean(saved(bench(), "PNG") + b"<script>alert(1)</script>")
    assert b"<script>" not in kept.content


@pytest.mark.parametrize(
    ("kind", "mode", "media_type"),
    [
        ("JPEG", "RGB", "image/jpeg"),
        ("JPEG", "L", "image/jpeg"),
        ("JPEG", "CMYK", "image/jpeg"),
        ("PNG", "RGB", "image/png"),
        ("PNG", "RGBA", "image/png"),
        ("PNG", "P", "image/png"),
        ("PNG", "1", "image/png"),
        ("WEBP", "RGB", "image/jpeg"),
        ("WEBP", "RGBA", "image/png"),
    ],
)
def test_every_kind_a_camera_or_a_drawing_program_makes_is_kept(
    kind: str, mode: str, media_type: str
) -> None:
    kept = pictures.clean(saved(bench(mode=mode), kind))
    assert (kept.media_type, kept.width_px, kept.height_px) == (media_type, 64, 48)
    with Image.open(BytesIO(kept.content)) as again:
        again.load()
    with Image.open(BytesIO(kept.small or b"")) as small:
        assert small.format == "JPEG"


def test_a_picture_held_sideways_is_turned_before_its_orientation_is_forgotten() -> None:
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    kept = pictures.clean(saved(bench((64, 48)), "JPEG", exif=exif))
    assert (kept.width_px, kept.height_px) == (48, 64)


def test_a_large_picture_is_made_smaller_and_has_a_small_one_beside_it() -> None:
    kept = pictures.clean(saved(Image.new("RGB", (6000, 3000), "grey"), "JPEG"))
    assert (kept.width_px, kept.height_px) == (4096, 2048)
    with Image.open(BytesIO(kept.small or b"")) as small:
        assert small.size == (480, 240)


def chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


def bomb(width: int = 60_000, height: int = 60_000) -> bytes:
    """A few bytes that claim to be 3.6 thousand million pixels."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b""))
        + chunk(b"IEND", b"")
    )


def test_a_picture_of_too_many_pixels_is_refused_before_one_is_decoded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(Image.Image, "load", lambda _self: pytest.fail("it was decoded"))
    with pytest.raises(Refused, match="million pixels"):
        pictures.clean(bomb())


def test_a_text_chunk_that_unfolds_to_gigabytes_is_refused() -> None:
    picture = saved(bench(), "PNG")
    text = b"Comment\x00\x00" + zlib.compress(b"\x00" * 80_000_000, 9)
    with pytest.raises(Refused, match="no picture"):
        pictures.clean(picture[:33] + chunk(b"zTXt", text) + picture[33:])


@pytest.mark.parametrize(
    "sent",
    [
        b"GIF89a" + bytes(40),
        b'<svg xmlns="http://www.w3.org/2000/svg"><script/></svg>',
        b"<!doctype html><script>alert(1)</script>",
        b"MZ" + bytes(100),
        b"II*\x00" + bytes(100),
        b"%!PS-Adobe-3.0 EPSF-3.0\n",
        b"\xff\xd8\xff\xe0 not really",
        bytes(1000),
    ],
)
def test_what_is_no_picture_is_refused_whatever_its_name_says(sent: bytes) -> None:
    with pytest.raises(Refused, match="no picture"):
        pictures.clean(sent, documents=True)


@pytest.mark.parametrize("kind", ["GIF", "TIFF", "BMP", "ICO", "PPM", "TGA"])
def test_a_good_picture_of_another_kind_never_meets_its_decoder(kind: str) -> None:
    with pytest.raises(Refused, match="no picture"):
        pictures.clean(saved(bench(), kind))


def test_an_empty_file_and_one_that_is_too_large_are_refused() -> None:
    with pytest.raises(Refused, match="empty"):
        pictures.clean(b"")
    with pytest.raises(Refused, match="15 MB"):
        pictures.clean(bytes(pictures.MOST_BYTES + 1))


@pytest.mark.filterwarnings("ignore::UserWarning")  # the decoder says in passing what it skips
@settings(max_examples=120, deadline=None)
@given(st.sampled_from(["JPEG", "PNG", "WEBP"]), st.data())
def test_a_broken_picture_is_kept_or_refused_and_nothing_else(kind: str, data: st.DataObject) -> None:
    sent = bytearray(telling(kind))
    for _ in range(data.draw(st.integers(1, 6))):
        sent[data.draw(st.integers(0, len(sent) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(1, len(sent)))
    try:
        kept = pictures.clean(bytes(sent[:cut]))
    except Refused:
        return
    assert SECRET not in kept.content


PDF = b"%PDF-1.4\n1 0 obj\n<<>>\nendobj\ntrailer\n<<>>\n%%EOF\n"


def test_a_pdf_is_kept_as_it_came_where_a_drawing_is_asked_for() -> None:
    kept = pictures.clean(PDF, documents=True)
    assert (kept.content, kept.media_type, kept.small) == (PDF, "application/pdf", None)


def test_a_pdf_is_no_photograph_and_one_that_was_cut_off_is_refused() -> None:
    with pytest.raises(Refused, match="drawing"):
        pictures.clean(PDF)
    with pytest.raises(Refused, match="no end"):
        pictures.clean(PDF[:-7], documents=True)
