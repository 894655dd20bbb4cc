"""Uploaded pictures and signatures: what comes in hostile goes out clean, or not at all."""

import io
import json
import struct
import xml.etree.ElementTree as ElementTree
import zlib
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, ImageFile

from shop import pictures
from shop.pictures import PictureRefused, SignatureRefused, clean, strokes_to_svg

RED, BLUE = (255, 0, 0), (0, 0, 255)
SECRET = b"<script>alert(1)</script>"


def upload(image: Image.Image, kind: str = "JPEG", **how: object) -> io.BytesIO:
    file = io.BytesIO()
    image.save(file, kind, **how)
    return file


def half_red_half_blue(size: tuple[int, int] = (400, 200)) -> Image.Image:
    """Red on the left, blue on the right."""
    image = Image.new("RGB", size, RED)
    image.paste(BLUE, (size[0] // 2, 0, *size))
    return image


def opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


def near(one: tuple[int, ...], other: tuple[int, ...]) -> bool:
    return all(abs(a - b) < 12 for a, b in zip(one, other, strict=True))


def jpeg_segments(content: bytes) -> list[int]:
    """Return the marker of every segment before the picture's data (ITU-T T.81, annex B)."""
    place, markers = 2, []
    while content[place + 1] != 0xDA:
        markers.append(content[place + 1])
        place += 2 + struct.unpack(">H", content[place + 2 : place + 4])[0]
    return markers


def png_chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


def png_bomb(width: int, height: int) -> bytes:
    """A PNG of a few kilobytes that says it is this large, and unpacks to a lot."""
    packed = zlib.compress(bytes(20_000_000), 9)
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + png_chunk(b"IHDR", header)
        + png_chunk(b"IDAT", packed)
        + png_chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_picture_comes_out_as_our_own_jpeg(kind):
    picture = clean(upload(half_red_half_blue(), kind))
    image = opened(picture.content)
    assert (image.format, image.size, picture.width, picture.height) == ("JPEG", (400, 200), 400, 200)
    assert near(image.getpixel((50, 100)), RED) and near(image.getpixel((350, 100)), BLUE)


def test_the_first_frame_of_a_telephones_double_picture_is_taken():
    file = upload(half_red_half_blue(), "MPO", save_all=True, append_images=[Image.new("RGB", (400, 200))])
    assert near(opened(clean(file).content).getpixel((50, 100)), RED)


def test_the_first_frame_of_an_animation_is_taken():
    file = upload(half_red_half_blue(), "WEBP", save_all=True, append_images=[Image.new("RGB", (400, 200))])
    assert near(opened(clean(file).content).getpixel((50, 100)), RED)


def test_a_large_picture_is_made_smaller_and_keeps_its_shape():
    picture = clean(upload(half_red_half_blue((6000, 3000))))
    assert (picture.width, picture.height) == (2400, 1200)
    assert opened(picture.content).size == (2400, 1200)


def test_the_thumb_is_small():
    thumb = opened(clean(upload(half_red_half_blue((1600, 1200)))).thumb)
    assert (thumb.format, thumb.size) == ("JPEG", (480, 360))


# Where the red half is, once the picture stands upright (Exif, CIPA DC-008, tag 274: where row 0 lies)
@pytest.mark.parametrize(
    ("orientation", "size", "red"),
    [
        (1, (400, 200), (50, 100)),
        (2, (400, 200), (350, 100)),
        (3, (400, 200), (350, 100)),
        (4, (400, 200), (50, 100)),
        (5, (200, 400), (100, 50)),
        (6, (200, 400), (100, 50)),
        (7, (200, 400), (100, 350)),
        (8, (200, 400), (100, 350)),
    ],
)
def test_a_picture_is_turned_as_the_camera_was_held(orientation, size, red):
    exif = Image.Exif()
    exif[274] = orientation
    image = opened(clean(upload(half_red_half_blue(), exif=exif)).content)
    assert image.size == size
    assert near(image.getpixel(red), RED)


def test_where_and_with_what_it_was_taken_is_forgotten():
    exif = Image.Exif()
    exif[271] = "Corvane Cameras"
    exif[305] = "SECRET"
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2], gps[3], gps[4] = "N", (38.0, 42.0, 0.0), "W", (9.0, 8.0, 0.0)
    file = upload(
        half_red_half_blue(),
        exif=exif,
        comment=b"SECRET",
        icc_profile=ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
    )
    before = opened(file.getvalue())
    assert before.getexif().get_ifd(0x8825) and before.info["comment"] and before.info["icc_profile"]

    picture = clean(file)
    for content in (picture.content, picture.thumb):
        assert not opened(content).getexif()
        assert b"SECRET" not in content and b"Corvane" not in content
        # APP0 says JFIF; the rest is tables and the frame. No EXIF, XMP, ICC, IPTC or comment segment.
        assert set(jpeg_segments(content)) <= {0xE0, 0xDB, 0xC0, 0xC4}


def test_text_in_a_png_is_forgotten():
    from PIL.PngImagePlugin import PngInfo

    words = PngInfo()
    words.add_text("Comment", "SECRET")
    words.add_itxt("XML:com.adobe.xmp", "SECRET")
    assert b"SECRET" not in clean(upload(half_red_half_blue(), "PNG", pnginfo=words)).content


def test_what_hides_behind_a_picture_is_left_behind():
    for kind in ("JPEG", "PNG", "WEBP"):
        file = io.BytesIO(upload(half_red_half_blue(), kind).getvalue() + SECRET)
        assert SECRET not in clean(file).content


@pytest.mark.parametrize(
    ("mode", "colour", "seen"),
    [
        ("RGBA", (0, 0, 0, 0), (255, 255, 255)),
        ("LA", (0, 0), (255, 255, 255)),
        ("L", 128, (128, 128, 128)),
        ("1", 1, (255, 255, 255)),
        ("I;16", 32768, (128, 128, 128)),
        ("P", 0, (0, 0, 0)),
    ],
)
def test_every_kind_of_png_is_seen_as_it_was(mode, colour, seen):
    picture = clean(upload(Image.new(mode, (100, 50), colour), "PNG"))
    assert near(opened(picture.content).getpixel((50, 25)), seen)


def test_a_cmyk_jpeg_is_seen_as_it_was():
    picture = clean(upload(Image.new("CMYK", (100, 50), (0, 255, 255, 0))))
    assert near(opened(picture.content).getpixel((50, 25)), RED)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "empty"),
        (b"\0" * (25 * 1024 * 1024 + 1), "25 MB"),
        (b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>', "not a JPEG"),
        (b"<!doctype html><script>alert(1)</script>", "not a JPEG"),
        (b"GIF89a/*\x01\x00" + SECRET + b"*/=1;", "not a JPEG"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "HEIF"),
        (b"%PDF-1.7\n%", "not a JPEG"),
        (b"\x7fELF" + bytes(60), "not a JPEG"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "damaged|not a JPEG"),
        (b"\x89PNG\r\n\x1a\n", "damaged|not a JPEG"),
        (b"RIFF\x00\x00\x00\x00WEBPVP8 ", "damaged|not a JPEG"),
        (png_bomb(60_000, 60_000), "50 megapixels"),
        (png_bomb(10_000, 6_000), "50 megapixels"),
        (png_bomb(2**31 - 1, 2**31 - 1), "50 megapixels|damaged|not a JPEG"),
        (png_bomb(0, 0), "damaged|not a JPEG"),
        (png_bomb(10, 0), "damaged|not a JPEG"),
        (png_bomb(7_000, 7_000), "damaged"),  # says 49 megapixels, holds 20
    ],
    ids=range(17),
)
def test_what_is_not_a_picture_is_refused(content, why):
    with pytest.raises(PictureRefused, match=why):
        clean(io.BytesIO(content))


def test_a_gif_is_refused_however_it_is_named():
    file = upload(half_red_half_blue(), "GIF")
    file.name = "photo.jpg"
    with pytest.raises(PictureRefused, match="not a JPEG"):
        clean(file)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_truncated_picture_is_refused(kind):
    content = upload(Image.effect_noise((200, 200), 90).convert("RGB"), kind).getvalue()
    with pytest.raises(PictureRefused):
        clean(io.BytesIO(content[: len(content) // 2]))


@pytest.mark.filterwarnings("ignore:Corrupt EXIF")
def test_a_broken_exif_block_does_not_lose_the_picture():
    file = upload(half_red_half_blue(), exif=b"Exif\0\0MM\0\x2a\0\0\0\x08\xff\xff" + bytes(40))
    assert opened(clean(file).content).size == (400, 200)


@given(st.binary(max_size=300))
def test_random_bytes_are_refused(content):
    with pytest.raises(PictureRefused):
        clean(io.BytesIO(content))


@settings(max_examples=60)
@given(st.sampled_from(["JPEG", "PNG", "WEBP"]), st.data())
def test_a_picture_with_bytes_gone_wrong_is_taken_or_refused(kind, data):
    content = bytearray(upload(half_red_half_blue((40, 20)), kind).getvalue())
    for _ in range(data.draw(st.integers(1, 6))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    try:
        picture = clean(io.BytesIO(bytes(content)))
    except PictureRefused as reason:
        assert str(reason).endswith(".")
    else:
        assert opened(picture.content).format == "JPEG"


def test_tablets_may_send_pictures_at_the_same_time():
    content = upload(half_red_half_blue((1200, 800))).getvalue()
    with ThreadPoolExecutor(8) as pool:
        done = list(pool.map(lambda _: clean(io.BytesIO(content)), range(16)))
    assert {picture.content for picture in done} == {done[0].content}


# --- Signatures


def line(*points: tuple[float, float]) -> list[dict[str, float]]:
    return [{"x": x, "y": y, "time": 1} for x, y in points]


SIGNED = line((10, 50), (40, 20), (80, 60), (120, 30), (160, 70), (200, 40))


def drawn(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def test_strokes_become_a_path():
    svg = strokes_to_svg(json.dumps([SIGNED, line((100, 10))]), 400, 150)
    root = drawn(svg)
    assert root.get("viewBox") == "0 0 400 150"
    (path,) = root
    assert path.get("d") == "M10 50L40 20L80 60L120 30L160 70L200 40M100 10h0"


def test_the_pads_own_form_of_strokes_is_read():
    own = json.dumps([{"penColor": "</svg><script>", "points": SIGNED}])
    assert strokes_to_svg(own, 400, 150) == strokes_to_svg(json.dumps([SIGNED]), 400, 150)


def test_ink_outside_the_pad_is_moved_to_its_edge():
    far = [*SIGNED, {"x": -5, "y": 10**400}, {"x": 1e308, "y": -1e308}]
    assert strokes_to_svg(json.dumps([far]), 400, 150).count("L0 150L400 0") == 1


@pytest.mark.parametrize(
    "strokes",
    [
        "[]",
        "[[]]",
        json.dumps([line((10, 10))]),
        json.dumps([line(*[(10, 10)] * 50)]),
        json.dumps([line((10, 10), (11, 10), (12, 11), (13, 12), (12, 12), (11, 11))]),
    ],
)
def test_an_empty_pad_is_no_signature(strokes):
    with pytest.raises(SignatureRefused, match="Sign in the box"):
        strokes_to_svg(strokes, 400, 150)


@pytest.mark.parametrize(
    "strokes",
    [
        "",
        "null",
        "{}",
        "5",
        '"<svg/>"',
        "[5]",
        "[null]",
        "[[5]]",
        '[[{"x": 5}]]',
        '[[{"x": "5", "y": 5}]]',
        '[[{"x": true, "y": 5}]]',
        '[[{"x": NaN, "y": 5}]]',
        '[{"points": {}}]',
        '[{"points": "M0 0"}]',
        "[" * 100_000,
        '[[{"x": ' + "9" * 5000 + ', "y": 5}]]',
        "<svg onload=alert(1)>",
    ],
    ids=range(17),
)
def test_what_is_not_strokes_is_refused(strokes):
    with pytest.raises(SignatureRefused, match="sign again"):
        strokes_to_svg(strokes, 400, 150)


@pytest.mark.parametrize("size", [(0, 150), (400, 0), (-400, 150), (10**9, 150)])
def test_an_impossible_pad_is_refused(size):
    with pytest.raises(SignatureRefused):
        strokes_to_svg(json.dumps([SIGNED]), *size)


def test_too_much_ink_is_refused():
    scribble = json.dumps([line(*[(n % 400, n % 150) for n in range(pictures.MOST_POINTS + 1)])])
    with pytest.raises(SignatureRefused, match="too much ink"):
        strokes_to_svg(scribble, 400, 150)
    with pytest.raises(SignatureRefused):
        strokes_to_svg(" " * 4_000_000 + "[]", 400, 150)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=8) | st.dictionaries(st.sampled_from(["x", "y", "points"]), inner),
    max_leaves=40,
)


def test_a_truncated_picture_is_refused_after_a_paper_was_made():
    """WeasyPrint's import switches Pillow's LOAD_TRUNCATED_IMAGES on for the whole process."""
    pytest.importorskip("weasyprint", exc_type=OSError)
    ImageFile.LOAD_TRUNCATED_IMAGES = True
    written = io.BytesIO()
    Image.effect_noise((300, 300), 90).save(written, "JPEG")
    with pytest.raises(PictureRefused, match="damaged"):
        clean(io.BytesIO(written.getvalue()[:-2000]))


@given(json_values | st.lists(st.lists(st.fixed_dictionaries({"x": st.floats(), "y": st.integers()}))))
def test_whatever_arrives_is_drawn_as_numbers_or_refused(anything):
    try:
        svg = strokes_to_svg(json.dumps(anything), 400, 150)
    except SignatureRefused:
        return
    (path,) = drawn(svg)
    assert set(path.get("d")) <= set("MLh0123456789. ")
    assert set(path.attrib) == {"d", "fill", "stroke", "stroke-width", "stroke-linecap", "stroke-linejoin"}
