"""Pictures from cameras and strokes from signature pads: decoded, checked, and written anew.

Nothing that was uploaded is kept as it came. A picture is decoded within hard limits and encoded again as a
JPEG of our own, so that location, camera and whatever was hidden behind the picture stay behind. A signature
comes as numbers, and we draw it.
"""

import io
import json
import math
import re
import secrets
import threading
from dataclasses import dataclass
from typing import Any, BinaryIO

from PIL import Image, ImageFile, ImageOps, UnidentifiedImageError

MOST_BYTES = 25 * 1024 * 1024
MOST_PIXELS = 50_000_000
LONGEST_SIDE = 2400
LONGEST_THUMB_SIDE = 480
QUALITY = 85

MOST_POINTS = 20_000
FEWEST_POINTS = 6
SHORTEST_SIGNATURE = 20  # in units of the pad: a slip of the finger is no signature
_LONGEST_STROKES_TEXT = 3 * 1024 * 1024

_HEIF_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis")
# A picture of 50 megapixels takes 200 MB to decode. One at a time, so that tablets can't fill the memory.
_one_at_a_time = threading.Lock()


OURS = re.compile(r".+-[0-9a-f]{16}(_\w+)?\.jpg")  # what `file_name` makes; a taken name gets a tail


class PictureRefused(ValueError):
    """This can't be taken as a picture; the message says why and what to do."""


class SignatureRefused(ValueError):
    """This can't be taken as a signature; the message says what to do."""


@dataclass(frozen=True)
class CleanPicture:
    """A JPEG that we encoded ourselves, without any metadata, and a small one of it. Sizes in pixels."""

    content: bytes
    width: int
    height: int
    thumb: bytes


def file_name(begins: str) -> str:
    """Our own name for a picture, which tells nothing and can't be guessed; what the camera called it is forgotten."""
    return f"{begins}-{secrets.token_hex(8)}.jpg"


def clean(file: BinaryIO) -> CleanPicture:
    """Return our own JPEG of an uploaded JPEG, PNG or WebP, upright, no side longer than 2400 pixels.

    Of an animation the first frame is taken. Raises `PictureRefused`.
    """
    file.seek(0)
    uploaded = file.read(MOST_BYTES + 1)
    if not uploaded:
        raise PictureRefused("The picture is empty. Take it again.")
    if len(uploaded) > MOST_BYTES:
        raise PictureRefused("The picture is larger than 25 MB. Set the camera to a smaller size.")
    if uploaded[4:8] == b"ftyp" and uploaded[8:12] in _HEIF_BRANDS:
        raise PictureRefused("This is a HEIF picture, which can't be read here. Set the camera to JPEG.")
    with _one_at_a_time:
        # WeasyPrint, once imported, tells Pillow for the whole process to take halves of pictures for whole.
        ImageFile.LOAD_TRUNCATED_IMAGES = False
        try:
            picture = _decoded(uploaded)
        except PictureRefused:
            raise
        except UnidentifiedImageError as error:
            raise PictureRefused("This is not a JPEG, PNG or WebP picture. Choose a picture.") from error
        except Image.DecompressionBombError as error:
            raise PictureRefused(_TOO_MANY_PIXELS) from error
        except Exception as error:  # on hostile bytes decoders raise nearly every kind of error there is
            raise PictureRefused("The picture is damaged. Take it again.") from error
    thumb = picture.copy()
    thumb.thumbnail((LONGEST_THUMB_SIDE, LONGEST_THUMB_SIDE))
    return CleanPicture(_jpeg(picture), picture.width, picture.height, _jpeg(thumb))


def strokes_to_svg(strokes: str, width: int, height: int) -> str:
    """Return a signature as SVG, drawn by us from the pad's strokes.

    `strokes` is JSON: a list of strokes, each a list of points `{"x": …, "y": …}` in pad units, or an object
    that has such a list as `points`. `width` and `height` are the pad's size in the same units; what lies
    outside is moved to its edge. Nothing but numbers gets into the SVG. Raises `SignatureRefused`.
    """
    if not (50 <= width <= 5000 and 50 <= height <= 5000):
        raise SignatureRefused("The signature did not arrive. Reload the page and sign again.")
    paths = []
    points: list[tuple[float, float]] = []
    for stroke in _strokes(strokes):
        placed = [(_within(point, "x", width), _within(point, "y", height)) for point in _points(stroke)]
        points += placed
        if len(points) > MOST_POINTS:
            raise SignatureRefused("That is too much ink for a signature. Clear it and sign again.")
        if placed:
            first, *rest = (f"{x:g} {y:g}" for x, y in placed)
            # a dot is a line of no length: its round cap shows
            paths.append(f"M{first}" + ("".join(f"L{point}" for point in rest) or "h0"))
    if len(points) < FEWEST_POINTS or _reach(points) < SHORTEST_SIGNATURE:
        raise SignatureRefused("Sign in the box, please.")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:d} {height:d}" role="img" '
        f'aria-label="Signature"><path d="{"".join(paths)}" fill="none" stroke="currentColor" '
        'stroke-width="2.5" stroke-linecap="round" stroke-linejoin="round"/></svg>'
    )


_TOO_MANY_PIXELS = "The picture has more than 50 megapixels. Set the camera to a smaller size."


def _decoded(uploaded: bytes) -> Image.Image:
    """Return an upright RGB picture that fits the longest side, and carries nothing else."""
    with Image.open(io.BytesIO(uploaded), formats=("JPEG", "PNG", "WEBP")) as image:
        if image.width * image.height > MOST_PIXELS:
            raise PictureRefused(_TOO_MANY_PIXELS)
        image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # lets JPEG decode at a half or a quarter
        image.load()
        if image.mode.startswith("I"):  # sixteen bits of grey: keep the upper eight, or it comes out white
            image = image.convert("I").point(lambda value: value / 256).convert("L")
        elif image.mode == "P":
            image = image.convert("RGBA")
        image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
        upright = _upright(image)
    # A new picture, so that no comment, profile or EXIF block of the old one is written out with it.
    plain = Image.new("RGB", upright.size, "white")
    plain.paste(upright.convert("RGB"), mask=upright.getchannel("A") if "A" in upright.getbands() else None)
    return plain


def _upright(image: Image.Image) -> Image.Image:
    """Turn a picture as its camera was held; where its EXIF block is broken it stays as it lies."""
    try:
        return ImageOps.exif_transpose(image)
    except Exception:  # the EXIF parser meets hostile bytes too
        return image


def _jpeg(picture: Image.Image) -> bytes:
    written = io.BytesIO()
    picture.save(written, "JPEG", quality=QUALITY)
    return written.getvalue()


def _strokes(text: str) -> list[Any]:
    try:
        strokes = json.loads(text) if len(text) <= _LONGEST_STROKES_TEXT else None
    except (ValueError, RecursionError):
        strokes = None
    if not isinstance(strokes, list):
        raise SignatureRefused("The signature did not arrive. Clear it and sign again.")
    return strokes


def _points(stroke: Any) -> list[Any]:
    points = stroke.get("points") if isinstance(stroke, dict) else stroke
    if not isinstance(points, list):
        raise SignatureRefused("The signature did not arrive. Clear it and sign again.")
    return points


def _within(point: Any, axis: str, limit: int) -> float:
    """Return a coordinate of a point, moved into the pad, to a tenth of its unit."""
    value = point.get(axis) if isinstance(point, dict) else None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or (value != value):
        raise SignatureRefused("The signature did not arrive. Clear it and sign again.")
    return round(float(min(max(value, 0), limit)), 1) + 0.0  # + 0.0: of a negative zero the sign is left out


def _reach(points: list[tuple[float, float]]) -> float:
    """Return the diagonal of the box that the ink lies in."""
    xs, ys = zip(*points, strict=True)
    return math.hypot(max(xs) - min(xs), max(ys) - min(ys))
